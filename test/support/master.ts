/** Jobs of masters as the coordinator would plan them, for a clip on disk and what the settings say of it. */
import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { checkMaster, type MasterCheckReport } from '../../check/master/index.ts';
import { sceneLinearOf } from '../../check/master/scene-linear.ts';
import { storedSamples } from '../../ledger/fingerprints.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { readTransform } from '../../ledger/transform.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import type { ValuesSeen } from '../../proof/value-range.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { sharedFolder } from './folder.ts';
import { mastersOf } from './jobs.ts';
import { mediaTools } from './make.ts';

export const interpretation: Interpretation = {
  input: { name: 'slog3-sgamut3cine' },
  inputFrom: 'show',
  raw: { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' },
  owner: 'Bell foundry film',
  comments: '',
};

/** Of a whole group of tests: removed with the shared folder. */
export const groupFolder = (name: string): string => mkdtempSync(join(sharedFolder, `${name}-`));

const bytesIn = (folder: string): number =>
  readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .reduce((sum, entry) => sum + statSync(join(entry.parentPath, entry.name)).size, 0);

/** The clip is all that lies in `rollFolder`, and is called A001C001. Throws when a profile refuses it. */
export async function masterJob(
  rollFolder: string,
  delivery: string,
  place: Job['clip']['place'],
  facts: Job['facts'],
  wanted: readonly string[],
  said: Interpretation = interpretation,
): Promise<Job> {
  const name = 'A001C001';
  const clip = {
    id: name,
    name,
    place,
    bytes: bytesIn(rollFolder),
    contentDigest: createHash('sha256').update(name).digest('hex'),
  };
  const { profiles, findings } = await loadProfiles({ wanted });
  if (findings.length > 0) throw new Error(JSON.stringify(findings));
  const understood = { ...facts, interpretation: said };
  const deliveryFolder = join(delivery, 'day-01', 'A001');
  mkdirSync(deliveryFolder, { recursive: true });
  return {
    version: 0,
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
    toolchain: toolchainOf(await mediaTools()).digest,
  };
}

export async function reportOf(job: Job, profile: string): Promise<DeliverableReport> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, profile),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(`${profile}: ${read.state}`);
  return read.value;
}

/** The check of the files in `folder` in the place of the master that a job made, by what was kept of it. */
export async function checkInPlace(
  job: Job,
  profile: string,
  folder: string,
  seen?: ValuesSeen,
): Promise<MasterCheckReport> {
  const report = await reportOf(job, profile);
  const { points } = await storedSamples(report, job.deliveryFolder, {});
  const outcome = mastersOf(job).find((work) => work.profile.name === profile)?.outcome;
  if (outcome === undefined) throw new Error(profile);
  return await checkMaster({
    path: folder,
    rollFolder: job.deliveryFolder,
    outcome,
    sourceFacts: job.facts,
    points,
    sceneLinear: sceneLinearOf(
      outcome.linearisation,
      await readTransform(job.deliveryFolder, outcome.linearisation),
    ),
    written: { digest: report.bitstream?.streams[0]?.hash ?? '', frames: null },
    ...(seen === undefined ? {} : { seen }),
    threads: 1,
  });
}

/** Codes of the findings of a report but for values that a form cannot hold: pictures of tests are of any values, and those of DPX are noted. */
export const codesBesideLimits = ({ findings }: DeliverableReport): string[] =>
  findings.map(({ code }) => code).filter((code) => code !== 'encoder-input-limited');
