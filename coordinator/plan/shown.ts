/** How the planned movies show their pictures, in words, each way once. Pure. */
import { wayText } from '../../profiles/shown/words.ts';
import type { PlannedJob } from './types.ts';

export interface ShownOfRoll {
  /** For people. */
  readonly way: string;
  readonly profiles: readonly string[];
  /** Names. */
  readonly clips: readonly string[];
}

/** By roll. Movies of profiles without a display are not asked about: their pictures are the camera's. */
export function shownOfRoll(jobs: readonly Pick<PlannedJob, 'job'>[]): ShownOfRoll[] {
  const ways = new Map<string, { profiles: Set<string>; clips: Set<string> }>();
  for (const { job } of jobs)
    for (const work of job.deliverables) {
      if (work.kind !== 'movie' || work.profile.display === undefined) continue;
      const way = wayText(work.outcome);
      const group = ways.get(way) ?? { profiles: new Set(), clips: new Set() };
      group.profiles.add(work.profile.name);
      group.clips.add(job.clip.id);
      ways.set(way, group);
    }
  return [...ways].map(([way, { profiles, clips }]) => ({
    way,
    profiles: [...profiles],
    clips: [...clips],
  }));
}
