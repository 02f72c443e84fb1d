/** How the day would be made by what is planned, in the terms in which days are compared (handover/consistency). Pure. */
import { type DayMade, type MadeItem, madeOf } from '../../handover/consistency/made.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import type { GateClip } from '../gate/input.ts';
import type { PlannedJob } from './types.ts';

export interface PlannedDay {
  readonly day: string;
  readonly toolchain: Toolchain;
  /** Every profile that the run knows of. */
  readonly profiles: readonly Pick<LoadedProfile, 'profile' | 'hash'>[];
  readonly rolls: readonly {
    readonly clips: readonly Pick<GateClip, 'clip' | 'settings'>[];
    readonly jobs: readonly Pick<PlannedJob, 'job'>[];
  }[];
}

const bodyOf = (profile: object): Readonly<Record<string, unknown>> => ({ ...profile });

export function madeOfPlan({ day, toolchain, profiles, rolls }: PlannedDay): DayMade {
  const due = new Set(rolls.flatMap(({ clips }) => clips.flatMap(({ settings }) => settings.profiles)));
  const items = rolls.flatMap(({ clips, jobs }) =>
    jobs.flatMap(({ job }): MadeItem[] =>
      job.deliverables.map(({ profile, profileHash, outcome }) => ({
        roll: job.roll,
        clip: job.clip.name,
        profile: { name: profile.name, hash: profileHash, body: bodyOf(profile) },
        outcome,
        facts: job.facts,
        settings: clips.find(({ clip }) => clip.id === job.clip.id)?.settings ?? null,
      })),
    ),
  );
  return madeOf({
    day,
    rolls: rolls.length,
    ready: 0,
    clips: rolls.reduce((sum, { clips }) => sum + clips.length, 0),
    tenths: 0,
    // Nothing is made: nothing is made with it.
    toolchains: items.length === 0 ? [] : [toolchain],
    asked: profiles
      .filter(({ profile }) => due.has(profile.name))
      .map(({ profile, hash }) => ({ name: profile.name, hash, body: bodyOf(profile) })),
    items,
  });
}
