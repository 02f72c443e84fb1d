/** The recipe: everything but the input of the one ffmpeg command that makes all deliverables of a job from one decode. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { FIRST_PIPE } from '../../process/run.ts';
import { pixelsForFfmpeg } from '../ffmpeg-names.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { burnIn, type TextFile } from './burn-in.ts';
import { composeOutputs } from './compose.ts';
import { encodeOptions, encodeTarget } from './encode.ts';
import { pictureFilters, sharedFilters, tagFilter, WITNESS } from './picture.ts';
import { type MaskFile, sketchTap } from './sketch.ts';
import { layoutOf } from '../../proof/encoder-input/samples.ts';
import { rawPictures } from '../../proof/tap.ts';
import { textTap } from './text-tap.ts';
import { tileChains, tilesOf } from './tiles.ts';
import { wholeChains } from './whole.ts';
import { placingChains } from './placing.ts';
import { type Pipe, witnessOf } from './witness.ts';

export interface RecipeRequest {
  readonly facts: ClipFacts;
  /** `path`: where the output is written, absolute. */
  readonly deliverables: readonly {
    readonly profile: Profile;
    readonly outcome: Outcome;
    readonly path: string;
  }[];
  /** A private folder for text that is drawn into the picture. */
  readonly textFolder: string;
  /** Whether drawtext places text by its base line (FFmpeg 6.1 and later); false when absent. */
  readonly alignsText?: boolean;
  /** What is made elsewhere of the same decode: its audio is proved by what this one hears. */
  readonly besides?: readonly Outcome[];
  /** Every decoded frame as it is, on a pipe of its own: masters are made of it. */
  readonly frames?: boolean;
  /** For decoder, filters and encoders whose bytes do not depend on it. */
  readonly threads: number;
}

export interface Recipe {
  /** Options that stand before the input's own arguments. */
  readonly inputOptions: readonly string[];
  /** The value of `-filter_complex`, which stands between input and `outputArguments`. */
  readonly filterGraph: string;
  readonly outputArguments: readonly string[];
  /** What is written to the pipes from FIRST_PIPE on (process/run.ts); each must be read to its end. */
  readonly pipes: readonly Pipe[];
  /** Inputs behind the clip. */
  readonly furtherInputs: readonly string[];
  /** To be written, UTF-8, before the command runs. */
  readonly textFiles: readonly TextFile[];
  /** The same, in bytes (sketch.ts); by deliverable, null: it needs none. */
  readonly masks: readonly (MaskFile | null)[];
}

export type { TextFile } from './burn-in.ts';
export type { Pipe } from './witness.ts';

export function recipeOf({
  facts,
  deliverables,
  textFolder,
  alignsText = false,
  besides = [],
  frames = false,
  threads,
}: RecipeRequest): Recipe {
  const ways = deliverables.map(({ profile, outcome }, index) => {
    const bits = outcome.burnIn.length === 0 ? 8 : layoutOf(pixelsForFfmpeg(profile.pixels))?.bits;
    if (bits === undefined) throw new RangeError(`text is burnt into ${profile.pixels}`);
    const text = burnIn({ outcome, bits, textFolder, key: `text-${index}`, alignsText });
    const plan = tilesOf(facts, profile, outcome);
    return {
      picture: pictureFilters(facts, profile, outcome),
      rest: [...text.filters, tagFilter(outcome)],
      files: text.files,
      text: textTap(outcome, index),
      tiles: plan === null ? null : tileChains(plan, index, facts.video.pixelFormat),
      placing:
        plan === null
          ? null
          : placingChains(plan, {
              index,
              pixelFormat: facts.video.pixelFormat,
              earlierField: plan.held > 1 ? earlierField(facts.video) : null,
            }),
      whole: plan === null ? null : wholeChains(plan, index, facts.video.pixelFormat),
    };
  });
  let inputs = 1;
  const taps = deliverables.map(({ profile, outcome }, index) => {
    const encodedAs = outcome.pictureError === null ? '' : pixelsForFfmpeg(profile.pixels);
    const tap = sketchTap({ outcome, encodedAs, input: inputs, folder: textFolder, key: String(index) });
    if (tap !== null) inputs += 1;
    return tap;
  });
  const sketched = taps.flatMap((tap, deliverable) => (tap === null ? [] : [{ tap, deliverable }]));
  const tiles = ways.flatMap(({ tiles: own }, deliverable) =>
    own === null ? [] : [{ ...own, deliverable }],
  );
  const wholes = ways.flatMap(({ whole: own }, deliverable) =>
    own === null ? [] : [{ ...own, deliverable }],
  );
  const placings = ways.flatMap(({ placing }, deliverable) =>
    placing === null ? [] : [{ ...placing, deliverable }],
  );
  const texts = ways.flatMap(({ text }, deliverable) => (text === null ? [] : [{ ...text, deliverable }]));
  const witness = witnessOf(
    facts,
    [...deliverables.map(({ outcome }) => outcome), ...besides],
    FIRST_PIPE + deliverables.length,
  );
  const taken = [
    ...(ways.length > 0 ? ['shown'] : []),
    ...(frames ? ['frames'] : []),
    ...witness.taken,
    ...tiles.map((own) => own.decoded),
    ...wholes.flatMap(({ wanted }) => wanted.source ?? []),
    ...placings.map(({ decoded }) => decoded),
  ];
  const decoded = `[0:${facts.video.streamIndex}]${WITNESS},split=${taken.length}${taken.map((pad) => `[${pad}]`).join('')}`;
  const shared = sharedChains(
    facts,
    deliverables.map(({ profile }) => profile),
  );
  const graph = [
    decoded,
    ...witness.chains,
    ...shared,
    ...ways.flatMap(({ picture, rest, tiles: own, text, whole, placing }, index) => {
      const tap = taps[index] ?? null;
      const last = tap === null ? `out${index}` : `made${index}`;
      // What others see of the picture here, beside the way that it goes on.
      const seenBy = (pads: readonly string[], on: string): string =>
        `split=${pads.length + 1}${[on, ...pads].map((pad) => `[${pad}]`).join('')}`;
      const untexted = [own?.joints.untexted, whole?.wanted.untexted, text?.before].flatMap(
        (pad) => pad ?? [],
      );
      const given = [own?.joints.given, whole?.wanted.given, placing?.given, text?.given].flatMap(
        (pad) => pad ?? [],
      );
      const at = untexted.length === 0 ? [] : [`${seenBy(untexted, `text${index}`)};[text${index}]null`];
      const end = given.length === 0 ? `[${last}]` : `,${seenBy(given, last)}`;
      return [
        `[in${index}]${[...picture, ...at, ...rest].join(',')}${end}`,
        ...(tap?.chainsOf(last, `out${index}`) ?? []),
      ];
    }),
    ...tiles.flatMap(({ chains }) => chains),
    ...wholes.flatMap(({ chains }) => chains),
    ...placings.flatMap(({ chains }) => chains),
    ...texts.flatMap(({ chains }) => chains),
  ].join(';');
  const tileOutputs = tiles.flatMap(({ source, given, deliverable }) => [
    { pipe: { kind: 'tiles', of: 'source', deliverable } as const, options: rawPictures(source) },
    { pipe: { kind: 'tiles', of: 'given', deliverable } as const, options: rawPictures(given) },
  ]);
  const wholeOutputs = wholes.flatMap(({ ends, deliverable }) =>
    ends.map(({ of, pad }) => ({
      pipe: { kind: 'whole', of, deliverable } as const,
      options: rawPictures(pad),
    })),
  );
  const placingOutputs = placings.flatMap(({ ends, deliverable }) =>
    (['source', 'given'] as const).map((of) => ({
      pipe: { kind: 'placing', of, deliverable } as const,
      options: rawPictures(ends[of]),
    })),
  );
  const textOutputs = texts.map(({ out, deliverable }) => ({
    pipe: { kind: 'text', deliverable } as const,
    options: rawPictures(out),
  }));
  const aside = [...tileOutputs, ...wholeOutputs, ...placingOutputs, ...textOutputs];
  return {
    // A conversion that nobody asked for is an error, not a filter put in behind our back.
    inputOptions: [
      '-noauto_conversion_filters',
      '-filter_complex_threads',
      String(threads),
      '-threads',
      String(threads),
    ],
    filterGraph: graph,
    outputArguments: composeOutputs([
      ...deliverables.map(({ profile, outcome, path }, index) => ({
        options: encodeOptions({ facts, profile, outcome, pad: `[out${index}]`, threads }),
        target: encodeTarget(outcome, path, FIRST_PIPE + index),
      })),
      ...witness.outputs,
      ...aside.map(({ options }, index) => ({
        options,
        target: `pipe:${FIRST_PIPE + deliverables.length + witness.outputs.length + index}`,
      })),
      ...(frames
        ? [
            {
              options: ['-map', '[frames]', '-fps_mode', 'passthrough', '-c:v', 'rawvideo', '-f', 'rawvideo'],
              target: `pipe:${FIRST_PIPE + deliverables.length + witness.outputs.length + aside.length}`,
            },
          ]
        : []),
      ...sketched.map(({ tap }, index) => ({
        options: tap.options,
        target: `pipe:${FIRST_PIPE + deliverables.length + witness.outputs.length + aside.length + (frames ? 1 : 0) + index}`,
      })),
    ]),
    pipes: [
      ...deliverables.map((_, deliverable): Pipe => ({ kind: 'bitstream', deliverable })),
      ...witness.pipes,
      ...aside.map(({ pipe }) => pipe),
      ...(frames ? [{ kind: 'frames' } as const] : []),
      ...sketched.map(({ deliverable }): Pipe => ({ kind: 'sketch', deliverable })),
    ],
    furtherInputs: sketched.flatMap(({ tap }) => tap.inputArguments),
    masks: taps.map((tap) => tap?.mask ?? null),
    textFiles: ways.flatMap(({ files }) => files),
  };
}

/** From `[shown]` to `[in<index>]` of each deliverable. Fields are made into frames once for all that want frames. */
function sharedChains(facts: ClipFacts, profiles: readonly Profile[]): string[] {
  const keeps = (profile: Profile): boolean =>
    earlierField(facts.video) !== null && profile.interlaced === 'keep';
  const chain = (from: string, fields: 'made' | 'kept'): string[] => {
    const pads = profiles.flatMap((profile, index) =>
      keeps(profile) === (fields === 'kept') ? [`[in${index}]`] : [],
    );
    return pads.length === 0
      ? []
      : [`[${from}]${[...sharedFilters(facts, fields), `split=${pads.length}${pads.join('')}`].join(',')}`];
  };
  if (!(profiles.some(keeps) && !profiles.every(keeps)))
    return [...chain('shown', 'made'), ...chain('shown', 'kept')];
  return [
    '[shown]split=2[shown-frames][shown-fields]',
    ...chain('shown-frames', 'made'),
    ...chain('shown-fields', 'kept'),
  ];
}
