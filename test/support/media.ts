/** Small real movies and sequences, made by ffmpeg once per run and copied from there. */
import { createHash } from 'node:crypto';
import { copyFileSync, existsSync, mkdirSync, renameSync, rmSync } from 'node:fs';
import { dirname, extname, join } from 'node:path';
import { type RunOptions, runTool } from '../../process/run.ts';
import { sharedFolder } from './folder.ts';

export interface MovieOptions {
  readonly frames?: number;
  /** `24000/1001` */
  readonly rate?: string;
  readonly size?: string;
  /** Label as ffmpeg takes it, `;` for drop-frame; null for none. */
  readonly timecode?: string | null;
  readonly codec?: 'prores' | 'h264' | 'dnxhr';
  /** Audio tracks; each a number of channels. */
  readonly audio?: readonly number[];
  /** Seconds of audio when it is not the picture's length. */
  readonly audioSeconds?: number;
  /** lavfi picture source, `r`, `s` and length are added. */
  readonly picture?: string;
  /** bt709 limited tags unless false. */
  readonly tagged?: boolean;
  /** Further output options. */
  readonly extra?: readonly string[];
  readonly extension?: string;
}

/** For commands that write more than files: every further pipe is read and thrown away. */
export const drained: NonNullable<RunOptions['pipes']> = Array.from({ length: 48 }, () => async (stream) => {
  for await (const _ of stream);
});

/** ffmpeg for making test material; throws with stderr when it fails. */
export async function ffmpeg(...args: string[]): Promise<void> {
  const result = await runTool('ffmpeg', ['-hide_banner', '-loglevel', 'error', '-nostdin', '-y', ...args], {
    pipes: drained,
  });
  if (result.reason !== 'exited' || result.exitCode !== 0)
    throw new Error(`test material: ffmpeg ${args.join(' ')}\n${result.startError ?? result.stderr}`);
}

function movieArguments(options: MovieOptions): string[] {
  const frames = options.frames ?? 24;
  const rate = options.rate ?? '24000/1001';
  const codec = options.codec ?? 'prores';
  const [num, den] = rate.split('/').map(Number) as [number, number | undefined];
  const seconds = (frames * (den ?? 1)) / num;
  const audio = options.audio ?? [2];
  const args: string[] = [
    '-f',
    'lavfi',
    '-i',
    `${options.picture ?? 'testsrc2'}=s=${options.size ?? '320x180'}:r=${rate}:d=${seconds + 1}`,
  ];
  audio.forEach((channels, index) => {
    const tone = `sine=f=${440 + 110 * index}:r=48000:d=${options.audioSeconds ?? seconds + 1}`;
    args.push(
      '-f',
      'lavfi',
      '-i',
      `${tone},aformat=channel_layouts=${channels === 1 ? 'mono' : channels === 2 ? 'stereo' : `${channels}c`}`,
    );
  });
  args.push('-map', '0:v');
  for (const index of audio.keys()) args.push('-map', `${index + 1}:a`);
  const samples = Math.round((options.audioSeconds ?? seconds) * 48000);
  if (audio.length > 0) args.push('-af', `atrim=end_sample=${samples}`);
  // Cut by a filter: -frames:v would end the audio with the picture, wherever the audio was.
  args.push(
    '-vf',
    `trim=end_frame=${frames}${options.tagged === false ? '' : ',setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv'}`,
  );
  if (codec === 'prores') args.push('-c:v', 'prores_ks', '-profile:v', '1', '-pix_fmt', 'yuv422p10le');
  if (codec === 'dnxhr') args.push('-c:v', 'dnxhd', '-profile:v', 'dnxhr_lb', '-pix_fmt', 'yuv422p');
  if (codec === 'h264')
    args.push('-c:v', 'libx264', '-preset', 'ultrafast', '-bf', '2', '-g', '12', '-pix_fmt', 'yuv420p');
  args.push('-c:a', 'pcm_s24le');
  if (options.timecode !== null) args.push('-timecode', options.timecode ?? '01:00:00:00');
  args.push(...(options.extra ?? []));
  return args;
}

/** Puts a movie at `path`; equal options are encoded once. */
export async function makeMovie(path: string, options: MovieOptions = {}): Promise<string> {
  const key = createHash('sha256').update(JSON.stringify(options)).digest('hex').slice(0, 16);
  const extension = options.extension ?? (extname(path) || '.mov');
  const cached = join(sharedFolder, 'media', `${key}${extension}`);
  if (!existsSync(cached)) {
    mkdirSync(dirname(cached), { recursive: true });
    const part = join(dirname(cached), `part-${process.pid}-${key}${extension}`);
    await ffmpeg(...movieArguments(options), part);
    renameSync(part, cached);
  }
  mkdirSync(dirname(path), { recursive: true });
  copyFileSync(cached, path);
  return path;
}

/** A numbered sequence `<prefix>0001<suffix>` of DPX or TIFF stills. */
export async function makeSequence(
  folder: string,
  options: { frames?: number; first?: number; size?: string; prefix?: string; suffix?: string } = {},
): Promise<void> {
  mkdirSync(folder, { recursive: true });
  const name = `${options.prefix ?? 'frame.'}%05d${options.suffix ?? '.dpx'}`;
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    `testsrc2=s=${options.size ?? '320x180'}:r=24:d=10`,
    '-frames:v',
    String(options.frames ?? 12),
    '-start_number',
    String(options.first ?? 1),
    '-pix_fmt',
    'gbrp10be',
    join(folder.replaceAll('%', '%%'), name),
  );
}

export function removeQuietly(path: string): void {
  rmSync(path, { recursive: true, force: true });
}
