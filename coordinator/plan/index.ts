/** Plan: everything that will happen, before it happens. A pure decision from what intake and survey found and what the profiles ask. */
import { append } from '../../findings/append.ts';
import { type Finding, blocks } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import { type SoundRollOfJob, workOf } from '../../ledger/job.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { type AnyOutcome, decideOutcome, isMasterOutcome } from '../../profiles/outcome/any.ts';
import { decideStills } from '../../profiles/stills/decide.ts';
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import { nameCollisions, rollCollisions } from './names.ts';
import { needOf, Room } from './room.ts';
import { jobSeconds } from './time.ts';
import { cutIntoJobs, type OfJob, secondDecode } from './waves.ts';
import type { Deliverable, NightPlan, PlannedJob, PlanRequest, RollToPlan, SecondDecodes } from './types.ts';

export type {
  Deliverable,
  NightPlan,
  PlannedJob,
  PlanRequest,
  RollToPlan,
  SecondDecodes,
  VolumePlan,
  VolumeToPlan,
} from './types.ts';

/** By code units, so that every machine has the same order. */
const byText = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);

interface Wanted extends Deliverable {
  readonly facts: ClipFacts;
  readonly notes: readonly Finding[];
}

interface RollPlan {
  readonly jobs: readonly Omit<PlannedJob, 'priority'>[];
  readonly refusals: readonly Finding[];
  readonly notes: readonly Finding[];
  readonly done: number;
  readonly secondDecodes: SecondDecodes;
}

/** Every clip in every profile: what comes out, or why nothing does. */
function outcomesOf(
  { rolls: _, ...request }: PlanRequest,
  roll: RollToPlan,
): { wanted: Wanted[]; refusals: Finding[] } {
  const wanted: Wanted[] = [];
  const refusals: Finding[] = [];
  const clips = [...roll.clips].sort((a, b) => byText(a.clip.id, b.clip.id));
  for (const { clip, facts, findings, due } of clips) {
    if (facts === null || findings.some(blocks)) continue;
    for (const profile of request.profiles.filter(({ profile: { name } }) => due.includes(name))) {
      const decision = decideOutcome({
        day: request.day,
        roll: roll.roll,
        clip,
        facts,
        profile: profile.profile,
        learned: request.sizes?.[profile.hash] ?? null,
      });
      if (decision.outcome === null) append(refusals, decision.findings);
      else
        wanted.push({
          roll: roll.roll,
          clip,
          facts,
          profile,
          outcome: decision.outcome,
          notes: decision.notes,
        });
    }
  }
  return { wanted, refusals };
}

/** Movies have an estimate alone. */
const rangeOf = (outcome: AnyOutcome): { least: number; most: number } =>
  isMasterOutcome(outcome)
    ? outcome.bytesRange
    : { least: outcome.estimatedBytes, most: outcome.estimatedBytes };

/** What of a clip is to be made. */
interface ClipWork {
  readonly clip: Clip;
  readonly facts: ClipFacts;
  readonly items: readonly Wanted[];
  readonly stills: StillsOutcome | null;
  readonly soundRolls: readonly SoundRollOfJob[];
}

/** Nothing of a picture is as large as it is without compression. */
const bytesOfStills = (stills: StillsOutcome | null): number =>
  stills === null ? 0 : (stills.stills.length * stills.width * stills.height * 3 * stills.bits) / 8;

const ownAudio = ({ audio }: ClipFacts): ClipFacts['audio'] =>
  audio.filter(({ recording }) => recording === undefined);

const carriesRecording = ({ outcome }: Wanted): boolean =>
  !isMasterOutcome(outcome) && outcome.audio.some(({ recording }) => recording !== null);

/** One job: what it makes is made from one decode; stills come behind it. */
function jobOf(
  request: PlanRequest,
  roll: RollToPlan,
  { clip, facts, soundRolls: ofClip, stills: stillsOfClip }: ClipWork,
  { wave, items, hasStills }: OfJob<Wanted>,
): Omit<PlannedJob, 'priority'> {
  const stills = hasStills ? stillsOfClip : null;
  const soundRolls = items.some(carriesRecording) ? ofClip : [];
  const beside = bytesOfStills(stills);
  const ranges = items.map(({ outcome }) => rangeOf(outcome));
  const planned = {
    job: {
      version: 0 as const,
      night: request.night,
      run: request.run,
      day: request.day,
      roll: roll.roll,
      rollFolder: roll.folder,
      deliveryFolder: roll.deliveryFolder,
      clip,
      facts: soundRolls.length > 0 ? facts : { ...facts, audio: ownAudio(facts) },
      ...(soundRolls.length > 0 ? { soundRolls: [...soundRolls] } : {}),
      span: { start: clip.stretch?.start ?? 0, count: clip.stretch?.frames ?? facts.video.frames },
      deliverables: items.map(({ profile, outcome }) => workOf(profile.profile, profile.hash, outcome)),
      ...(wave === undefined ? {} : { wave }),
      ...(stills === null ? {} : { stills }),
      toolchain: request.toolchain,
    },
    bytes: items.reduce((sum, { outcome }) => sum + outcome.estimatedBytes, beside),
    bytesRange: {
      least: ranges.reduce((sum, { least }) => sum + least, beside),
      most: ranges.reduce((sum, { most }) => sum + most, beside),
    },
    seconds: jobSeconds(facts, items, clip.stretch?.frames),
  };
  const found = request.lying?.(planned.job) ?? null;
  const segments = request.segmentsFor?.(planned, found?.segments ?? null) ?? 1;
  return { ...planned, segments, lying: found?.segments === segments ? found : null };
}

function planRoll(request: PlanRequest, roll: RollToPlan): RollPlan {
  const { wanted, refusals } = outcomesOf(request, roll);
  // What is finished counts too: its name is taken.
  const collisions = nameCollisions(wanted);
  const byClip = new Map<Clip, Wanted[]>();
  const notes: Finding[] = [];
  let done = 0;
  for (const item of wanted) {
    if (collisions.has(item)) continue;
    append(notes, item.notes);
    if (request.isDone(item)) {
      done += 1;
      continue;
    }
    byClip.set(item.clip, [...(byClip.get(item.clip) ?? []), item]);
  }
  const work = [...roll.clips]
    .sort((a, b) => byText(a.clip.id, b.clip.id))
    .flatMap((entry): ClipWork[] => {
      const { clip, facts } = entry;
      // Of a clip of which nothing can be made, stills are no comfort.
      if (facts === null || !wanted.some((item) => item.clip === clip)) return [];
      const items = byClip.get(clip) ?? [];
      const stills = stillsToMake(request, roll, entry, notes);
      return items.length === 0 && stills === null
        ? []
        : [{ clip, facts, items, stills, soundRolls: entry.soundRolls ?? [] }];
    });
  const second = work.flatMap(
    ({ clip, facts, items }) => secondDecode(facts, items, clip.stretch?.frames) ?? [],
  );
  return {
    jobs: work.flatMap((one) =>
      cutIntoJobs(one.items, request.masters ?? 'with').map((ofJob) => jobOf(request, roll, one, ofJob)),
    ),
    secondDecodes: { clips: second.length, seconds: second.reduce((sum, seconds) => sum + seconds, 0) },
    refusals: [...refusals, ...collisions.values()],
    notes,
    done,
  };
}

/** null: none are due, or they are finished, or none can be made, of which there is a note. */
function stillsToMake(
  request: PlanRequest,
  { roll }: RollToPlan,
  { clip, facts, stills: asked }: RollToPlan['clips'][number],
  notes: Finding[],
): StillsOutcome | null {
  if (asked === undefined || facts === null) return null;
  const decided = decideStills({ clip, facts, asked });
  append(
    notes,
    decided.notes.map((item) => ({ ...item, roll })),
  );
  return request.areStillsDone?.(roll, clip) === true ? null : decided.stills;
}

/**
 * Plans a night. Rolls that intake holds and clips that survey holds are left out without a further word. A roll for
 * which there is no room is refused whole; a later one that is small enough is still planned.
 */
export function planNight(request: PlanRequest): NightPlan {
  const room = new Room(request.volumes);
  const meeting = rollCollisions(request.rolls);
  const jobs: Omit<PlannedJob, 'priority'>[] = [];
  const refusals: Finding[] = [...meeting.values()];
  const notes: Finding[] = [];
  const withoutRoom = { deliverables: 0, bytes: 0 };
  const secondDecodes = { clips: 0, seconds: 0 };
  let done = 0;
  for (const roll of [...request.rolls].sort((a, b) => byText(a.roll, b.roll))) {
    if (meeting.has(roll) || roll.findings.some(blocks)) continue;
    const plan = planRoll(request, roll);
    append(refusals, plan.refusals);
    append(notes, plan.notes);
    done += plan.done;
    const short = room.take(roll.volume, roll.roll, needOf(plan.jobs, request.profiles.length));
    if (short === null) {
      append(jobs, plan.jobs);
      secondDecodes.clips += plan.secondDecodes.clips;
      secondDecodes.seconds += plan.secondDecodes.seconds;
    } else {
      refusals.push(short);
      withoutRoom.deliverables += plan.jobs.reduce((sum, { job }) => sum + job.deliverables.length, 0);
      withoutRoom.bytes += plan.jobs.reduce((sum, { bytes }) => sum + bytes, 0);
    }
  }
  return {
    jobs: jobs.map((job, index) => ({ ...job, priority: index + 1 })),
    refusals,
    notes,
    done,
    planned: jobs.reduce((sum, { job }) => sum + job.deliverables.length, 0),
    withoutRoom,
    volumes: room.volumes,
    secondDecodes,
  };
}
