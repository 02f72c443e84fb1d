/** What a clip's values mean, by the settings and by its own tags. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import { gamutOf, samePrimaries } from '../../media/colour/gamuts.ts';
import { gamutOfInput, inputOfTags, type InputTransform } from '../../media/colour/input.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { chromaticitiesText } from '../../media/formats/exr/source.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { partsFor } from './read.ts';
import type { SettingsFile } from './schema.ts';

const named = (input: InputTransform): string =>
  'name' in input
    ? input.name
    : 'file' in input
      ? input.file
      : 'curve' in input
        ? `${input.curve}-${input.gamut}`
        : 'a log curve';

/** The facts of a clip, with what the settings say of it. `findings`: notes only. */
export function interpret(
  facts: ClipFacts,
  roll: string,
  settings: SettingsFile,
): { facts: ClipFacts; findings: Finding[] } {
  const parts = partsFor(settings, roll);
  const first = <Value>(
    of: (part: (typeof parts)[number]['part']) => Value | undefined,
  ): { value: Value; said: (typeof parts)[number]['said'] } | null => {
    for (const { part, said } of parts) {
      const value = of(part);
      if (value !== undefined) return { value, said };
    }
    return null;
  };
  const stated = first((part) => part.input);
  const tagged = facts.raw === undefined ? inputOfTags(facts.video.colour) : null;
  const interpretation: Interpretation = {
    input: stated?.value ?? tagged,
    inputFrom: stated?.said ?? (tagged === null ? null : 'tags'),
    raw: {
      whiteBalance: first((part) => part.raw?.white_balance)?.value ?? 'as-shot',
      exposureStops: first((part) => part.raw?.exposure_stops)?.value ?? 0,
      anchor: first((part) => part.raw?.anchor)?.value ?? 'sensor',
      corrections: first((part) => part.raw?.corrections)?.value ?? 'apply',
    },
    owner: first((part) => part.owner)?.value ?? '',
    comments: first((part) => part.comments)?.value ?? '',
  };
  return {
    facts: { ...facts, interpretation },
    findings: stated === null ? [] : contradictions(facts, tagged, stated.value, `by the ${stated.said}`),
  };
}

/** What the file says against the settings: its tags, or the chromaticities of its frames. */
function contradictions(
  { exr }: ClipFacts,
  tagged: InputTransform | null,
  stated: InputTransform,
  said: string,
): Finding[] {
  const findings: Finding[] = [];
  const expected = `${named(stated)}, ${said}`;
  if (tagged !== null && named(stated) !== named(tagged))
    findings.push(finding('input-differs-from-tags', `tags of ${named(tagged)}`, expected));
  const chromaticities = exr?.chromaticities ?? null;
  const gamut = gamutOfInput(stated);
  if (chromaticities !== null && gamut !== null && !samePrimaries(chromaticities, gamut))
    findings.push(
      finding(
        'input-differs-from-tags',
        `chromaticities of ${gamutOf(chromaticities) ?? 'a space that is not known here'} in the frames (${chromaticitiesText(chromaticities)})`,
        expected,
      ),
    );
  return findings;
}
