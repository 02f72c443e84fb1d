/** What the settings name and the day does not have: a slip of the pen, or settings for more days than this one. Notes alone. Pure. */
import { printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { levelsOf } from './levels.ts';
import { cdlListing, type ClipToMatch } from './match-cdls.ts';
import type { SettingsFile } from './schema.ts';

export interface SurveyedRoll {
  readonly roll: string;
  readonly clips: readonly {
    readonly clip: { readonly id: string; readonly name: string };
    readonly facts: ClipFacts | null;
  }[];
}

const MOST_NAMED = 12;
const some = (names: readonly string[]): string =>
  names.length <= MOST_NAMED
    ? names.join('; ')
    : `${names.slice(0, MOST_NAMED).join('; ')}; and ${names.length - MOST_NAMED} more`;

/** Every clip of the day as CDLs are matched to it. */
export const clipsToMatch = (rolls: readonly SurveyedRoll[]): ClipToMatch[] =>
  rolls.flatMap(({ roll, clips }) => clips.map(({ clip, facts }) => ({ roll, name: clip.name, facts })));

/** `rolls`: every roll of the day, surveyed. Clips that a roll of the day does not have are held with their roll (`settings-clip-absent`). */
export function unmatchedFindings(file: SettingsFile, rolls: readonly SurveyedRoll[]): Finding[] {
  const findings: Finding[] = [];
  const names = new Set(rolls.map(({ roll }) => roll));
  for (const roll of Object.keys(file.rolls ?? {}))
    if (!names.has(roll))
      findings.push(
        finding('settings-unmatched', `settings for the roll ${printable(roll)}`, 'a roll of the day'),
      );
  const seen = new Set(
    rolls.flatMap(({ roll, clips }) =>
      clips.flatMap(({ clip, facts }) => levelsOf(file, roll, clip, facts).cameras),
    ),
  );
  for (const { name } of file.cameras ?? [])
    if (!seen.has(name))
      findings.push(
        finding('settings-unmatched', `the camera ${printable(name)}`, 'a clip that its `known_by` fits'),
      );
  const list = file.show?.cdls;
  if (list === undefined) return findings;
  const listing = cdlListing(list, clipsToMatch(rolls));
  const without = listing.cdls.filter(({ clips }) => clips.length === 0).map(({ cdl }) => cdl);
  if (without.length > 0)
    findings.push(
      finding(
        'cdl-unmatched',
        `${without.length} of ${listing.cdls.length}: ${some(without)}`,
        'a clip for each, by name, reel or timecode',
        { file: list.path },
      ),
    );
  return findings;
}
