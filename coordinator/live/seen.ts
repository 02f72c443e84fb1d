/** What is known of a run at one look: all of it from records on disk. */
import type { Finding } from '../../findings/finding.ts';
import type { NightRecord } from '../../handover/night.ts';
import type { ProgressRecord } from '../progress/record.ts';

/**
 * `none`: no run is at work, and none is on record. `beginning`: one is at work and has not written yet. `stopped`: it was at
 * work, did not end, and is not there any more.
 */
export const runStates = ['none', 'beginning', 'running', 'stopped', 'interrupted', 'ended'] as const;
export type RunStateSeen = (typeof runStates)[number];

/** Why a roll is held. */
export interface HeldSeen {
  /** null: the run as a whole. */
  readonly roll: string | null;
  /** Those that block, as its record has them. */
  readonly findings: readonly Finding[];
}

export interface StillSeen {
  /** `being-made`: of a frame that a worker has just made, and that nobody has proved. `made`: a still of a clip that is done. */
  readonly of: 'being-made' | 'made';
  readonly roll: string;
  readonly clip: string;
  readonly timecode: string | null;
  /** Of its picture: another picture has another one. */
  readonly version: string;
}

export interface Seen {
  readonly state: RunStateSeen;
  /** null: nobody says. */
  readonly delivery: string | null;
  readonly day: string | null;
  /** Of the show, as the run said; null: UTC. */
  readonly timeZone: string | null;
  /** How the run stands; null: it has not written yet, or has ended well. */
  readonly record: ProgressRecord | null;
  /** Since it was written; null: there is none. */
  readonly ageSeconds: number | null;
  /** Of the run, on this machine; null: it is on another one, or there is none. */
  readonly pid: number | null;
  /** What the day's last run says of its night; null: nothing, or that of another run. */
  readonly night: NightRecord | null;
  readonly held: readonly HeldSeen[];
  readonly still: StillSeen | null;
  /** The morning page of a day that is over, as a path; null: there is none. */
  readonly morning: string | null;
}

export const nothingSeen: Seen = {
  ...({ state: 'none', delivery: null, day: null, record: null, ageSeconds: null } as const),
  ...{ timeZone: null, pid: null, night: null, held: [], still: null, morning: null },
};
