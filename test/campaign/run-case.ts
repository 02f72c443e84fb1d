/** One case: the job of one clip with an encoder that has a fault, then the gate, as a night would have them. */
import { cpSync, existsSync, mkdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { readDeliverables } from '../../coordinator/gate/disk.ts';
import { blocks } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { describeOperation } from '../faults/fault.ts';
import { differencesOf, isNone, observed } from '../faults/observed.ts';
import type { Operation, Several } from '../faults/operation.ts';
import { faultyFfmpeg } from '../faults/stand-in.ts';
import { decisionOf } from '../support/decide.ts';
import { workContext } from '../support/work.ts';
import { pictureDistance } from './distance.ts';

export interface CaseResult {
  readonly verdict: RollVerdict['verdict'];
  /** Codes of the findings that hold, each once. */
  readonly codes: readonly string[];
  /** The same by the profile that they name. */
  readonly codesOf: (profile: string) => readonly string[];
  /** The same findings in words. */
  readonly reported: readonly string[];
  /** The operation took place, and the real program ended with 0: what is held is then held for the fault. */
  readonly done: boolean;
  /** Only of a spoiled case that came out ready: whether the published files are, decoded, those of an intact encoder. */
  readonly withoutEffect: boolean;
  /** Only of those: every picture that was put out of its place is one of which the report itself says that its neighbours look the same. */
  readonly notClaimed: boolean;
  /** What differs in the published files, for people; empty unless a spoiled case came out ready. */
  readonly differences: readonly string[];
  readonly milliseconds: number;
}

/** The same job with its delivery in `folder`. */
function into(job: Job, folder: string): Job {
  const deliveryFolder = join(folder, job.day, job.roll);
  mkdirSync(deliveryFolder, { recursive: true });
  // What settings name lies beside the reports.
  if (existsSync(job.deliveryFolder)) cpSync(job.deliveryFolder, deliveryFolder, { recursive: true });
  return { ...job, deliveryFolder };
}

/** Verdict of the gate on a roll of this one clip, whose copies hold. */
export async function gateVerdict(job: Job): Promise<RollVerdict> {
  return (await decisionOf(job)).decision.verdict;
}

async function work(job: Job, ffmpeg: string | null): Promise<void> {
  const context = await workContext();
  const tools =
    ffmpeg === null ? context.tools : { ...context.tools, ffmpeg: { ...context.tools.ffmpeg, path: ffmpeg } };
  try {
    await runJob(job, { ...context, tools });
  } catch (error) {
    // Its report is on disk, where the gate finds it.
    if (!(error instanceof JobFailure)) throw error;
  }
}

/** What differs between the published files of two deliveries of a job. */
async function differencesBetween(good: Job, spoiled: Job): Promise<string[]> {
  const reported: string[] = [];
  for (const { profile, outcome } of good.deliverables) {
    const path = (job: Job): string => layout.deliverable(job.deliveryFolder, profile.name, outcome.fileName);
    const difference = differencesOf(await observed(path(good)), await observed(path(spoiled)));
    if (isNone(difference)) continue;
    const { pictures, times, audioTracks, described } = difference;
    if (pictures !== null)
      reported.push(`${profile.name}: ${await pictureDistance(path(good), path(spoiled))}`);
    if (times) reported.push(`${profile.name}: times`);
    if (audioTracks.length > 0)
      reported.push(`${profile.name}: audio of track ${audioTracks.map((index) => index + 1).join(', ')}`);
    if (described.length > 0) reported.push(`${profile.name}: ${described.join(', ')}`);
  }
  return reported;
}

/**
 * Whether the report itself says that it cannot tell just that: each frame that was moved from its neighbours, one matrix from
 * another where there is next to no colour, one field from the other where nothing moves.
 */
async function isNotClaimed(job: Job, operation: Operation): Promise<boolean> {
  // Of a fault that comes in sizes it is said beforehand what is promised.
  if ('claimed' in operation) return false;
  const reports = [
    ...(
      await readDeliverables(
        job.deliveryFolder,
        [job.clip],
        job.deliverables.map(({ profile }) => profile.name),
        'measure',
      )
    ).values(),
  ].flatMap(({ report }) => (report === null ? [] : [report]));
  const of = (check: string, profile?: string) =>
    reports
      .filter((report) => profile === undefined || report.profile === profile)
      .map((report) => report.checks.find((one) => one.check === check));
  if (operation.do === 'graph')
    return of('frame-match').every(
      (result) => result?.measured.includes('which field is the earlier cannot be told') === true,
    );
  const spans = of('frame-match', 'profile' in operation ? operation.profile : undefined)[0]?.unproven ?? [];
  const isUnproven = (frame: number): boolean => spans.some(([from, to]) => frame >= from && frame <= to);
  const only = operation.do === 'filter' ? /eq\(n,(\d+)\)/.exec(operation.filters)?.[1] : undefined;
  if (only !== undefined) return isUnproven(Number(only));
  if (operation.do === 'filter')
    return (
      operation.filters.includes('out_color_matrix') &&
      of('levels', operation.profile).every((result) => / to tell .*matrix/.test(result?.measured ?? ''))
    );
  if (operation.do === 'other-clip' && operation.at !== null) return isUnproven(operation.at);
  if (operation.do !== 'frames') return false;
  const moved = operation.map.flatMap((from, frame) => (from === frame ? [] : [frame]));
  return moved.length > 0 && moved.every(isUnproven);
}

/** `folder` is made, and removed unless `keep`. Throws when something else than the job fails. */
export async function runCase(
  job: Job,
  operation: Operation | Several,
  folder: string,
  keep = false,
): Promise<CaseResult> {
  const started = performance.now();
  mkdirSync(folder, { recursive: true });
  const spoiled = into(job, join(folder, 'delivery'));
  const faulty = faultyFfmpeg(folder, operation);
  await work(spoiled, faulty.path);
  const { verdict, findings } = await gateVerdict(spoiled);
  const held = findings.filter(blocks);
  const codes = [...new Set(held.map((item) => item.code))].sort();
  const codesOf = (wanted: string): string[] =>
    held.filter(({ profile }) => profile === wanted).map(({ code }) => code);
  const reported = held.map(
    ({ code, profile, found, expected }) => `${profile ?? ''} ${code}: ${found}; expected ${expected}`,
  );
  let differences: string[] = [];
  // Of several faults the gate's word is all that is asked for.
  if (verdict === 'ready' && operation.do !== 'none' && operation.do !== 'several') {
    const good = into(job, join(folder, 'intact'));
    await work(good, null);
    if ((await gateVerdict(good)).verdict !== 'ready')
      throw new Error(`an intact encoder's work is held: ${describeOperation(operation)}`);
    differences = await differencesBetween(good, spoiled);
  }
  const notClaimed =
    differences.length > 0 && operation.do !== 'several' && (await isNotClaimed(spoiled, operation));
  const code = faulty.done()?.code;
  // A decoder may well end on a damaged clip.
  const done = code === 0 || (code !== undefined && operation.do === 'damage');
  if (!keep) rmSync(folder, { recursive: true, force: true });
  return {
    verdict,
    codes,
    codesOf,
    reported,
    done,
    withoutEffect: verdict === 'ready' && differences.length === 0,
    notClaimed,
    differences,
    milliseconds: performance.now() - started,
  };
}
