/** Rolls of one clip, made for a test, and their jobs (master.ts). */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import type { Job } from '../../ledger/job.ts';
import type { SequencePlace } from '../../media/input.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { buildDng, type DngOptions, testSamples } from './dng.ts';
import { factsOf, mediaTools } from './make.ts';
import { interpretation, masterJob as jobOfClip } from './master.ts';
import { makeMovie, type MovieOptions } from './media.ts';

export interface ClipOnDisk {
  readonly rollFolder: string;
  readonly place: Job['clip']['place'];
  readonly facts: Job['facts'];
}

const NAME = 'A001C001';
export async function movieClip(rollFolder: string, options: MovieOptions): Promise<ClipOnDisk> {
  const path = await makeMovie(join(rollFolder, `${NAME}.mov`), options);
  return { rollFolder, place: { kind: 'movie', file: `${NAME}.mov` }, facts: await factsOf(path) };
}

/** Numbered frames that lie there, surveyed. */
export async function sequenceClip(rollFolder: string, place: SequencePlace): Promise<ClipOnDisk> {
  const { facts, findings } = await surveySequence({
    rollFolder,
    place,
    tools: await mediaTools(),
    subject: { clip: NAME },
  });
  if (facts === null) throw new Error(JSON.stringify(findings));
  return { rollFolder, place, facts };
}

/** Frames `A001C001.<number><suffix>` at 24 a second, in the folder of that name. */
export const numberedFrames = (
  suffix: string,
  { padding, count }: { readonly padding: number; readonly count: number },
): SequencePlace => ({
  kind: 'sequence',
  folder: NAME,
  prefix: `${NAME}.`,
  suffix,
  padding,
  first: 1001,
  count,
  statedRate: { num: 24, den: 1 },
});

/** DNG frames of moving noise, from 01:00:00:00 on; `change`: what is otherwise in all of them, or in one. */
export async function rawClip(
  rollFolder: string,
  { width, height, frames }: { readonly width: number; readonly height: number; readonly frames: number },
  change: (frame: number) => Partial<DngOptions> = () => ({}),
): Promise<ClipOnDisk> {
  mkdirSync(join(rollFolder, NAME), { recursive: true });
  for (let frame = 0; frame < frames; frame += 1) {
    const bytes = buildDng({
      width,
      height,
      samples: testSamples(width, height, 12, frame + 1),
      bits: 12,
      rate: [24_000, 1001],
      timecode: `01:00:00:${String(frame).padStart(2, '0')}`,
      ...change(frame),
    });
    writeFileSync(join(rollFolder, NAME, `${NAME}_${String(frame + 101).padStart(6, '0')}.dng`), bytes);
  }
  const place = {
    kind: 'sequence' as const,
    folder: NAME,
    prefix: `${NAME}_`,
    suffix: '.dng',
    padding: 6,
    first: 101,
    count: frames,
    statedRate: null,
  };
  return await sequenceClip(rollFolder, place);
}

export function masterJob(
  { rollFolder, place, facts }: ClipOnDisk,
  delivery: string,
  wanted: readonly string[],
  said: Interpretation = { ...interpretation, owner: '' },
): Promise<Job> {
  return jobOfClip(rollFolder, delivery, place, facts, wanted, said);
}
