/** Clips for the archive form, the form made of them, and what other programs read of it. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { expect } from 'vitest';
import { loadProfiles } from '../../../profiles/load.ts';
import { isMovie, type Profile } from '../../../profiles/schema.ts';
import { sharedFolder } from '../../support/folder.ts';
import { type Made, makeAll } from '../../support/make.ts';
import { ffmpeg } from '../../support/media.ts';

export const fixtures = join(dirname(dirname(import.meta.dirname)), 'fixtures', 'movies');

export async function profilesNamed(...wanted: string[]): Promise<Profile[]> {
  const { profiles, findings } = await loadProfiles({ wanted });
  expect(findings).toEqual([]);
  return profiles.filter(isMovie).map(({ profile }) => profile);
}

export async function archived(source: string, folder: string): Promise<Made> {
  const [made] = await makeAll(source, await profilesNamed('archive-ffv1'), folder);
  return made as Made;
}

/** MD5 of the whole decode of streams, by one other run of ffmpeg, in the form named: our proof uses SHA-256 of each picture. */
export function decoded(
  streams: readonly (readonly [path: string, stream: string, form: readonly string[]])[],
): string[] {
  const reported = execFileSync(
    'ffmpeg',
    [
      ...['-v', 'error', '-y'],
      ...streams.flatMap(([path]) => ['-i', path]),
      ...streams.flatMap(([, stream, form], input) => [
        ...['-map', `${input}:${stream}`, ...form, '-f', 'hash', '-hash', 'md5'],
        join(sharedFolder, `decoded-${process.pid}-${input}.md5`),
      ]),
    ],
    { encoding: 'utf8' },
  );
  expect(reported).toBe('');
  return streams.map((_, input) =>
    readFileSync(join(sharedFolder, `decoded-${process.pid}-${input}.md5`), 'utf8').trim(),
  );
}

/** Without a format: in the stream's own. */
export const pictures = (paths: readonly string[], pixelFormat?: string): string[] =>
  decoded(
    paths.map((path) => [
      path,
      'v:0',
      [
        ...['-fps_mode', 'passthrough'],
        ...(pixelFormat === undefined ? [] : ['-pix_fmt', pixelFormat]),
        ...['-c:v', 'rawvideo'],
      ],
    ]),
  );

export const tagged = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';

export interface ClipOptions {
  readonly size?: string;
  readonly rate?: string;
  readonly frames?: number;
  readonly timecode?: string;
  readonly filter?: string;
  /** Output options of the picture. */
  readonly picture?: readonly string[];
  /** Of each audio track. */
  readonly audioTracks?: readonly (readonly string[])[];
}

/** Clips by one ffmpeg, each with pictures of `size`. */
export async function clips(
  wanted: readonly (readonly [path: string, options: ClipOptions])[],
): Promise<void> {
  const inputs: string[] = [];
  const outputs: string[] = [];
  let input = 0;
  for (const [path, options] of wanted) {
    const { size = '96x64', rate = '25', frames = 12, timecode = '10:00:00:00' } = options;
    const { filter = tagged, picture = [], audioTracks = [] } = options;
    mkdirSync(dirname(path), { recursive: true });
    inputs.push('-f', 'lavfi', '-i', `testsrc2=s=${size}:r=${rate}`);
    outputs.push('-map', `${input}:v`);
    outputs.push('-vf', `trim=end_frame=${frames},noise=alls=6:allf=t,${filter}`, ...picture);
    input += 1;
    for (const [index, track] of audioTracks.entries()) {
      inputs.push('-f', 'lavfi', '-i', `anoisesrc=r=48000:seed=${index + 1}:a=0.3`);
      outputs.push('-map', `${input}:a`);
      outputs.push(
        ...track.flatMap((option) => (option.startsWith('-') ? [`${option}:a:${index}`] : [option])),
      );
      outputs.push(`-filter:a:${index}`, `atrim=end_sample=${23_000 + 1000 * index}`);
      input += 1;
    }
    outputs.push('-timecode', timecode, '-metadata:s:v:0', 'reel_name=B007', path);
  }
  await ffmpeg(...inputs, ...outputs);
}

export async function clip(path: string, options: ClipOptions): Promise<string> {
  await clips([[path, options]]);
  return path;
}

export const x264 = ['-c:v', 'libx264', '-preset', 'ultrafast', '-pix_fmt'];

export function mediaInfo(path: string, type: string): Readonly<Record<string, unknown>> | undefined {
  const { media } = JSON.parse(execFileSync('mediainfo', ['--Output=JSON', path], { encoding: 'utf8' })) as {
    media: { track: Readonly<Record<string, unknown>>[] };
  };
  return media.track.find((track) => track['@type'] === type);
}
