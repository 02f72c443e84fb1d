/** What a plan is made from and what it says. Everything is given: the planner reads no disk, no clock and no chance. */
import type { Finding } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { Job, SoundRollOfJob } from '../../ledger/job.ts';
import type { LyingCut } from '../../ledger/segments.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import type { StillsAsked } from '../../profiles/stills/schema.ts';
import type { MastersTurn } from './waves.ts';

export interface RollToPlan {
  readonly roll: string;
  /** Absolute, opened read-only. */
  readonly folder: string;
  /** Absolute: what is made of the roll goes below it. */
  readonly deliveryFolder: string;
  /** Name of the volume that `deliveryFolder` lies on, one of `volumes`. */
  readonly volume: string;
  /** What intake and survey say of the roll as a whole. One that holds: nothing of the roll is planned. */
  readonly findings: readonly Finding[];
  /** `facts` null, or a finding that holds: nothing of the clip is planned. */
  readonly clips: readonly {
    readonly clip: Clip;
    readonly facts: ClipFacts | null;
    readonly findings: readonly Finding[];
    /** Names of the profiles that are made of it. */
    readonly due: readonly string[];
    /** Stills that are due of it; absent: none. */
    readonly stills?: StillsAsked | undefined;
    /** That its facts take tracks from; absent: none. */
    readonly soundRolls?: readonly SoundRollOfJob[];
  }[];
}

export interface VolumeToPlan {
  readonly name: string;
  /** Bytes that this user may still write, and files; null: could not be asked, or the file system knows no such limit. */
  readonly freeBytes: number | null;
  readonly freeFiles: number | null;
}

/** One clip in one profile. */
export interface Deliverable {
  readonly roll: string;
  readonly clip: Clip;
  readonly profile: LoadedProfile;
  readonly outcome: AnyOutcome;
}

export interface PlanRequest {
  readonly night: string;
  readonly run: string;
  readonly day: string;
  readonly rolls: readonly RollToPlan[];
  readonly profiles: readonly LoadedProfile[];
  /** Fingerprint of the toolchain that the night is made with. */
  readonly toolchain: string;
  /** True: finished and checked under the same content, profile hash and toolchain. */
  readonly isDone: (item: Deliverable) => boolean;
  /** True: the stills of this clip are finished. */
  readonly areStillsDone?: (roll: string, clip: Clip) => boolean;
  readonly volumes: readonly VolumeToPlan[];
  /** Whether masters are made with the proxies of their clip, or after those of all rolls. */
  readonly masters?: MastersTurn;
  /** Into how many segments a clip is cut; absent: none is. `lying`: into how many it was, where some of them lie there; null: none do. */
  readonly segmentsFor?:
    | ((planned: Pick<PlannedJob, 'job' | 'bytes' | 'seconds'>, lying: number | null) => number)
    | undefined;
  /** What of the segments of a clip an interrupted run left; absent, null: nothing. */
  readonly lying?: ((job: Job) => LyingCut | null) | undefined;
  /** Bytes a pixel that compressed masters took before, by profile hash. */
  readonly sizes?: Readonly<Record<string, number>>;
}

/** Clips that are decoded a second time where masters come after proxies, and how much longer one worker is busy for it. */
export interface SecondDecodes {
  readonly clips: number;
  readonly seconds: number;
}

export interface PlannedJob {
  readonly job: Job;
  /** 1 runs first. */
  readonly priority: number;
  /** Estimates: what it writes, and how long one worker is busy with it. */
  readonly bytes: number;
  readonly seconds: number;
  /** Into how many segments its clip is cut, each made by a job of its own; 1: it is made whole. */
  readonly segments: number;
  /** Of these, what lies there already, and is not made again; null: nothing. */
  readonly lying: LyingCut | null;
  /** Between which it writes: the same twice where nothing is compressed by what is in the picture. */
  readonly bytesRange: { readonly least: number; readonly most: number };
}

export interface VolumePlan {
  readonly name: string;
  /** Written to it by what is planned, reports included, without the margin. */
  readonly bytes: number;
  readonly files: number;
  readonly freeBytes: number | null;
  readonly freeFiles: number | null;
}

export interface NightPlan {
  /** By roll, by clip, proxies before masters. In which order they are made: dispatch/order.ts. */
  readonly jobs: readonly PlannedJob[];
  /** Why something is not made: each names roll, and clip and profile where it is about one. All hold. What intake and survey said already is not repeated. */
  readonly refusals: readonly Finding[];
  /** Notes on what is made. None holds. */
  readonly notes: readonly Finding[];
  /** Deliverables that are done already. */
  readonly done: number;
  /** Deliverables that are planned. */
  readonly planned: number;
  /** What would be made if there were room for it; a refusal says what is lacking. */
  readonly withoutRoom: { readonly deliverables: number; readonly bytes: number };
  readonly volumes: readonly VolumePlan[];
  /** Of what is planned, whether masters come with proxies or after them. */
  readonly secondDecodes: SecondDecodes;
}
