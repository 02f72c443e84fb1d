/** What the planned movies carry of production sound: each clip for itself, since each has a recording of its own. Pure. */
import { productionOf, productionText } from '../../profiles/outcome/production.ts';
import type { PlannedJob } from './types.ts';

export interface SoundOfRoll {
  /** For people. */
  readonly sound: string;
  readonly profiles: readonly string[];
  /** Ids. */
  readonly clips: readonly string[];
}

/** By roll. Clips that carry none have a note. */
export function soundOfRoll(jobs: readonly Pick<PlannedJob, 'job'>[]): SoundOfRoll[] {
  return jobs.flatMap(({ job }): SoundOfRoll[] => {
    const texts = new Map<string, string[]>();
    for (const work of job.deliverables) {
      const production = work.kind === 'movie' ? productionOf(work.outcome.audio) : null;
      if (production === null) continue;
      const text = productionText(production);
      texts.set(text, [...(texts.get(text) ?? []), work.profile.name]);
    }
    return [...texts].map(([sound, profiles]) => ({ sound, profiles, clips: [job.clip.id] }));
  });
}
