/**
 * One roll's way up to the making, and what is found on it: verification, probe, plan. `check` goes the first step, `plan`
 * goes all of them, and `run` goes on from there, so that none of them can find what another does not.
 */
import { append } from '../../findings/append.ts';
import type { DayManifests } from '../../files/manifest/day.ts';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { seenDigest } from '../../files/seen.ts';
import { type Clip, filesOfPlace } from '../../ledger/clip.ts';
import type { Job, NamedJob, SoundRollOfJob } from '../../ledger/job.ts';
import type { Recording } from '../../ledger/recording.ts';
import { isVerified } from '../../ledger/roll.ts';
import { intakeWithPlaces, type Mounts } from '../../ledger/portable.ts';
import { lyingCut, segmentsLying } from '../../ledger/segments.ts';
import { TICKET_BYTES_LIMIT, ticketBytes } from '../../ledger/ticket.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { ClipReaders } from '../../media/raw/clip-readers.ts';
import type { Rate } from '../../media/time/rate.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import type { GateClip, GateInput } from '../gate/input.ts';
import { type DiscoveredRoll, intakeRoll } from '../intake/index.ts';
import type { KeptReads } from '../intake/kept-reads.ts';
import type { ReadRoll } from '../intake/since.ts';
import type { NightPlan, PlannedJob, PlanRequest } from '../plan/index.ts';
import type { RunProgress } from '../progress/run-progress.ts';
import type { Settings } from '../settings/read.ts';
import type { NightFolders } from './folders.ts';
import { expectedOf } from '../night/complete.ts';
import { pulledFromOthers, standingOtherwise } from '../night/standing.ts';
import { planDelivery } from './plan-roll.ts';
import { rollOnDelivery } from './rolls.ts';
import type { Reservation } from './space.ts';
import type { HeardTogether } from './heard-together.ts';
import { surveyOf } from './survey-roll.ts';

export interface VerifyContext {
  readonly request: {
    readonly folders: Pick<NightFolders, 'dayName' | 'copies' | 'manifests'>;
    /** Files read side by side. */
    readonly readers: number;
    /** What this machine has read before; absent: everything is read. */
    readonly kept?: KeptReads | undefined;
  };
  readonly dayManifests: DayManifests;
  readonly runProgress: RunProgress;
  readonly signal: AbortSignal;
}

export interface RollContext extends VerifyContext {
  readonly request: VerifyContext['request'] & {
    readonly folders: NightFolders;
    /** Rate of numbered sequences that carry none. */
    readonly statedRate: Rate | null;
    readonly settings: Settings;
    /** Patterns as in a gitignore file, of files that are no clips. */
    readonly ignore: readonly string[];
  };
  /** Of clips' headers, for the whole command. */
  readonly clipReaders: ClipReaders;
  readonly night: string;
  readonly run: string;
  readonly tools: MediaTools;
  readonly toolchain: Toolchain;
  /** All that any clip may be due; `stated` and `usual` as in AskedProfiles (settings/interpret.ts). */
  readonly profiles: readonly LoadedProfile[];
  readonly stated: readonly string[] | null;
  readonly usual: readonly string[];
  readonly stills?: number | undefined;
  /** Whether what is ready is made again where something else is asked for. */
  readonly replace?: boolean;
  /** Of the rolls whose folders on the delivery would be one, by name. */
  readonly collisions: ReadonlyMap<string, Finding>;
  /** How long jobs are thought to take; absent: as the planner's table says. */
  readonly estimate?: (jobs: readonly PlannedJob[]) => readonly PlannedJob[];
  /** As of PlanRequest. */
  readonly segmentsFor: NonNullable<PlanRequest['segmentsFor']>;
  /** Rolls of the day that may be sound rolls, by the names of their files, whether this command reads them or not; none where no profile carries production sound. */
  readonly maybeSoundRolls: readonly string[];
  /** By clip and recording, for the whole command. */
  readonly heardTogether: HeardTogether;
  readonly reservation: Pick<Reservation, 'take' | 'left'>;
  log(message: string, fields: Record<string, unknown>): void;
  /** By which records name places; null, or absent: by the paths of this machine. */
  readonly mounts?: Mounts;
}

/** What is known of a roll so far. Filled step by step, so that what was found stays when a later step fails. */
export interface KnownRoll {
  readonly roll: DiscoveredRoll;
  /** <delivery>/<day>/<roll>. */
  readonly deliveryFolder: string;
  /** null: verification did not come to an end. */
  intake: ReadRoll | null;
  clips: GateClip[];
  /** Of a pull: clips that the cut does not use; null: it is none. */
  unused: readonly Clip[] | null;
  /** Of a sound roll. */
  recordings: readonly Recording[];
  /** By clip, the sound rolls that its production sound is read from. */
  readonly soundRolls: Map<string, readonly SoundRollOfJob[]>;
  /** Whether `clips` are all that the roll has. */
  isSurveyed: boolean;
  /** Files that are no clips. */
  otherFiles: string[];
  /** Of the roll as a whole, besides those of verification. */
  findings: Finding[];
  /** It is ready as something else than is asked for: nothing of it is made, and nothing that lies there is changed. */
  isLeft: boolean;
}

export function unknownRoll(roll: DiscoveredRoll, folders: NightFolders): KnownRoll {
  return {
    roll,
    deliveryFolder: rollOnDelivery(folders, roll.name),
    intake: null,
    clips: [],
    unused: null,
    recordings: [],
    soundRolls: new Map(),
    isSurveyed: false,
    otherFiles: [],
    findings: [],
    isLeft: false,
  };
}

export function verifyRoll(
  roll: DiscoveredRoll,
  { request, dayManifests, runProgress, signal }: VerifyContext,
): Promise<ReadRoll> {
  signal.throwIfAborted();
  runProgress.setPhase(roll.name, 'reading');
  return intakeRoll({
    day: request.folders.dayName,
    roll: roll.name,
    folder: roll.folder,
    copies: request.folders.copies,
    manifests: request.folders.manifests,
    dayManifests,
    readers: request.readers,
    kept: request.kept,
    signal,
    onProgress: ({ readBytes, totalBytes }) => runProgress.reading(roll.name, readBytes, totalBytes),
  });
}

/** Clips and facts of a verified roll. False: something speaks against the roll as a whole, and nothing of it is to be planned. */
export async function probeRoll(known: KnownRoll, context: RollContext): Promise<boolean> {
  const { roll, intake } = known;
  const collision = context.collisions.get(roll.name);
  if (collision !== undefined) known.findings.push(collision);
  if (collision !== undefined || intake === null || !isVerified(intake)) return false;
  const { runProgress, request } = context;
  runProgress.setPhase(roll.name, 'measuring');
  const surveyed = await surveyOf(intake, context.tools, {
    settings: request.settings.file,
    asked: context,
    decoders: request.settings.decoders,
    statedRate: request.statedRate,
    ignore: request.ignore,
    signal: context.signal,
    clipReaders: context.clipReaders,
    onMeasured: (measured, clips) => runProgress.measuring(roll.name, measured, clips),
  });
  known.clips = surveyed.clips;
  known.recordings = surveyed.recordings;
  known.isSurveyed = true;
  known.otherFiles = surveyed.otherFiles;
  append(known.findings, surveyed.findings);
  return true;
}

interface RollPlan
  extends Pick<NightPlan, 'jobs' | 'done' | 'planned' | 'withoutRoom' | 'volumes' | 'secondDecodes'> {
  /** A job once more, as it was planned; null: there is none. */
  again(job: NamedJob): Job | null;
}

/**
 * Jobs of the clips that nothing speaks against, and room taken for them; refusals go to their clips.
 * `mayWrite`: a report that only has to be completed is completed.
 */
export async function planRoll(known: KnownRoll, context: RollContext, mayWrite: boolean): Promise<RollPlan> {
  const { roll, deliveryFolder } = known;
  const lying = await segmentsLying(deliveryFolder);
  const plan = await planDelivery({
    night: context.night,
    run: context.run,
    day: context.request.folders.dayName,
    profiles: context.profiles,
    masters: context.request.settings.file.show?.masters ?? 'with',
    segmentsFor: context.segmentsFor,
    lying: (job) => lyingCut(lying, job.clip.id, expectedOf(job)),
    // What survey holds of the roll (a file that nobody understands) keeps it from being ready, not its clips from being made.
    rolls: [
      {
        roll: roll.name,
        folder: roll.folder,
        deliveryFolder,
        findings: known.intake?.findings ?? [],
        clips: known.clips.map((entry) => ({
          ...entry,
          due: entry.settings.profiles,
          stills: entry.settings.stills,
          soundRolls: known.soundRolls.get(entry.clip.id) ?? [],
        })),
      },
    ],
    toolchain: context.toolchain,
    signal: context.signal,
    mayWrite,
    volume: context.reservation.left,
  });
  addFindings(known, [...plan.refusals, ...plan.notes]);
  const fromOthers = await pulledFromOthers(plan.jobs.map(({ job }) => job));
  const standing =
    fromOthers.length > 0
      ? fromOthers
      : context.replace === true
        ? []
        : await standingOtherwise(
            plan.jobs.map(({ job }) => job),
            context.toolchain,
          );
  if (standing.length > 0) {
    addFindings(known, standing);
    known.isLeft = true;
    return { ...plan, jobs: [], planned: 0, again: () => null };
  }
  const tooLarge = plan.jobs
    .map(({ job }) => ({ job, bytes: ticketBytes(job) }))
    .filter(({ bytes }) => bytes > TICKET_BYTES_LIMIT);
  append(
    known.findings,
    tooLarge.map(({ job, bytes }) =>
      finding('job-too-large', `${bytes} bytes`, `at most ${TICKET_BYTES_LIMIT} bytes`, {
        roll: roll.name,
        clip: job.clip.id,
      }),
    ),
  );
  const refused = new Set<Job>(tooLarge.map(({ job }) => job));
  const seenOf = seenIn(known);
  const jobs = plan.jobs
    .filter(({ job }) => !refused.has(job))
    .map((planned) => ({ ...planned, job: { ...planned.job, source: sourceOf(planned.job, seenOf) } }));
  const again = (named: NamedJob): Job | null => {
    const job = plan.again(named);
    return job === null ? null : { ...job, source: sourceOf(job, seenIn(known)) };
  };
  context.reservation.take(jobs);
  return { ...plan, jobs: context.estimate?.(jobs) ?? jobs, again };
}

const seenIn = ({ intake }: KnownRoll): Map<string, string | null> =>
  new Map((intake?.files ?? []).map(({ path, seen }) => [path, seen ?? null]));

/** What verification saw of the clip's files, as the worker asks it again. */
function sourceOf({ clip }: Job, seenOf: ReadonlyMap<string, string | null>): string {
  return seenDigest(
    filesOfPlace(clip.place).map((path) => [path, seenOf.get(path) ?? null] as const),
    'without-numbers',
  );
}

/** Each to its clip, the others to the roll. */
export function addFindings(known: KnownRoll, found: readonly Finding[]): void {
  const ofRoll = found.map((item) => ({ ...item, roll: known.roll.name }));
  known.clips = known.clips.map((entry) => ({
    ...entry,
    findings: [...entry.findings, ...ofRoll.filter((item) => item.clip === entry.clip.id)],
  }));
  append(
    known.findings,
    ofRoll.filter((item) => item.clip === undefined),
  );
}

/** A roll that is stopped or breaks stops no other: what is known of it is decided on, and what is not known holds. */
export async function unlessBroken(
  known: KnownRoll,
  { signal, log }: Pick<RollContext, 'signal' | 'log'>,
  way: () => Promise<void>,
): Promise<void> {
  try {
    await way();
  } catch (error) {
    const { name } = known.roll;
    log('a roll was left', {
      roll: name,
      reason: error instanceof Error ? error.stack : String(error),
    });
    if (error instanceof FindingError)
      append(
        known.findings,
        error.findings.map((item) => ({ ...item, roll: name })),
      );
    else if (!signal.aborted)
      known.findings.push(finding('program-fault', String(error), 'no fault', { roll: name }));
  }
}

/** What the gate is asked of the roll while nothing of it is looked at on the delivery. */
export function gateInputOf(known: KnownRoll, context: RollContext): GateInput {
  const { folders } = context.request;
  const mounts = context.mounts ?? null;
  return {
    day: folders.dayName,
    roll: known.roll.name,
    // By its names here already: what the gate says of copies and manifests is then the same in every audit.
    intake: known.intake === null ? null : intakeWithPlaces(known.intake, mounts),
    copiesAsked: folders.copies.length + 1,
    clips: known.clips,
    ...(known.unused === null ? {} : { unused: known.unused }),
    recordings: known.recordings,
    otherFiles: known.otherFiles,
    profiles: context.profiles,
    toolchain: context.toolchain,
    onDisk: new Map(),
    findings: known.findings,
    timeZone: context.request.settings.file.show?.time_zone ?? null,
    decidedAt: new Date().toISOString(),
  };
}
