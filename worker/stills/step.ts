/**
 * The stills of a job, once its deliverables are made: made one by one, each read back from the disk and held against its frame, all of them published, and
 * written down. What is there already and is what is asked for stays.
 */
import { readFile, rm, writeFile } from 'node:fs/promises';
import { hostname } from 'node:os';
import { join } from 'node:path';
import { stillForm } from '../../check/stills/form.ts';
import { ALLOWED, isMet, type StillDifference } from '../../check/stills/pixels.ts';
import { takeAfterFolder } from '../../files/belonging.ts';
import { type FileDigest, digestOfFile } from '../../files/digest.ts';
import { publishFile } from '../../files/publish.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { CheckResult } from '../../ledger/check-result.ts';
import type { Job } from '../../ledger/job.ts';
import { layout, placeBelow } from '../../ledger/layout.ts';
import { newToken } from '../../ledger/owner.ts';
import { digestOfPlain } from '../../ledger/sidecars.ts';
import { areStillsFinished, readStills, replaceableStills } from '../../ledger/stills.ts';
import { reportWithPlaces } from '../../ledger/portable.ts';
import { type StillsReport, stillsReportSchema } from '../../ledger/stills-report.ts';
import { writeRecord } from '../../ledger/store.ts';
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import { stillTexts } from '../../profiles/stills/texts.ts';
import type { StillCheck } from '../../profiles/stills/usual.ts';
import { decodedFailure, subjectOf } from '../claim.ts';
import { type JobContext, JobFailure } from '../context.ts';
import type { JobRun } from '../job-run.ts';
import { rounded, spentOnJob } from '../report.ts';
import { makeFolder, sweepStaging } from '../target.ts';
import { stillMaker } from './make.ts';
import { pngOf } from './png.ts';
import { stillProver } from './prove.ts';

const FORM: StillCheck = 'still-form';
const PIXELS: StillCheck = 'still-pixels';

/** What of a job's run they are made and written down with. */
export interface StillsRun {
  readonly job: Job;
  readonly context: JobContext;
  /** ISO 8601 UTC. */
  readonly startedAt: string;
  /** What the system said of the clip's files when the job began. */
  readonly sourceSeen: string;
  readonly clock: JobRun['clock'];
  readonly beside: JobRun['beside'];
}

interface Made {
  readonly still: StillsOutcome['stills'][number];
  /** Absolute. */
  readonly staged: string;
  readonly checked: FileDigest;
  readonly difference: StillDifference;
}

const wantedOf = ({ clip, toolchain }: Job, outcome: StillsOutcome) => ({
  contentDigest: clip.contentDigest,
  toolchain,
  outcome,
});

/** Throws JobFailure, what node:fs throws of the target, and the signal's reason. */
export async function makeStills(run: StillsRun): Promise<void> {
  const { job, context } = run;
  const outcome = job.stills;
  if (outcome === undefined) return;
  const before = await readStills(job.deliveryFolder, job.clip.id);
  if (areStillsFinished(before, wantedOf(job, outcome))) return;
  const folder = layout.stillsFolder(job.deliveryFolder);
  await makeFolder(job.deliveryFolder, folder);
  await sweepStaging(folder);
  const ours = replaceableStills(before.report);
  const made: Made[] = [];
  try {
    const refused = await makeAndCheck(run, outcome, made);
    if (refused.length > 0) throw new JobFailure({ findings: refused, retryable: true });
    const changed = await decodedFailure(job, run.sourceSeen);
    if (changed !== null) throw new JobFailure(changed);
    await context.fence();
    await write(run, reportOf(run, outcome, { state: 'publishing', made, ours }));
    for (const { still, staged, checked } of made) {
      const path = layout.still(still.file);
      const published = await publishFile({
        staged,
        final: join(job.deliveryFolder, path),
        checked,
        isOurs: (digest) => ours.includes(digest),
        signal: context.signal,
      });
      if (published.kind === 'taken')
        throw new JobFailure({
          findings: [
            finding('target-name-taken', published.found, 'a free name, or a still of ours', {
              ...subjectOf(job),
              file: path,
            }),
          ],
          retryable: false,
        });
    }
    await removeObsolete(job, outcome, before.report);
    await write(run, {
      ...reportOf(run, outcome, { state: 'published', made, ours }),
      spent: { ...(await spentOnJob(run)), stills: rounded(run.clock.of('stills')) },
    });
  } finally {
    for (const { staged } of made) await rm(staged, { force: true }).catch(() => undefined);
  }
}

/** Findings: what keeps them from being published. */
async function makeAndCheck(
  { job, context }: StillsRun,
  outcome: StillsOutcome,
  made: Made[],
): Promise<Finding[]> {
  const maker = await stillMaker(job, outcome, context);
  try {
    const prover = stillProver(job, outcome, context);
    for (const [at, still] of outcome.stills.entries()) {
      context.signal.throwIfAborted();
      const subject = { ...subjectOf(job), file: layout.still(still.file) };
      const notMade = (why: string): Finding[] => [
        finding('still-not-made', `frame ${still.frame}: ${why}`, 'a picture of that frame', subject),
      ];
      const picture = await maker.make(at);
      if ('why' in picture) return notMade(picture.why);
      const texts = stillTexts(job, outcome, still);
      const staged = layout.stagedStill(job.deliveryFolder, newToken());
      await writeFile(staged, await pngOf({ ...outcome, ...picture, texts }), { flag: 'wx' });
      await takeAfterFolder(staged);
      // Before it is read: what is found is found in these bytes.
      const checked = await digestOfFile(staged);
      const { read, wrong } = stillForm(await readFile(staged), {
        roll: job.roll,
        clip: job.clip,
        outcome,
        still,
      });
      const [fault] = wrong;
      if (read === null || fault !== undefined)
        return [finding('still-form-wrong', fault?.found ?? '', fault?.expected ?? '', subject)];
      const proof = await prover.prove(at, read);
      if ('why' in proof) return notMade(proof.why);
      made.push({ still, staged, checked, difference: proof });
      if (!isMet(proof)) return [finding('still-differs', measured(still, proof), EXPECTED, subject)];
    }
    return [];
  } finally {
    await maker.close();
  }
}

const EXPECTED = `at least ${ALLOWED.share * 100} % of the samples within ${ALLOWED.most} steps of 8 bits, none farther than ${ALLOWED.farthest}, ${ALLOWED.mean} in the mean`;

function measured(
  { frame }: StillsOutcome['stills'][number],
  { samples, mean, farthest, within, at }: StillDifference,
): string {
  return `frame ${frame}: ${samples} samples, ${(100 * within).toFixed(1)} % within ${ALLOWED.most} steps of 8 bits, ${mean.toFixed(2)} in the mean, the farthest ${farthest.toFixed(1)}${at === null ? '' : ` at ${at.x}, ${at.y}`}`;
}

function checksOf(made: readonly Made[]): CheckResult[] {
  return [
    {
      check: FORM,
      status: 'passed',
      measured: `${made.length} PNG files, every chunk of each`,
      expected: 'size, coding and text as decided, and nothing else',
      tool: 'own reading',
    },
    {
      check: PIXELS,
      status: 'passed',
      measured: made.map(({ still, difference }) => measured(still, difference)).join('; '),
      expected: EXPECTED,
      tool: 'own comparison',
    },
  ];
}

interface Written {
  readonly state: StillsReport['state'];
  readonly made: readonly Made[];
  /** XXH128 of older ones of ours. */
  readonly ours: readonly string[];
  readonly findings?: readonly Finding[];
}

function reportOf(
  { job, context, startedAt }: StillsRun,
  outcome: StillsOutcome,
  { made, ours, state, findings = [] }: Written,
): StillsReport {
  return {
    version: 0,
    kind: 'stills',
    day: job.day,
    roll: job.roll,
    clip: job.clip,
    toolchain: context.toolchain,
    state,
    outcome,
    stills: made.map(({ still: { frame, timecode, file }, checked: { bytes, xxh128, sha256 } }) => ({
      frame,
      timecode,
      width: outcome.width,
      height: outcome.height,
      path: layout.still(file),
      bytes,
      xxh128,
      sha256,
    })),
    ...(ours.length === 0 ? {} : { supersedes: [...ours] }),
    checks: made.length === 0 ? [] : checksOf(made),
    findings: [...findings],
    startedAt,
    finishedAt: new Date().toISOString(),
    host: hostname(),
    run: job.run,
    attempt: context.attempt,
  };
}

async function write({ job, context }: Pick<JobRun, 'job' | 'context'>, report: StillsReport): Promise<void> {
  const written = reportWithPlaces(report, context.mounts ?? null);
  await writeRecord(layout.stillsReport(job.deliveryFolder, job.clip.id), stillsReportSchema, written);
}

/** Older stills of ours that this set has no name for; what somebody else put there stays. */
async function removeObsolete(
  job: Job,
  { stills }: StillsOutcome,
  before: StillsReport | null,
): Promise<void> {
  const kept = new Set(stills.map(({ file }) => layout.still(file)));
  for (const { path, xxh128 } of before?.stills ?? []) {
    const place = placeBelow(job.deliveryFolder, path);
    if (kept.has(path) || place === null || (await digestOfPlain(place))?.xxh128 !== xxh128) continue;
    await rm(place, { force: true });
  }
}

/** A failed report, where the stills are not what is asked for. */
export async function writeStillsFailure(run: StillsRun, findings: readonly Finding[]): Promise<void> {
  const { job } = run;
  const outcome = job.stills;
  if (outcome === undefined) return;
  const before = await readStills(job.deliveryFolder, job.clip.id);
  if (areStillsFinished(before, wantedOf(job, outcome))) return;
  const ours = replaceableStills(before.report);
  await makeFolder(job.deliveryFolder, layout.stillsFolder(job.deliveryFolder));
  await write(run, reportOf(run, outcome, { state: 'failed', made: [], ours, findings }));
}
