/** A day with a camera roll and a sound roll that ran with it, and what a deliverable has of the recording, sample by sample. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { makeDay, writeMd5Manifest } from './day.ts';
import { buildWave, strikes } from './wave.ts';

export const FRAMES = 24;
/** Of 48 kHz, at 24000/1001: a frame lasts 2002 samples. */
export const PICTURE = FRAMES * 2002;
/** 10:00:00:00 at 24000/1001 is 36 036 s of the recorder's clock. */
const LABEL = 36_036 * 48_000;
/** Against the first frame of the first clip: the recorder ran before it and ended within it. */
export const EARLY = { start: -4321, samples: 4321 + PICTURE - 3000 };
/** Of the second one, ten minutes later by its labels, which are 600.6 s: it began behind the first frame. */
export const LATE = { start: 1234, samples: PICTURE };
const SECOND = 600.6 * 48_000;

const WORDS = Buffer.from(
  '<BWFXML><SCENE>24A</SCENE><TAKE>3</TAKE><TRACK_LIST><TRACK><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME></TRACK><TRACK><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>Lav of the founder</NAME></TRACK></TRACK_LIST></BWFXML>',
);

/** Rolls A001 (A001C001, A001C002, without audio of their own) and S001. */
export async function makeSoundDay(day: string): Promise<string> {
  const clip = { frames: FRAMES, size: '256x144', audio: [] } as const;
  await makeDay(day, {
    A001: {
      'A001C001.mov': { ...clip, timecode: '10:00:00:00' },
      'A001C002.mov': { ...clip, timecode: '10:10:00:00' },
    },
  });
  mkdirSync(join(day, 'S001'));
  for (const [file, since, { start, samples }] of [
    ['24A-T03.wav', LABEL, EARLY],
    ['24A-T04.wav', LABEL + SECOND, LATE],
  ] as const)
    writeFileSync(
      join(day, 'S001', file),
      buildWave({
        ...{ samples, channels: 2, timeReference: since + start },
        before: [['iXML', WORDS]],
      }),
    );
  writeMd5Manifest(join(day, 'S001'));
  return day;
}

/** What of the recording lies at each sample of the picture; 24 bits. */
export function wantedOf(
  take: { readonly start: number; readonly samples: number },
  channel: number,
): number[] {
  const value = strikes(48_000);
  return Array.from({ length: PICTURE }, (_, at) => {
    const sample = at - take.start;
    // Of a negative zero there is none in a file.
    return sample < 0 || sample >= take.samples ? 0 : Math.round(value(sample, channel) * 2 ** 23) || 0;
  });
}

/** Of one track, 24 bits, as ffmpeg decodes it. */
export function heardOf(path: string, track: number): number[] {
  const bytes = execFileSync(
    'ffmpeg',
    ['-v', 'error', '-i', path, '-map', `0:a:${track}`, '-f', 's24le', '-ac', '1', '-'],
    { maxBuffer: 1 << 26 },
  );
  return Array.from({ length: bytes.length / 3 }, (_, at) => bytes.readIntLE(3 * at, 3));
}

/** Of every track of the recorder in the day's proxies: what is heard there, and what was recorded. */
export function tracksOf(proxies: string): { readonly heard: number[]; readonly wanted: number[] }[] {
  const takes = [
    ['A001C001', EARLY],
    ['A001C002', LATE],
  ] as const;
  return takes.flatMap(([clip, take]) =>
    [0, 1].map((channel) => ({
      heard: heardOf(join(proxies, `${clip}.mov`), channel),
      wanted: wantedOf(take, channel),
    })),
  );
}
