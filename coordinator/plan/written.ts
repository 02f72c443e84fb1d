/** What the planned movies have written into their pictures, as far as names and timecode do not say it, each text once. Pure. */
import type { BurntIn } from '../../proof/text/form.ts';
import { wordsOf } from '../../proof/text/words.ts';
import type { PlannedJob } from './types.ts';

export interface WrittenOfRoll {
  /** For people. */
  readonly text: string;
  readonly profiles: readonly string[];
  /** Names. */
  readonly clips: readonly string[];
}

/** null: the text's own name says it. */
export function writtenText({ text, words, from }: BurntIn): string | null {
  if (from === null && text !== 'look' && !isMissing({ text, words })) return null;
  const shown = wordsOf(words, 0);
  const what = words.kind === 'same' ? JSON.stringify(shown) : `from ${shown} on`;
  return `${text} ${what}${from === null ? '' : ` (${from})`}`;
}

const isMissing = ({ text, words }: Pick<BurntIn, 'text' | 'words'>): boolean =>
  words.kind === 'same' && words.text === `no ${text}`;

/** By roll. */
export function writtenOfRoll(jobs: readonly Pick<PlannedJob, 'job'>[]): WrittenOfRoll[] {
  const texts = new Map<string, { profiles: Set<string>; clips: Set<string> }>();
  for (const { job } of jobs)
    for (const work of job.deliverables) {
      if (work.kind !== 'movie') continue;
      for (const item of work.outcome.burnIn) {
        const text = writtenText(item);
        if (text === null) continue;
        const group = texts.get(text) ?? { profiles: new Set(), clips: new Set() };
        group.profiles.add(work.profile.name);
        group.clips.add(job.clip.id);
        texts.set(text, group);
      }
    }
  return [...texts].map(([text, { profiles, clips }]) => ({
    text,
    profiles: [...profiles],
    clips: [...clips],
  }));
}
