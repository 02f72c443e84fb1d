/** What sources say beside their pictures and the planned masters have no place for. Pure. */
import type { LeftOut } from '../../media/formats/stated-schema.ts';
import type { PlannedJob } from './types.ts';

/** Of one clip in one profile. */
export interface LeftOfDeliverable {
  readonly roll: string;
  readonly clip: string;
  readonly profile: string;
  readonly left: readonly LeftOut[];
}

export interface LeftOfRoll {
  /** Names, each once for a clip, in however many masters. */
  readonly values: number;
  /** That have any. */
  readonly clips: number;
}

export function leftOfJobs(jobs: readonly Pick<PlannedJob, 'job'>[]): LeftOfDeliverable[] {
  return jobs.flatMap(({ job: { roll, clip, deliverables } }) =>
    deliverables.flatMap(({ profile, outcome }): LeftOfDeliverable[] => {
      const { left } = outcome;
      return left.length === 0 ? [] : [{ roll, clip: clip.id, profile: profile.name, left }];
    }),
  );
}

export function leftOfRoll(jobs: readonly Pick<PlannedJob, 'job'>[]): LeftOfRoll {
  const byClip = new Map<string, Set<string>>();
  for (const { clip, left } of leftOfJobs(jobs)) {
    const names = byClip.get(clip) ?? new Set<string>();
    for (const { name } of left) names.add(name);
    byClip.set(clip, names);
  }
  return { values: [...byClip.values()].reduce((sum, names) => sum + names.size, 0), clips: byClip.size };
}
