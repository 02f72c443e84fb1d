/** Rolls of one clip, and jobs of masters as the coordinator would plan them. */
import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { buildDng, testSamples } from './dng.ts';
import { factsOf, mediaTools } from './make.ts';
import { makeMovie, type MovieOptions } from './media.ts';

export interface ClipOnDisk {
  readonly rollFolder: string;
  readonly place: Job['clip']['place'];
  readonly facts: Job['facts'];
}

const NAME = 'A001C001';
const interpretation: Interpretation = { input: { name: 'slog3-sgamut3cine' }, inputFrom: 'show', raw: { whiteBalance: 'as-shot', exposureStops: 0 }, owner: '', comments: '' };

const bytesIn = (folder: string): number => readdirSync(folder, { recursive: true, withFileTypes: true }).filter((entry) => entry.isFile()).reduce((sum, entry) => sum + statSync(join(entry.parentPath, entry.name)).size, 0);

export async function movieClip(rollFolder: string, options: MovieOptions): Promise<ClipOnDisk> {
  const path = await makeMovie(join(rollFolder, `${NAME}.mov`), options);
  return { rollFolder, place: { kind: 'movie', file: `${NAME}.mov` }, facts: await factsOf(path) };
}

/** DNG frames of moving noise, from 01:00:00:00 on. */
export async function rawClip(rollFolder: string, { width, height, frames }: { readonly width: number; readonly height: number; readonly frames: number }): Promise<ClipOnDisk> {
  mkdirSync(join(rollFolder, NAME), { recursive: true });
  for (let frame = 0; frame < frames; frame += 1) {
    const bytes = buildDng({ width, height, samples: testSamples(width, height, 12, frame + 1), bits: 12, rate: [24_000, 1001], timecode: `01:00:00:${String(frame).padStart(2, '0')}` });
    writeFileSync(join(rollFolder, NAME, `${NAME}_${String(frame + 101).padStart(6, '0')}.dng`), bytes);
  }
  const place = { kind: 'sequence' as const, folder: NAME, prefix: `${NAME}_`, suffix: '.dng', padding: 6, first: 101, count: frames, statedRate: null };
  const { facts, findings } = await surveySequence(place, rollFolder, await mediaTools(), { clip: NAME }, {});
  if (facts === null) throw new Error(JSON.stringify(findings));
  return { rollFolder, place, facts };
}

export async function masterJob({ rollFolder, place, facts }: ClipOnDisk, delivery: string, wanted: readonly string[]): Promise<Job> {
  const clip = { id: NAME, name: NAME, place, bytes: bytesIn(rollFolder), contentDigest: createHash('sha256').update(NAME).digest('hex') };
  const { profiles, findings } = await loadProfiles({ wanted });
  if (findings.length > 0) throw new Error(JSON.stringify(findings));
  const understood = { ...facts, interpretation };
  const deliveryFolder = join(delivery, 'day-01', 'A001');
  mkdirSync(deliveryFolder, { recursive: true });
  return {
    version: 1,
    night: 'night',
    run: 'run-1',
    day: 'day-01',
    roll: 'A001',
    rollFolder,
    deliveryFolder,
    clip,
    facts: understood,
    span: { start: 0, count: facts.video.frames },
    deliverables: profiles.map(({ profile, hash }) => {
      const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip, facts: understood, profile });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      return workOf(profile, hash, decided.outcome);
    }),
    toolchain: toolchainOf(await mediaTools()).fingerprint,
  };
}
