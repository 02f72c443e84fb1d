/**
 * Speeds that this machine's runs have learned, in its state folder: `speeds.json`. They are hints: a file that is damaged, or that another
 * version wrote, is a note, and what is learned from then on replaces it. Jobs have no times of day; the order in the file is the order in which they ended.
 */
import { rename } from 'node:fs/promises';
import { join } from 'node:path';
import { z } from 'zod';
import { stateFolder } from '../../files/machine-id.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { kindKey } from './kind.ts';
import { type JobSample, jobSampleSchema, sampleKey } from './sample.ts';

export const speedsSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('speeds').describe('speeds'),
  jobs: z
    .array(jobSampleSchema)
    .max(10_000)
    .describe('Finished jobs, in the order of their ends: of each kind and machine the last 60'),
});

/** Of a kind on a machine: more say nothing new, and old ones are of another machine in all but its name. */
const MOST_OF_A_KIND = 60;
const MOST = 5_000;

export const speedsPlace = (folder = stateFolder()): string => join(folder, 'speeds.json');

export interface Learned {
  readonly jobs: readonly JobSample[];
  /** Notes: what stands there is nothing to learn from. */
  readonly findings: readonly Finding[];
}

/** Never throws. */
export async function readSpeeds(path = speedsPlace()): Promise<Learned> {
  const read = await readRecord(path, speedsSchema);
  if (read.state === 'read') return { jobs: read.value.jobs, findings: [] };
  return {
    jobs: [],
    findings:
      read.state === 'absent'
        ? []
        : [finding('speeds-unreadable', read.finding.found, 'speeds as a run writes them', { file: path })],
  };
}

/** Each job once, the newer word for it; of each kind and machine the last ones. Pure. */
export function joined(older: readonly JobSample[], newer: readonly JobSample[]): JobSample[] {
  const byKey = new Map<string, JobSample>();
  for (const sample of [...older, ...newer]) {
    const key = sampleKey(sample);
    byKey.delete(key);
    byKey.set(key, sample);
  }
  const counts = new Map<string, number>();
  const kept: JobSample[] = [];
  for (const sample of [...byKey.values()].reverse()) {
    const group = `${sample.machine} ${kindKey(sample.kind)}`;
    const before = counts.get(group) ?? 0;
    counts.set(group, before + 1);
    if (before < MOST_OF_A_KIND && kept.length < MOST) kept.push(sample);
  }
  return kept.reverse();
}

/** Adds to what stands there now: another run may have written meanwhile. Throws what node:fs throws of a state folder that cannot be written. */
export async function writeSpeeds(fresh: readonly JobSample[], path = speedsPlace()): Promise<void> {
  if (fresh.length === 0) return;
  const { jobs, findings } = await readSpeeds(path);
  // Whatever it is, it may be somebody's.
  if (findings.length > 0) await rename(path, `${path}.unreadable`);
  await writeRecord(path, speedsSchema, { version: 0, kind: 'speeds', jobs: joined(jobs, fresh) });
}
