/**
 * Whether a clip's pictures go a colour way in a profile, or stay as they were recorded. Pure.
 *
 * As recorded: where the profile names no display; code values of which nobody says what they mean, and such as were made for the display that the profile
 * names, or for one of standard range as well; and where the settings ask for it. Raw and scene-linear frames cannot be looked at as recorded: for those the outcome refuses it.
 * Pictures of standard range in a profile of high range are placed in its signal, as they look.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { SHOWN_BITS } from '../../media/colour/acescct.ts';
import { type InputTransform, primariesBeside } from '../../media/colour/input.ts';
import { misfit } from '../../media/colour/output/displays.ts';
import type { OutputTransform } from '../../media/colour/output/index.ts';
import {
  isStandardRange,
  type Placed,
  REFERENCE_WHITE,
  type StandardRange,
} from '../../media/colour/output/placed-sdr.ts';
import { changesPictures, type ColourWay, endsOnDisplay, usualWay } from '../../media/colour/way.ts';
import { type ClipFacts, earlierField, type VideoFacts } from '../../media/facts.ts';
import { uprightFacts } from '../../media/upright.ts';
import { codedLinearisation, rawLinearisation, sizeOf, tagsText, uprightAspect } from '../master/ground.ts';
import type { Profile } from '../schema.ts';
import { displayTags, isHighRange, renderingFor } from './display.ts';
import type { Shown, ShownDisplay } from './schema.ts';

/** Made for a display of standard range, whoever says so; null: for another, or light of a scene. */
const standardRangeOf = (input: InputTransform | null): StandardRange | null =>
  input !== null && 'name' in input && isStandardRange(input.name) ? input.name : null;

/** Looked at as they are: made for the very display that is asked for, or for one of standard range where that is asked for. */
const isForDisplay = (input: InputTransform, display: ShownDisplay): boolean =>
  isHighRange(display) ? 'name' in input && input.name === display : standardRangeOf(input) !== null;

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
  if (display === undefined) return { shown: null, notes: [] };
  const stated = facts.way ?? usualWay;
  const { output } = stated;
  if (output === 'as-recorded') return { shown: null, notes: [] };
  const input = interpretation?.input ?? null;
  const needsWay = raw !== undefined || declared !== undefined || isSceneLinear(video);
  if (!needsWay) {
    // Settings and tags were read of every clip that a profile with a display is due of (coordinator/settings/interpret.ts).
    const unknown = interpretation === undefined ? null : unknownOf(video, input, display.encoding);
    if (unknown !== null) return { findings: [unknown] };
    if (input === null || isForDisplay(input, display.encoding))
      return { shown: null, notes: lookLeft(stated) };
  }
  const placed = needsWay ? null : placedIn(display.encoding, input);
  const way = placed === null ? stated : usualWay;
  const decided =
    raw === undefined ? codedLinearisation(facts) : rawLinearisation(facts, display.development);
  const refusals = refusalsOf(way, display);
  // What no colour way takes is said of it, and not of the linearisation that masters have in common with it.
  if ('findings' in decided) return { findings: refusals.length > 0 ? refusals : decided.findings };
  const { linearisation, notes } = decided;
  const isRecorded = linearisation.kind === 'coded' && linearisation.matrix !== null && !needsWay;
  if (way.gamutCompression && !isRecorded) refusals.push(COMPRESSION);
  if (earlierField(video) !== null && !isRecorded)
    refusals.push(
      finding(
        'colour-way-source-unsupported',
        `interlaced, ${video.fieldOrder}, of frames that are developed one by one`,
        "interlaced Y'CbCr, or progressive frames",
      ),
    );
  if (refusals.length > 0) return { findings: refusals };
  const common = {
    way,
    display: display.encoding,
    output: placed ?? (endsOnDisplay(way.look) ? null : outputFor(display, output)),
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
  return {
    shown,
    notes: [...notes, ...(placed === null ? [] : lookLeft(stated))],
  };
}

/** null: the pictures are not of standard range, or the display is. */
function placedIn(display: ShownDisplay, input: InputTransform | null): Placed | null {
  const placed = standardRangeOf(input);
  return placed === null || display === 'bt1886-bt709' ? null : { placed, white: REFERENCE_WHITE, display };
}

/** A look of the settings is for light of a scene: pictures that were made for a display have theirs. */
const lookLeft = (way: ColourWay): Finding[] =>
  changesPictures(way)
    ? [
        finding(
          'look-left-out',
          [
            ...(way.exposure === 0 ? [] : ['exposure']),
            ...(way.gamutCompression ? ['gamut compression'] : []),
            ...(way.cdl === null ? [] : ['CDL']),
            ...(way.look === null ? [] : [`look ${way.look.file}`]),
          ].join(', '),
          'code values of the scene, which the settings or the tags name',
        ),
      ]
    : [];

/**
 * Code values that cannot be looked at without a meaning that nobody states: tags whose transfer is of high range or log, and which do not say the rest or
 * contradict it; and on a display of high range, all of which nobody says anything.
 */
function unknownOf(
  { colour }: VideoFacts,
  input: InputTransform | null,
  display: ShownDisplay,
): Finding | null {
  if (input !== null) return null;
  const beside = primariesBeside(colour.transfer);
  if (beside !== null)
    return finding(
      'input-unknown',
      tagsText(colour),
      `beside ${colour.transfer}: primaries ${beside.join(' or ')} and their matrix; or in the settings of the clip, as its camera was set: \`input: { name: … }\``,
    );
  return isHighRange(display)
    ? finding(
        'input-unknown',
        tagsText(colour),
        'tags that leave no doubt; or in the settings of the clip, if it is BT.709: `input: { name: bt709 }`',
      )
    : null;
}

/** The light that it brings back is what ACEScct has no codes for, in which developed pictures come to their table. */
const COMPRESSION = finding(
  'colour-way-source-unsupported',
  'gamut compression of frames that are developed one by one',
  'gamut compression of log movies alone',
);

function refusalsOf({ look, output }: ColourWay, display: Display): Finding[] {
  const { encoding } = display;
  const missing =
    output === 'as-recorded' || endsOnDisplay(look)
      ? null
      : misfit({ version: output, ...renderingFor(display) }, encoding);
  return [
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

/**
 * What a deliverable's own recipe takes for its source: the clip, upright, or the clip as if it had been recorded as its colour way shows it: in whole frames of
 * R'G'B' of full range.
 */
export function factsSeen(facts: ClipFacts, shown: Shown | null): ClipFacts {
  if (shown === null) return facts;
  const { chromaSiting: _, mirrored: __, ...video } = uprightFacts(facts).video;
  return {
    ...facts,
    video: {
      ...video,
      ...(shown.from === 'developed'
        ? { ...shown.size, rotation: 0, pixelAspect: uprightAspect(video) }
        : {}),
      fieldOrder: 'progressive',
      pixelFormat: SHOWN_PIXELS,
      bitDepth: SHOWN_BITS,
      colour: displayTags[shown.display],
    },
  };
}
