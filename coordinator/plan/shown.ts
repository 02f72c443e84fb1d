/** How the planned movies show their pictures, in words, each way once. Pure. */
import { inputName } from '../../media/colour/input.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Shown } from '../../profiles/shown/schema.ts';
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

function sourceText(shown: Shown): string {
  if (shown.from === 'recorded') return inputName(shown.input);
  const { linearisation } = shown;
  return linearisation.kind === 'raw'
    ? `raw frames, developed (${linearisation.demosaic})`
    : inputName(linearisation.input);
}

const VERSIONS = { 'aces-1': 'ACES 1', 'aces-2': 'ACES 2' } as const;

export function wayText({ shown }: Pick<Outcome, 'shown'>): string {
  if (shown === null) return 'as recorded';
  const { way, output, display } = shown;
  const { exposure, gamutCompression, cdl, look } = way;
  const stages = [
    `from ${sourceText(shown)}`,
    ...(exposure === 0 ? [] : [`exposure ${exposure > 0 ? '+' : ''}${exposure}`]),
    ...(gamutCompression ? ['gamut compression'] : []),
    ...(cdl === null ? [] : [`CDL${cdl.from?.id == null ? '' : ` ${cdl.from.id}`}`]),
    ...(look === null ? [] : [`look ${look.file}`]),
    ...(output === null
      ? []
      : ['placed' in output ? `white at ${output.white} cd/m²` : VERSIONS[output.rendering.version]]),
  ];
  return `${stages.join(', ')}, for ${display}`;
}
