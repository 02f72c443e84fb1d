/**
 * One roll's way through the night: intake, survey, plan, make, gate.
 *
 * What stands in roll.json meanwhile: an older verdict stays while the roll is only read again, since nothing is known
 * to differ yet. Once the roll is read it says what is known: at once the gate's word when nothing is to be made (or
 * nothing may be), else `held`, night-running, before the first job is queued. So an older `ready` never stands over
 * content that changed or deliverables that are being replaced.
 */
import type { LimitFunction } from 'p-limit';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { type IntakeResult, isVerified } from '../../ledger/roll.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import { keepTransforms } from '../settings/keep.ts';
import { printable } from '../../files/names.ts';
import type { MediaTools } from '../../process/locate.ts';
import { isMovie, type LoadedProfile } from '../../profiles/schema.ts';
import { type GateClip, type GateDecision, type GateInput, decideRoll } from '../gate/decide.ts';
import { readDeliverables, writeDecision } from '../gate/disk.ts';
import { JOB_BYTES_LIMIT, jobBytes } from '../dispatch/flow.ts';
import { type DiscoveredRoll, intakeRoll } from '../intake/index.ts';
import { count, durationText } from '../show/words.ts';
import type { Board } from '../progress/board.ts';
import type { Work } from './making.ts';
import { planDelivery } from '../roll/plan-roll.ts';
import type { NightRequest, RollOutcome } from './request.ts';
import type { Reservation } from '../roll/space.ts';
import { surveyOf } from '../roll/survey-roll.ts';
import { type Target, troubleOf } from './target.ts';

export interface NightContext {
  readonly request: NightRequest;
  readonly night: string;
  readonly run: string;
  readonly dayName: string;
  readonly tools: MediaTools;
  readonly toolchain: Toolchain;
  readonly profiles: readonly LoadedProfile[];
  readonly board: Board;
  /** Aborted when nothing is to be begun any more. */
  readonly signal: AbortSignal;
  /** Of the rolls whose folders on the delivery would be one, by name. */
  readonly collisions: ReadonlyMap<string, Finding>;
  /** Reads one roll at a time: two would only hinder each other on the same drives. */
  readonly reading: LimitFunction;
  /** Plans one roll at a time: both would count the same room. */
  readonly planning: LimitFunction;
  say(line: string): void;
  readonly reservation: Reservation;
  readonly target: Pick<Target, 'gone'>;
  /** Local workers, for estimates. */
  readonly workers: number;
  make(roll: string, work: readonly Work[]): Promise<Finding[]>;
  /** Why the night ends early; null: it does not. */
  halted(): Finding | null;
  log(message: string, fields: Record<string, unknown>): void;
}

/** More clips than any card holds. */
const ROLL_PRIORITIES = 10_000;

interface Known {
  intake: IntakeResult | null;
  clips: GateClip[];
  otherFiles: string[];
  findings: Finding[];
}

/** `index`: of the roll in the night; earlier rolls are made first. */
export async function nightOfRoll(
  roll: DiscoveredRoll,
  index: number,
  deliveryFolder: string,
  context: NightContext,
): Promise<RollOutcome> {
  const known: Known = { intake: null, clips: [], otherFiles: [], findings: [] };
  let made = 0;
  let kept = 0;
  try {
    known.intake = await context.reading(() => readRoll(roll, context));
    const collision = context.collisions.get(roll.name);
    if (collision !== undefined) known.findings.push(collision);
    else if (isVerified(known.intake)) {
      await survey(roll, known.intake, known, context);
      const planned = await context.planning(() => plan(roll, index, deliveryFolder, known, context));
      kept = planned.done;
      made = planned.planned;
      if (planned.work.length > 0) await make(roll, deliveryFolder, planned.work, known, context);
    }
  } catch (error) {
    // Stopped, or broken on this one roll: what is known is decided on, what is not known holds, and the others go on.
    context.log('a roll was left', {
      roll: roll.name,
      reason: error instanceof Error ? error.stack : String(error),
    });
    if (error instanceof FindingError)
      known.findings.push(...error.findings.map((item) => ({ ...item, roll: roll.name })));
    else if (!context.signal.aborted)
      known.findings.push(finding('program-fault', String(error), 'no fault', { roll: roll.name }));
  }
  return await gate(roll, deliveryFolder, known, { made, kept }, context);
}

function readRoll(roll: DiscoveredRoll, context: NightContext): Promise<IntakeResult> {
  const { request, board } = context;
  context.signal.throwIfAborted();
  board.setPhase(roll.name, 'reading');
  return intakeRoll({
    day: context.dayName,
    roll: roll.name,
    folder: roll.folder,
    copies: request.folders.copies,
    manifests: request.folders.manifests,
    readers: request.readers,
    signal: context.signal,
    onProgress: ({ readBytes, totalBytes }) => board.reading(roll.name, readBytes, totalBytes),
  });
}

async function survey(
  roll: DiscoveredRoll,
  intake: IntakeResult,
  known: Known,
  context: NightContext,
): Promise<void> {
  const { board, request } = context;
  board.setPhase(roll.name, 'measuring');
  const surveyed = await surveyOf(intake, context.tools, {
    settings: context.profiles.every(isMovie) ? null : request.settings.file,
    decoders: request.settings.decoders,
    statedRate: request.statedRate,
    ignore: request.ignore,
    signal: context.signal,
    onMeasured: (measured, clips) => board.measuring(roll.name, measured, clips),
  });
  known.clips = surveyed.clips;
  known.otherFiles = surveyed.otherFiles;
  known.findings.push(...surveyed.findings);
}

/** Jobs of the clips that nothing speaks against; refusals go to their clips. */
async function plan(
  roll: DiscoveredRoll,
  index: number,
  deliveryFolder: string,
  known: Known,
  context: NightContext,
): Promise<{ work: Work[]; done: number; planned: number }> {
  const planned = await planDelivery({
    night: context.night,
    run: context.run,
    day: context.dayName,
    profiles: context.profiles,
    workers: Math.max(1, context.workers),
    // What survey holds of the roll (a file that nobody understands) keeps it from being ready, not its clips from being made.
    rolls: [
      {
        roll: roll.name,
        folder: roll.folder,
        deliveryFolder,
        findings: known.intake?.findings ?? [],
        clips: known.clips,
      },
    ],
    toolchain: context.toolchain,
    signal: context.signal,
    mayWrite: true,
    volume: context.reservation.left,
  });
  const found = [...planned.refusals, ...planned.notes].map((item) => ({ ...item, roll: roll.name }));
  known.clips = known.clips.map((entry) => ({
    ...entry,
    findings: [...entry.findings, ...found.filter((item) => item.clip === entry.clip.id)],
  }));
  known.findings.push(...found.filter((item) => item.clip === undefined));
  const jobs = planned.jobs.filter(({ job }) => {
    const bytes = jobBytes(job);
    if (bytes > JOB_BYTES_LIMIT)
      known.findings.push(
        finding('job-too-large', `${bytes} bytes`, `at most ${JOB_BYTES_LIMIT} bytes`, {
          roll: roll.name,
          clip: job.clip.id,
        }),
      );
    return bytes <= JOB_BYTES_LIMIT;
  });
  context.reservation.take(jobs.map(({ job }) => job));
  const seconds = planned.jobs.length === 0 ? '' : `, about ${durationText(planned.seconds)}`;
  context.say(
    `${printable(roll.name)}: ${count(known.clips.length, 'clip')}, ${planned.planned} to make, ${planned.done} stand finished${seconds}`,
  );
  return {
    work: jobs.map(({ job, priority }) => ({ job, priority: index * ROLL_PRIORITIES + priority })),
    done: planned.done,
    planned: planned.planned,
  };
}

async function make(
  roll: DiscoveredRoll,
  deliveryFolder: string,
  work: readonly Work[],
  known: Known,
  context: NightContext,
): Promise<void> {
  const running = finding('night-running', `${work.length} jobs to be done, run ${context.run}`, 'an end', {
    roll: roll.name,
  });
  const refused = await write(
    deliveryFolder,
    decideRoll({ ...gateInput(roll, known, context), clips: [], findings: [running] }),
    new Map(),
    context,
  );
  if (refused !== null) {
    known.findings.push({ ...refused, roll: roll.name });
    return;
  }
  await keepTransforms(
    work.map(({ job }) => job),
    deliveryFolder,
    context.request.settings,
  );
  context.signal.throwIfAborted();
  context.board.making(
    roll.name,
    work.map((item) => item.job),
  );
  context.board.setPhase(roll.name, 'making');
  const given = await context.make(roll.name, work);
  known.clips = known.clips.map((entry) => ({
    ...entry,
    findings: [...entry.findings, ...given.filter((item) => item.clip === entry.clip.id)],
  }));
  known.findings.push(...given.filter((item) => item.clip === undefined));
}

function gateInput(roll: DiscoveredRoll, known: Known, context: NightContext): GateInput {
  return {
    day: context.dayName,
    roll: roll.name,
    intake: known.intake,
    copiesAsked: context.request.folders.copies.length + 1,
    clips: known.clips,
    otherFiles: known.otherFiles,
    profiles: context.profiles,
    toolchain: context.toolchain,
    onDisk: new Map(),
    findings: known.findings,
    decidedAt: new Date().toISOString(),
  };
}

async function gate(
  roll: DiscoveredRoll,
  deliveryFolder: string,
  known: Known,
  counts: { made: number; kept: number },
  context: NightContext,
): Promise<RollOutcome> {
  const onDisk = await readDeliverables(
    deliveryFolder,
    known.clips.map((entry) => entry.clip),
    context.profiles.map((loaded) => loaded.profile.name),
  );
  const input: GateInput = { ...gateInput(roll, known, context), onDisk };
  const halted = context.halted();
  let decision = decideRoll(input);
  // Why it is not whole is told first; a roll that was whole before the end came is ready all the same.
  if (decision.verdict.verdict === 'held' && halted !== null)
    decision = decideRoll({ ...input, findings: [{ ...halted, roll: roll.name }, ...input.findings] });
  // A roll that was not read to its end: nothing is known to differ from what stands.
  const refused = known.intake === null ? null : await write(deliveryFolder, decision, onDisk, context);
  const { verdict } = decision;
  context.board.setPhase(roll.name, refused === null ? verdict.verdict : 'held');
  return {
    roll: roll.name,
    verdict: refused === null ? verdict.verdict : 'held',
    clips: verdict.clips.length,
    clipsReady: verdict.clips.filter((entry) => entry.verdict === 'ready').length,
    ...counts,
    record: refused === null && known.intake !== null ? layout.verdict(deliveryFolder) : null,
    findings: refused === null ? verdict.findings : [{ ...refused, roll: roll.name }, ...verdict.findings],
  };
}

/** A finding when the delivery cannot be written. */
async function write(
  deliveryFolder: string,
  decision: GateDecision,
  onDisk: GateInput['onDisk'],
  { target }: Pick<NightContext, 'target'>,
): Promise<Finding | null> {
  // Folders are made on the way: below a mount point whose volume is gone they would lie on the wrong disk.
  const gone = await target.gone();
  if (gone !== null) return gone;
  try {
    await writeDecision(deliveryFolder, decision, onDisk);
    return null;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === undefined) throw error;
    return troubleOf(error as NodeJS.ErrnoException, deliveryFolder);
  }
}
