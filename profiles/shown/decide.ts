/**
 * Whether a clip's pictures go a colour way in a profile, or stay as they were recorded. Pure.
 *
 * As recorded: where the profile names no display; code values of which nobody says what they mean, and such as were made for a display of standard
 * range, or for the one that the profile names; and where the settings ask for it. Raw and scene-linear frames cannot be looked at as recorded: for those the outcome refuses it.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { SHOWN_BITS } from '../../media/colour/acescct.ts';
import type { InputTransform } from '../../media/colour/input.ts';
import { misfit } from '../../media/colour/output/displays.ts';
import type { OutputTransform } from '../../media/colour/output/index.ts';
import { type ColourWay, endsOnDisplay, usualWay } from '../../media/colour/way.ts';
import { type ClipFacts, earlierField, type VideoFacts } from '../../media/facts.ts';
import { codedLinearisation, rawLinearisation, sizeOf } from '../master/ground.ts';
import type { Profile } from '../schema.ts';
import { displayTags, renderingFor } from './display.ts';
import type { Shown, ShownDisplay } from './schema.ts';

/** Made for a display of standard range: looked at as they are, whoever says so. */
const FOR_DISPLAYS: readonly string[] = ['bt709', 'bt2020', 'bt1886-bt709', 'bt1886-bt2020', 'srgb'];

/** Made for a display of standard range, or for the very display that is asked for. */
const isForDisplay = (input: InputTransform, display: ShownDisplay): boolean =>
  'name' in input && (FOR_DISPLAYS.includes(input.name) || input.name === display);

/** R'G'B' of 14 bits: as many as pass the scaler without more rounding, and the filter that applies a table on every machine alike. */
export const SHOWN_PIXELS = 'gbrp14le';

export type ShownDecision =
  | {
      /** null: they stay as recorded. */
      readonly shown: Shown | null;
      readonly notes: readonly Finding[];
    }
  | { readonly findings: readonly Finding[] };

/** Floating point: light of a scene, which no display takes as it is. */
const isSceneLinear = ({ pixelFormat }: VideoFacts): boolean => /f(16|32)(le|be)?$/.test(pixelFormat);

export function shownOf(facts: ClipFacts, { display }: Pick<Profile, 'display'>): ShownDecision {
  const { interpretation, video, raw, declared } = facts;
  const asRecorded: ShownDecision = { shown: null, notes: [] };
  if (display === undefined) return asRecorded;
  const way = facts.way ?? usualWay;
  const { output } = way;
  if (output === 'as-recorded') return asRecorded;
  const input = interpretation?.input ?? null;
  const needsWay = raw !== undefined || declared !== undefined || isSceneLinear(video);
  if (!needsWay && (input === null || isForDisplay(input, display.encoding))) return asRecorded;
  const decided =
    raw === undefined ? codedLinearisation(facts) : rawLinearisation(facts, display.development);
  if ('findings' in decided) return decided;
  const { linearisation, notes } = decided;
  const isRecorded = linearisation.kind === 'coded' && linearisation.matrix !== null && !needsWay;
  const refusals = [
    ...refusalsOf(facts, way, display),
    ...(way.gamutCompression && !isRecorded ? [COMPRESSION] : []),
  ];
  if (refusals.length > 0) return { findings: refusals };
  const common = {
    way,
    display: display.encoding,
    output: endsOnDisplay(way.look) ? null : outputFor(display, output),
  };
  const shown: Shown =
    isRecorded && linearisation.kind === 'coded' && linearisation.matrix !== null
      ? {
          from: 'recorded',
          matrix: linearisation.matrix,
          range: linearisation.range,
          siting: linearisation.siting,
          input: linearisation.input,
          ...common,
        }
      : { from: 'developed', linearisation, size: sizeOf(facts, display.development), ...common };
  return { shown, notes };
}

/** The light that it brings back is what ACEScct has no codes for, in which developed pictures come to their table. */
const COMPRESSION = finding(
  'colour-way-source-unsupported',
  'gamut compression of frames that are developed one by one',
  'gamut compression of log movies alone',
);

function refusalsOf(
  { raw, video }: ClipFacts,
  { look, output }: ColourWay,
  display: Display,
): readonly Finding[] {
  const { encoding } = display;
  const missing =
    output === 'as-recorded' || endsOnDisplay(look)
      ? null
      : misfit({ version: output, ...renderingFor(display) }, encoding);
  const source = (found: string, expected: string): Finding[] => [
    finding('colour-way-source-unsupported', found, expected),
  ];
  return [
    ...(earlierField(video) === null ? [] : source(`interlaced, ${video.fieldOrder}`, 'progressive frames')),
    // Raw frames are turned while they are developed.
    ...(video.rotation === 0 || raw !== undefined
      ? []
      : source(`to be turned by ${video.rotation} degrees`, 'an upright picture')),
    ...(look === null || !endsOnDisplay(look) || String(look.to) === encoding
      ? []
      : [
          finding(
            'look-for-other-display',
            `${look.file} ends in ${look.to}`,
            `${encoding}, as the profile asks`,
          ),
        ]),
    ...(missing === null
      ? []
      : [finding('output-transform-missing', `${output} for ${encodingText(display)}`, missing)]),
  ];
}

type Display = NonNullable<Profile['display']>;

function encodingText(display: Display): string {
  const { peak, limiting } = renderingFor(display);
  return `${display.encoding} of ${peak} cd/m², limited to ${limiting}`;
}

function outputFor(display: Display, version: 'aces-1' | 'aces-2'): OutputTransform {
  return { rendering: { version, ...renderingFor(display) }, display: display.encoding };
}

/** What a deliverable's own recipe takes for its source: the clip, or the clip as if it had been recorded as its colour way shows it, in R'G'B' of full range. */
export function factsSeen(facts: ClipFacts, shown: Shown | null): ClipFacts {
  if (shown === null) return facts;
  const { chromaSiting: _, ...video } = facts.video;
  return {
    ...facts,
    video: {
      ...video,
      ...(shown.from === 'developed' ? { ...shown.size, rotation: 0 } : {}),
      pixelFormat: SHOWN_PIXELS,
      bitDepth: SHOWN_BITS,
      colour: displayTags[shown.display],
    },
  };
}
