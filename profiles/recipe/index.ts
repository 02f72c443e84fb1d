/** The recipe: everything but the input of the one ffmpeg command that makes all deliverables of a job from one decode. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { fieldsLieAcross, madeWhole } from '../../media/fields.ts';
import { AS_CODED, isUpright, turnOf, uprightChains, uprightFacts } from '../../media/upright.ts';
import { recordingFiles } from '../../media/recorded.ts';
import { FIRST_PIPE } from '../../process/run.ts';
import { pixelsForFfmpeg } from '../ffmpeg-names.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { audioChains, audioInputs, fedAudioInputs } from './audio.ts';
import { barChains } from './bars.ts';
import { burnIn, type TextFile } from './burn-in.ts';
import { comparedOf, decodedPads, givenPads } from './compared.ts';
import { composeOutputs } from './compose.ts';
import { encodeOptions, encodeTarget } from './encode.ts';
import {
  framesOfFields,
  gridFilters,
  otherRate,
  pictureFilters,
  stretchFilter,
  tagFilter,
  WITNESS,
} from './picture.ts';
import { madeFrames } from './made-frames.ts';
import { type MaskFile, sketchTap } from './sketch.ts';
import { layoutOf } from '../../proof/encoder-input/samples.ts';
import { rawPictures } from '../../proof/tap.ts';
import type { Shown } from '../shown/schema.ts';
import { textTap } from './text-tap.ts';
import { sharedChains, splitTap } from './shared.ts';
import { recordedRgb, recordedTiles, type TablePaths, thinChains, throughTable } from './shown.ts';
import { tilesOf } from './tiles.ts';
import { shownPad, type View, viewOf, viewsOf, viewTap } from './views.ts';
import { fedWitness, type Pipe, witnessOf } from './witness.ts';

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
  /** Frames of the file that are taken; absent: all. Only for masters: a stretch has no movie. */
  readonly stretch?: { readonly start: number; readonly frames: number } | undefined;
  /** Of a long clip, which of its frames are made; absent: all. */
  readonly segment?: SegmentTaken | undefined;
  /** For decoder, filters and encoders whose bytes do not depend on it. */
  readonly threads: number;
}

/** Frames of a segment as they come: one more on either side is seen, and goes into nothing that is made. */
export interface SegmentTaken {
  /** The first frame that is seen is the first one at or behind this time, in ticks of the clip's clock, from the file's beginning; null: the first that comes. */
  readonly from: number | null;
  readonly before: number;
  readonly frames: number;
  readonly behind: number;
}

export interface Recipe {
  /** Options that stand before the input's own arguments. */
  readonly inputOptions: readonly string[];
  /** Of pictures that are fed in: what has the audio comes first, and they behind it. */
  readonly takesAudio: boolean;
  /** The value of `-filter_complex`, which stands between input and `outputArguments`. */
  readonly filterGraph: string;
  readonly outputArguments: readonly string[];
  /** What is written to the pipes from FIRST_PIPE on (process/run.ts); each must be read to its end. */
  readonly pipes: readonly Pipe[];
  /** Inputs behind the clip and what has audio besides it. */
  readonly furtherInputs: readonly string[];
  /** To be written, UTF-8, before the command runs. */
  readonly textFiles: readonly TextFile[];
  /** The same, in bytes (sketch.ts); by deliverable, null: it needs none. */
  readonly masks: readonly (MaskFile | null)[];
  /** Colour ways that deliverables go, each once; the table of each is to be written to `table`, as .cube files. */
  readonly views: readonly { readonly shown: Shown; readonly table: TablePaths }[];
}

export type { TextFile } from './burn-in.ts';
export type { Pipe } from './witness.ts';

export function recipeOf(request: RecipeRequest): Recipe {
  const {
    facts: recorded,
    deliverables,
    textFolder,
    alignsText = false,
    besides = [],
    frames = false,
    stretch,
    segment,
    threads,
  } = request;
  if (stretch !== undefined && (deliverables.length > 0 || !frames))
    throw new RangeError('a stretch of a clip for something else than masters');
  const isAcross = fieldsLieAcross(recorded.video);
  if (isAcross && deliverables.length > 0)
    throw new RangeError('fields that lie across for something else than masters');
  // Of deliverables that keep every sample nothing is turned (profiles/outcome/kept.ts).
  const facts = uprightFacts(isAcross ? madeWhole(recorded) : recorded);
  const views = viewsOf(
    facts,
    deliverables.map(({ outcome }) => outcome),
    textFolder,
  );
  // Pictures that threads made are fed in: what is proved of the source is proved elsewhere.
  const fed = views.some(({ shown }) => shown.from === 'developed');
  if (fed && (frames || deliverables.some(({ outcome }) => outcome.shown?.from !== 'developed')))
    throw new RangeError('pictures that are fed in, and such as are decoded');
  const ways = deliverables.map(({ profile, outcome }, index) => {
    const seen = viewOf(views, outcome)?.facts ?? facts;
    const bits = outcome.burnIn.length === 0 ? 8 : layoutOf(pixelsForFfmpeg(profile.pixels))?.bits;
    if (bits === undefined) throw new RangeError(`text is burnt into ${profile.pixels}`);
    const text = burnIn({ outcome, bits, textFolder, key: `text-${index}`, alignsText });
    const plan = tilesOf(seen, profile, outcome);
    return {
      picture: [...otherRate(seen, outcome), ...pictureFilters(seen, profile, outcome, String(index))],
      rest: [...text.filters, tagFilter(outcome)],
      files: text.files,
      text: textTap(outcome, index),
      bars: barChains(outcome, index),
      light: outcome.contentLight === null ? null : `light${index}`,
      ...comparedOf(plan, index, seen),
    };
  });
  const takesAudio = fed && deliverables.some(({ outcome }) => outcome.audio.length > 0);
  const besideClip = audioInputs(facts) + recordingFiles(facts).length;
  // Pictures that are fed in stand behind all audio; others lie in the first input.
  let inputs = 1 + (fed ? (takesAudio ? fedAudioInputs(facts) : 0) : besideClip);
  const picture = fed ? `${inputs - 1}:0` : `0:${facts.video.streamIndex}`;
  const taps = deliverables.map(({ profile, outcome }, index) => {
    const encodedAs = outcome.pictureError === null ? '' : pixelsForFfmpeg(profile.pixels);
    const tap = sketchTap({ outcome, encodedAs, input: inputs, folder: textFolder, key: String(index) });
    if (tap !== null) inputs += 1;
    return tap;
  });
  const sketched = taps.flatMap((tap, deliverable) => (tap === null ? [] : [{ tap, deliverable }]));
  const viewed = views.map((view, index) => ({
    ...view,
    ...comparedOf(
      view.shown.from === 'recorded' ? recordedTiles(facts) : null,
      deliverables.length + index,
      facts,
      'g',
    ),
    thin: thinChains(view.facts, index),
    fingerprints: viewTap(view.facts, index),
  }));
  // Deliverables, and behind them the views: all that a comparer looks at.
  const compared = [...ways, ...viewed];
  const texts = ways.flatMap(({ text }, deliverable) => (text === null ? [] : [{ ...text, deliverable }]));
  const ownPipes = FIRST_PIPE + deliverables.length;
  const witness = fed
    ? fedWitness(ownPipes)
    : witnessOf({
        facts: isAcross ? recorded : facts,
        outcomes: [...deliverables.map(({ outcome }) => outcome), ...besides],
        firstPipe: ownPipes,
        byPacket: segment !== undefined,
      });
  /** What is taken of a base by the deliverables that are made of it. */
  const takenBy = (view: View | null): string[] => {
    const own = ways.filter((_, index) => viewOf(views, deliverables[index]?.outcome) === view);
    return [...(own.length > 0 ? [shownPad(view)] : []), ...own.flatMap(decodedPads)];
  };
  const split = (pads: readonly string[]): string =>
    `split=${pads.length}${pads.map((pad) => `[${pad}]`).join('')}`;
  const whole = frames ? madeFrames(recorded, 'frames', stretch) : null;
  // Frames of fields are made whole as they are coded, and turned behind that (made-frames.ts).
  const isTurnedLater = frames && earlierField(recorded.video) !== null && !isUpright(turnOf(recorded.video));
  const ofDeliverables = [...takenBy(null), ...(frames && !isTurnedLater ? ['frames'] : [])];
  const ofViews = viewed.flatMap((view) => [`view${view.index}`, ...decodedPads(view)]);
  const onGrid = deliverables.find(({ outcome }) => outcome.cadence.constant !== null)?.outcome;
  if (onGrid !== undefined && (frames || viewed.length > 0 || fed))
    throw new RangeError('a grid for other pictures than recorded ones');
  if (segment !== undefined && (onGrid !== undefined || frames || viewed.length > 0 || fed || isAcross))
    throw new RangeError('a segment of what is not made in segments');
  // Of the decoder; pictures that are fed in were turned where they were developed.
  const upright = fed
    ? [`[${picture}]${WITNESS}`]
    : decodedUpright(recorded, `[${picture}]${WITNESS}`, isTurnedLater ? 'frames' : null);
  const seen = (pads: readonly string[]): string =>
    [...upright.slice(0, -1), `${upright.at(-1)},${split(pads)}`].join(';');
  // The fingerprints of the source are of every decoded frame, in front of a grid.
  const decoded =
    segment !== undefined
      ? segmentSeen(recorded, picture, segment, { made: split(ofDeliverables), taken: witness.taken })
      : stretch !== undefined
        ? stretchSeen(recorded, picture, stretch, ['frames', ...witness.taken])
        : onGrid === undefined
          ? seen([...ofDeliverables, ...witness.taken, ...ofViews])
          : [
              seen(['on-grid', ...witness.taken]),
              `[on-grid]${[...gridFilters(facts, onGrid), split(ofDeliverables)].join(',')}`,
            ].join(';');
  const shared = [null, ...views].flatMap((view) =>
    sharedChains(
      view?.facts ?? facts,
      shownPad(view),
      deliverables.flatMap(({ profile, outcome }, index) =>
        viewOf(views, outcome) === view ? [{ profile, outcome, index }] : [],
      ),
    ),
  );
  const splitFields = splitTap(
    facts,
    deliverables.map(({ outcome }) => outcome),
  );
  const graph = [
    decoded,
    ...witness.chains,
    ...(whole?.chains ?? []),
    ...splitFields.chains,
    ...viewed.flatMap((view) => [
      `[view${view.index}]${[...(view.shown.from === 'recorded' ? [...framesOfFields(facts), ...recordedRgb(facts, view.shown)] : []), split([`table${view.index}`, ...givenPads(view), view.thin.before])].join(',')}`,
      `[table${view.index}]${throughTable(view.table)},${split([...takenBy(views[view.index] ?? null), view.fingerprints.from, view.thin.behind])}`,
      ...view.fingerprints.chains,
      ...view.thin.chains,
    ]),
    ...shared,
    ...ways.flatMap((way, index) => {
      const { picture, rest, tiles: own, text, bars, whole, light } = way;
      const tap = taps[index] ?? null;
      const last = tap === null ? `out${index}` : `made${index}`;
      // What others see of the picture here, beside the way that it goes on.
      const seenBy = (pads: readonly string[], on: string): string => split([on, ...pads]);
      const isTexted = text !== null;
      const untexted = [
        own?.joints.untexted,
        whole?.wanted.untexted,
        text?.before,
        isTexted ? bars?.from : undefined,
      ].flatMap((pad) => pad ?? []);
      const given = [
        ...givenPads(way),
        ...(isTexted || bars === null ? [] : [bars.from]),
        ...(text === null ? [] : [text.given]),
        ...(light === null ? [] : [light]),
      ];
      const at = untexted.length === 0 ? [] : [`${seenBy(untexted, `text${index}`)};[text${index}]null`];
      const end = given.length === 0 ? `[${last}]` : `,${seenBy(given, last)}`;
      return [
        `[in${index}]${[...picture, ...at, ...rest].join(',')}${end}`,
        ...(tap?.chainsOf(last, `out${index}`) ?? []),
      ];
    }),
    ...compared.flatMap(({ tiles }) => tiles?.chains ?? []),
    ...compared.flatMap(({ whole }) => whole?.chains ?? []),
    ...compared.flatMap(({ placing }) => placing?.chains ?? []),
    ...texts.flatMap(({ chains }) => chains),
    ...ways.flatMap(({ bars }) => bars?.chains ?? []),
    ...deliverables.flatMap(({ outcome }, index) =>
      audioChains(facts, outcome, { isFed: fed, key: `out${index}` }),
    ),
  ].join(';');
  const tileOutputs = compared.flatMap(({ tiles }, comparer) =>
    tiles === null
      ? []
      : [
          { pipe: { kind: 'tiles', of: 'source', comparer } as const, options: rawPictures(tiles.source) },
          { pipe: { kind: 'tiles', of: 'given', comparer } as const, options: rawPictures(tiles.given) },
        ],
  );
  const wholeOutputs = compared.flatMap(({ whole }, comparer) =>
    (whole?.ends ?? []).map(({ of, pad }) => ({
      pipe: { kind: 'whole', of, comparer } as const,
      options: rawPictures(pad),
    })),
  );
  const placingOutputs = compared.flatMap(({ placing }, comparer) =>
    placing === null
      ? []
      : (['source', 'given'] as const).map((of) => ({
          pipe: { kind: 'placing', of, comparer } as const,
          options: rawPictures(placing.ends[of]),
        })),
  );
  const viewOutputs = viewed.flatMap(({ thin, fingerprints, index: view }) => [
    ...fingerprints.outputs.map(({ kind, options }) => ({ pipe: { kind, view } as const, options })),
    ...thin.outputs.map(({ of, options }) => ({ pipe: { kind: 'thin', of, view } as const, options })),
  ]);
  const textOutputs = texts.map(({ out, deliverable }) => ({
    pipe: { kind: 'text', deliverable } as const,
    options: rawPictures(out),
  }));
  const lightOutputs = ways.flatMap(({ light }, deliverable) =>
    light === null ? [] : [{ pipe: { kind: 'light', deliverable } as const, options: rawPictures(light) }],
  );
  const barOutputs = ways.flatMap(({ bars }, deliverable) =>
    (bars?.outputs ?? []).map((options, bar) => ({
      pipe: { kind: 'bar', deliverable, bar } as const,
      options,
    })),
  );
  const aside = [
    ...tileOutputs,
    ...wholeOutputs,
    ...placingOutputs,
    ...viewOutputs,
    ...textOutputs,
    ...lightOutputs,
    ...barOutputs,
    ...(whole?.outputs ?? []).map(({ of, options }) => ({ pipe: { kind: 'made', of } as const, options })),
    ...splitFields.outputs.map(({ of, options }) => ({ pipe: { kind: 'split', of } as const, options })),
  ];
  return {
    // A conversion that nobody asked for is an error, not a filter put in behind our back.
    inputOptions: [
      ...AS_CODED,
      '-noauto_conversion_filters',
      '-filter_complex_threads',
      String(threads),
      '-threads',
      String(threads),
    ],
    takesAudio,
    filterGraph: graph,
    outputArguments: composeOutputs([
      ...deliverables.map(({ profile, outcome, path }, index) => ({
        options: encodeOptions({ facts, profile, outcome, pad: `[out${index}]`, isFed: fed, threads }),
        target: encodeTarget({
          outcome,
          path,
          pipe: FIRST_PIPE + index,
          byPacket: segment !== undefined,
        }),
      })),
      ...witness.outputs,
      ...aside.map(({ options }, index) => ({
        options,
        target: `pipe:${FIRST_PIPE + deliverables.length + witness.outputs.length + index}`,
      })),
      ...(whole !== null
        ? [
            {
              options: [
                '-map',
                `[${whole.end}]`,
                '-fps_mode',
                'passthrough',
                '-c:v',
                'rawvideo',
                '-f',
                'rawvideo',
              ],
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
      ...deliverables.map(
        (_, deliverable): Pipe => ({ kind: segment === undefined ? 'bitstream' : 'packets', deliverable }),
      ),
      ...witness.pipes,
      ...aside.map(({ pipe }) => pipe),
      ...(frames ? [{ kind: 'frames' } as const] : []),
      ...sketched.map(({ deliverable }): Pipe => ({ kind: 'sketch', deliverable })),
    ],
    furtherInputs: sketched.flatMap(({ tap }) => tap.inputArguments),
    views: views.map(({ shown, table }) => ({ shown, table })),
    masks: taps.map((tap) => tap?.mask ?? null),
    textFiles: ways.flatMap(({ files }) => files),
  };
}

/** Chains from `decoded` to the upright picture, whose last one goes on; but for fields that lie across, which go on as they are coded. `asCoded`: a pad that has every picture so; null: none. */
function decodedUpright({ raw, video }: ClipFacts, decoded: string, asCoded: string | null): string[] {
  const apart = asCoded === null ? [decoded] : [`${decoded},split=2[${asCoded}][as-coded]`, '[as-coded]null'];
  return raw !== undefined || isUpright(turnOf(video)) || fieldsLieAcross(video)
    ? apart
    : [
        ...apart.slice(0, -1),
        `${apart.at(-1)}[coded]`,
        ...uprightChains(video, 'coded', 'upright'),
        '[upright]null',
      ];
}

/**
 * The frames of a stretch, counted out behind the decoder, to the pads that take them. A whole frame of fields is made of its neighbours too: there all frames
 * go to where they are made, and are counted out behind that (made-frames.ts).
 */
function stretchSeen(
  recorded: ClipFacts,
  picture: string,
  stretch: NonNullable<RecipeRequest['stretch']>,
  [frames, ...taken]: readonly [string, ...string[]],
): string {
  const pads = (names: readonly string[]): string =>
    `split=${names.length}${names.map((name) => `[${name}]`).join('')}`;
  if (earlierField(recorded.video) === null) {
    const chains = decodedUpright(recorded, `[${picture}]${stretchFilter(stretch)},${WITNESS}`, null);
    return [...chains.slice(0, -1), `${chains.at(-1)},${pads([frames, ...taken])}`].join(';');
  }
  const chains = decodedUpright(recorded, `[stretch]${stretchFilter(stretch)},${WITNESS}`, null);
  return [
    `[${picture}]split=2[${frames}][stretch]`,
    ...chains.slice(0, -1),
    `${chains.at(-1)},${pads(taken)}`,
  ].join(';');
}

/**
 * The frames of a segment. The first that is seen is found by its own time, to half a frame, since what comes before it where the file was entered depends on
 * where its key frames are; from there on frames are counted. The fingerprints are of one more on either side, by which neighbours are held against each other.
 */
function segmentSeen(
  recorded: ClipFacts,
  picture: string,
  { from, before, frames, behind }: SegmentTaken,
  { made, taken }: { readonly made: string; readonly taken: readonly string[] },
): string {
  const counted = [
    ...(from === null ? [] : [`trim=start_pts=${from}`]),
    `trim=end_frame=${before + frames + behind}`,
  ].join(',');
  const chains = decodedUpright(recorded, `[${picture}]${counted},${WITNESS}`, null);
  const pads = ['segment', ...taken].map((pad) => `[${pad}]`).join('');
  return [
    ...chains.slice(0, -1),
    `${chains.at(-1)},split=${taken.length + 1}${pads}`,
    `[segment]trim=start_frame=${before}:end_frame=${before + frames},${made}`,
  ].join(';');
}
