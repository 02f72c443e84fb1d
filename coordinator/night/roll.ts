/**
 * One roll's way through the night: intake, survey, plan, make, gate.
 *
 * What stands in roll.json meanwhile: an older verdict stays while the roll is only read again, since nothing is known
 * to differ yet. Once the roll is read it says what is known: at once the gate's word when nothing is to be made (or
 * nothing may be), else `held`, run-running, before the first job is queued. So an older `ready` never stands over
 * content that changed or deliverables that are being replaced.
 */
import { append } from '../../findings/append.ts';
import { codeOf } from '../../files/error-code.ts';
import type { LimitFunction } from 'p-limit';
import { type Finding, finding } from '../../findings/finding.ts';
import { linksToProfiles, linksToRecords } from '../../ledger/delivery-links.ts';
import { PartKeeper, removeParts } from '../../ledger/job-parts.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { sweepSegments } from '../../ledger/segments.ts';
import { printable } from '../../files/names.ts';
import { type GateDecision, decideRoll, decisionWithPlaces, findingsBeforeMaking } from '../gate/decide.ts';
import type { GateClip, GateInput } from '../gate/input.ts';
import { stillsDue } from '../gate/stills.ts';
import { deliveryContents } from '../gate/delivery-contents.ts';
import { type DecidedOn, readDueDeliverables, writeDecision } from '../gate/disk.ts';
import type { RollRank } from '../dispatch/order.ts';
import { jobsOf } from '../dispatch/segments.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import { copiesSince } from '../intake/since.ts';
import { readStillsOf } from '../../ledger/stills.ts';
import { countCopies, isVerified } from '../../ledger/roll.ts';
import {
  addFindings,
  gateInputOf,
  type KnownRoll,
  planRoll,
  probeRoll,
  type RollContext,
  unknownRoll,
  unlessBroken,
  verifyRoll,
} from '../roll/know.ts';
import { addProductionSound, asksProductionSound } from '../roll/production-sound.ts';
import { isSoundRoll, layBesideClips } from '../roll/sound-rolls.ts';
import { keepTransforms } from '../settings/keep.ts';
import { count } from '../show/words.ts';
import { rankOf } from '../dispatch/by-due.ts';
import type { Dues } from '../forecast/dues.ts';
import type { Forecasting } from './forecasting.ts';
import type { RollOfWork } from './job-tracker.ts';
import { type Mend, menderOf } from './mending.ts';
import type { NightRequest, RollResult } from './request.ts';
import type { Surveys } from './surveys.ts';
import { type Target, failureOf } from './target.ts';
import { type Work, Works } from './work.ts';

/** `signal`: aborted when nothing is to be begun any more. */
export interface NightContext extends RollContext {
  readonly request: NightRequest;
  /** Reads one roll at a time: two would only hinder each other on the same drives. */
  readonly reading: LimitFunction;
  /** Plans one roll at a time: both would count the same room. */
  readonly planning: LimitFunction;
  /** Writes the handover of the day anew, one at a time. */
  handOver(): Promise<void>;
  say(line: string): void;
  readonly target: Pick<Target, 'gone'>;
  /** Of every roll that the night begins, as far as it is known. */
  readonly known: KnownRoll[];
  /** Rolls of the day that this run is not about. */
  readonly notAsked: readonly string[];
  /** That all rolls of the night are surveyed, or will not be. */
  readonly surveys: Surveys;
  /** What it shares with other rolls. */
  repeats(known: KnownRoll): Promise<Finding[]>;
  readonly forecasting: Pick<Forecasting, 'add'>;
  readonly dues: Dues;
  /** Of a pull: gives a roll the stretches that are made of it, once all rolls are surveyed; false: the cut uses nothing of it. null: it is none. */
  readonly takePull: ((known: KnownRoll) => Promise<boolean>) | null;
  make(roll: RollOfWork, work: readonly Work[]): Promise<Finding[]>;
  /** Why the night ends early; null: it does not. */
  halted(): Finding | null;
}

/** `index`: of the roll in the night. null: a pull uses nothing of it, and nothing is said of it. */
export async function nightOfRoll(
  roll: DiscoveredRoll,
  index: number,
  context: NightContext,
): Promise<RollResult | null> {
  const known = unknownRoll(roll, context.request.folders);
  context.known.push(known);
  let made = 0;
  let kept = 0;
  let isUsed = true;
  await unlessBroken(known, context, async () => {
    try {
      known.intake = await context.reading(() => verifyRoll(roll, context));
      if (!(await probeRoll(known, context))) return;
    } finally {
      context.surveys.end(roll.name);
    }
    if (context.takePull !== null) {
      isUsed = await context.takePull(known);
      if (!isUsed) return;
    }
    if (isSoundRoll(known)) {
      await context.surveys.ended;
      await layBesideClips(known, context.known, context);
      context.say(`${printable(roll.name)}: ${count(known.recordings.length, 'recording')} of sound`);
      return;
    }
    if (asksProductionSound(context)) {
      // What clips carry of sound rolls is known before anything is made.
      await Promise.all(context.maybeSoundRolls.map((name) => context.surveys.of(name)));
      await addProductionSound(known, context.known, context);
    }
    const profiles = context.profiles.map(({ profile }) => profile.name);
    const links = [
      ...(await linksToRecords(known.deliveryFolder, roll.name)),
      ...(await linksToProfiles(known.deliveryFolder, roll.name, profiles)),
    ];
    append(known.findings, links);
    if (links.length > 0) return;
    const rank = rankOf(roll.name, index, context.request.rolls?.first ?? [], context.dues);
    const planned = await plan(known, rank, context);
    kept = planned.done;
    made = planned.planned;
    context.say(
      `${printable(roll.name)}: ${count(known.clips.length, 'clip')}, ${made} to make, ${kept} already done`,
    );
    const ofWork = { name: roll.name, rank, mend: planned.mend };
    if (planned.work.length > 0) await make(known, ofWork, planned.work, context);
  });
  if (!isUsed) {
    context.runProgress.setPhase(roll.name, 'ready');
    return null;
  }
  const result = await gate(known, { made, kept }, context);
  // Whoever waits for this roll need not wait for the night.
  if (result.verdict === 'ready') await context.handOver();
  return result;
}

interface PlannedWork {
  readonly work: readonly Work[];
  readonly done: number;
  readonly planned: number;
  readonly mend: Mend;
}

/** What is to be made of the roll; what each job is made of lies beside its reports from here on, and not in memory. */
async function plan(known: KnownRoll, rank: RollRank, context: NightContext): Promise<PlannedWork> {
  const { jobs, done, planned, again } = await context.planning(() => planRoll(known, context, true));
  const mend = menderOf(again);
  if (jobs.length === 0) return { work: [], done, planned, mend };
  const { roll, deliveryFolder } = known;
  const running = finding(
    'run-running',
    `${jobs.length} jobs to be done, run ${context.run}`,
    'the end of the run',
    { roll: roll.name },
  );
  const refused = await write(
    deliveryFolder,
    decisionWithPlaces(
      decideRoll({ ...gateInputOf(known, context), clips: [], findings: [running] }),
      context.mounts ?? null,
    ),
    { onDisk: new Map(), stills: new Map() },
    context,
  );
  if (refused !== null) {
    known.findings.push({ ...refused, roll: roll.name });
    return { work: [], done, planned, mend };
  }
  await keepTransforms(
    jobs.map(({ job }) => job),
    deliveryFolder,
    context.request.settings,
  );
  // What a run left that was cut otherwise, or of another clip, is nobody's.
  await sweepSegments(deliveryFolder, new Set(jobs.flatMap(({ lying }) => lying?.names ?? [])));
  const keeper = new PartKeeper(deliveryFolder);
  const works = new Works();
  const work: Work[] = [];
  const each: { readonly job: Job; readonly seconds: number }[] = [];
  for (const [place, planned] of jobs.entries()) {
    for (const { job, seconds } of jobsOf(planned, planned.segments)) {
      each.push({ job, seconds });
      const one = works.add(job, place, seconds);
      await keeper.keep(one.parts);
      work.push(one.work);
    }
  }
  context.forecasting.add(rank, each);
  return { work, done, planned, mend };
}

async function make(
  known: KnownRoll,
  roll: RollOfWork,
  work: readonly Work[],
  context: NightContext,
): Promise<void> {
  context.signal.throwIfAborted();
  context.runProgress.making(
    roll.name,
    work.map(({ ticket }) => ticket),
  );
  context.runProgress.setPhase(roll.name, 'making');
  const given = await context.make(roll, work);
  addFindings(known, given);
}

async function gate(
  known: KnownRoll,
  counts: { made: number; kept: number },
  context: NightContext,
): Promise<RollResult> {
  const { roll, deliveryFolder } = known;
  // Whether this run put them there or one that was killed: nobody works on the roll. What is made of long clips waits for the run that goes on.
  const isEndedEarly = context.signal.aborted || context.halted() !== null;
  await removeParts(deliveryFolder, isEndedEarly ? 'keep' : 'remove').catch(() => undefined);
  if (known.isLeft) return leftAsItIs(known, counts, context);
  const onDisk = await readDueDeliverables(deliveryFolder, known.clips.map(withDue), 'measure');
  const stills = await readStillsOf(
    deliveryFolder,
    known.clips.map(({ clip }) => clip),
  );
  // Of a roll that has nothing to speak of nothing is ready, and all that lies there would be named for it.
  if (known.clips.length > 0 || isSoundRoll(known))
    append(known.findings, await contentsOfDelivery(known, onDisk, stills));
  if (known.intake !== null && isVerified(known.intake))
    append(known.findings, await copiesSince(known.intake, context.signal));
  append(known.findings, await context.repeats(known));
  const input: GateInput = { ...gateInputOf(known, context), onDisk, stills };
  const halted = context.halted();
  const mounts = context.mounts ?? null;
  let decision = decisionWithPlaces(decideRoll(input), mounts);
  // Why it is not whole is reported first; a roll that was whole before the end came is ready all the same.
  if (decision.verdict.verdict === 'held' && halted !== null)
    decision = decisionWithPlaces(
      decideRoll({ ...input, findings: [{ ...halted, roll: roll.name }, ...input.findings] }),
      mounts,
    );
  // A roll that was not read to its end: nothing is known to differ from what stands.
  const refused =
    known.intake === null ? null : await write(deliveryFolder, decision, { onDisk, stills }, context);
  const { verdict } = decision;
  context.runProgress.setPhase(roll.name, refused === null ? verdict.verdict : 'held');
  return {
    roll: roll.name,
    verdict: refused === null ? verdict.verdict : 'held',
    clips: verdict.clips.length,
    clipsReady: verdict.clips.filter((entry) => entry.verdict === 'ready').length,
    recordings: known.recordings.length,
    copies: countCopies(verdict.copies),
    ...counts,
    record: refused === null && known.intake !== null ? layout.verdict(deliveryFolder) : null,
    findings: refused === null ? verdict.findings : [{ ...refused, roll: roll.name }, ...verdict.findings],
  };
}

/** Its records stay as they are: they say of what lies there what is so. */
function leftAsItIs(
  known: KnownRoll,
  counts: { made: number; kept: number },
  context: NightContext,
): RollResult {
  const { roll, deliveryFolder, clips, intake } = known;
  context.runProgress.setPhase(roll.name, 'held');
  return {
    roll: roll.name,
    verdict: 'held',
    clips: clips.length,
    clipsReady: 0,
    recordings: known.recordings.length,
    copies: countCopies(intake?.copies ?? []),
    ...counts,
    record: layout.verdict(deliveryFolder),
    findings: findingsBeforeMaking(gateInputOf(known, context)),
  };
}

const withDue = (
  entry: GateClip,
): { clip: GateClip['clip']; due: readonly string[]; stillsDue: boolean } => ({
  clip: entry.clip,
  due: entry.settings.profiles,
  stillsDue: stillsDue(entry) !== null,
});

/** What else lies there. Unfinished files are nobody's fault here: their owners may be at work. */
async function contentsOfDelivery(
  { roll, deliveryFolder, clips, otherFiles }: KnownRoll,
  onDisk: GateInput['onDisk'],
  stills: NonNullable<GateInput['stills']>,
): Promise<Finding[]> {
  try {
    const found = await deliveryContents({
      rollFolder: deliveryFolder,
      roll: roll.name,
      clips: clips.map(withDue),
      onDisk,
      stills,
      otherFiles,
    });
    return found.filter(({ code }) => code !== 'staging-left');
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return [{ ...failureOf(error, deliveryFolder), roll: roll.name }];
  }
}

/** A finding when the delivery cannot be written. */
async function write(
  deliveryFolder: string,
  decision: GateDecision,
  decidedOn: DecidedOn,
  { target }: Pick<NightContext, 'target'>,
): Promise<Finding | null> {
  // Folders are made on the way: below a mount point whose volume is gone they would lie on the wrong disk.
  const gone = await target.gone();
  if (gone !== null) return gone;
  const [link] = await linksToRecords(deliveryFolder, decision.verdict.roll);
  if (link !== undefined) return link;
  try {
    await writeDecision(deliveryFolder, decision, decidedOn);
    return null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return failureOf(error, deliveryFolder);
  }
}
