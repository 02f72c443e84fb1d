/**
 * Whether a clip's pictures go a colour way in a profile, or stay as they were recorded. Pure.
 *
 * As recorded: where the profile names no display; where nobody says what the values mean; what was made for a display of the same kind; and where
 * the settings ask for it.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import type { InputTransform } from '../../media/colour/input.ts';
import type { OutputTransform } from '../../media/colour/output/index.ts';
import { endsOnDisplay, usualWay } from '../../media/colour/way.ts';
import { type ClipFacts, earlierField, type VideoFacts } from '../../media/facts.ts';
import { codedLinearisation } from '../master/ground.ts';
import type { Profile } from '../schema.ts';
import type { Shown, ShownDisplay } from './schema.ts';

/** Made for a display of standard range: looked at as they are, whoever says so. */
const FOR_DISPLAYS: readonly string[] = ['bt709', 'bt2020', 'bt1886-bt709', 'bt1886-bt2020', 'srgb'];

const isForDisplay = (input: InputTransform): boolean => 'name' in input && FOR_DISPLAYS.includes(input.name);

/** R'G'B' of 14 bits: as many as pass the scaler without more rounding, and the filter that applies a table. */
export const SHOWN_PIXELS = 'gbrp14le';
export const SHOWN_BITS = 14;

export type ShownDecision =
  | { readonly shown: Shown | null; readonly notes: readonly Finding[] }
  | { readonly findings: readonly Finding[] };

export function shownOf(facts: ClipFacts, profile: Pick<Profile, 'colour'>): ShownDecision {
  const { display } = profile.colour;
  const { interpretation, video } = facts;
  const input = interpretation?.input ?? null;
  const way = interpretation?.way ?? usualWay;
  if (display === undefined || input === null || way.output === 'as-recorded' || isForDisplay(input))
    return { shown: null, notes: [] };
  const linearisation = codedLinearisation(facts);
  if ('findings' in linearisation) return linearisation;
  const coded = linearisation.linearisation;
  const refused = (found: string, expected: string): ShownDecision => ({
    findings: [finding('colour-way-source-unsupported', found, expected)],
  });
  if (coded.kind !== 'coded' || coded.matrix === null)
    return refused(`pixel format ${video.pixelFormat}`, "planes of Y'CbCr");
  if (earlierField(video) !== null) return refused(`interlaced, ${video.fieldOrder}`, 'progressive frames');
  const { look } = way;
  if (look !== null && endsOnDisplay(look) && String(look.to) !== display)
    return {
      findings: [
        finding(
          'look-for-other-display',
          `${look.file} ends in ${look.to}`,
          `${display}, as the profile asks`,
        ),
      ],
    };
  return {
    shown: {
      matrix: coded.matrix,
      range: coded.range,
      siting: coded.siting,
      input,
      way,
      display,
      output: endsOnDisplay(look) ? null : outputFor(display, way.output),
    },
    notes: linearisation.notes,
  };
}

function outputFor(display: ShownDisplay, version: 'aces-1' | 'aces-2'): OutputTransform {
  return { rendering: { version, peak: 100, limiting: 'bt709' }, display };
}

/** Tags of what a display takes. BT.1886 has no number in H.273; pictures for it are tagged as those of BT.709 are (common practice, no source). */
const TAGS: Readonly<Record<ShownDisplay, VideoFacts['colour']>> = {
  'bt709-bt1886': { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' },
};

/** The clip as if its pictures had been recorded for the display: R'G'B' of full range. */
export function shownFacts(facts: ClipFacts, { display }: Shown): ClipFacts {
  const { chromaSiting: _, ...video } = facts.video;
  return {
    ...facts,
    video: { ...video, pixelFormat: SHOWN_PIXELS, bitDepth: SHOWN_BITS, colour: TAGS[display] },
  };
}

/** The source of a deliverable's own recipe: the clip, or the clip as its colour way shows it. */
export const factsSeen = (facts: ClipFacts, shown: Shown | undefined): ClipFacts =>
  shown === undefined ? facts : shownFacts(facts, shown);
