/** The recipe of a movie for grading: an encoder that is fed with finished pictures, and takes the audio from the clip itself. */
import type { ClipFacts } from '../../media/facts.ts';
import { formatRatio } from '../../media/time/rate.ts';
import { pictureHashes } from '../../proof/exact.ts';
import { FIRST_PIPE } from '../../process/run.ts';
import { pixelsForFfmpeg } from '../ffmpeg-names.ts';
import { masterMovie, masterMovieOf, qualityOf } from '../master/movie.ts';
import type { Outcome } from '../outcome.ts';
import { audioChains, fedAudioInputs } from './audio.ts';
import { composeOutputs } from './compose.ts';
import { encodeOptions, encodeTarget } from './encode.ts';
import { sharedFilters, tagFilter, WITNESS } from './picture.ts';
import { type MaskFile, sketchTap } from './sketch.ts';

export interface MasterMovieRecipe {
  /** Options before the inputs. */
  readonly inputOptions: readonly string[];
  /** Behind what has the audio where it is wanted, else the only input; frames of planes Y', Cb, Cr, 16-bit words, little-endian. */
  readonly framesInput: readonly string[];
  readonly filterGraph: string;
  readonly outputArguments: readonly string[];
  /** Behind the frames' input; to be written before the command runs. */
  readonly mask: MaskFile | null;
  readonly maskArguments: readonly string[];
}

/** The bitstream's hash is reported on FIRST_PIPE, hashes of the pictures that the encoder is given on the next, the sketch of them on the one behind; the frames are read from the last. */
export function masterMovieRecipe({
  facts,
  outcome,
  path,
  maskFolder,
  threads,
}: {
  readonly facts: ClipFacts;
  readonly outcome: Outcome;
  readonly path: string;
  /** Where the picture of the mask is written. */
  readonly maskFolder: string;
  readonly threads: number;
}): MasterMovieRecipe {
  const { width, height, rate, pixelAspect } = outcome;
  const frames = outcome.audio.length === 0 ? 0 : fedAudioInputs(facts);
  const { num, den } = pixelAspect;
  const tap = sketchTap({
    outcome,
    encodedAs: pixelsForFfmpeg(masterMovie.pixels),
    input: frames + 1,
    folder: maskFolder,
    key: '0',
  });
  const filters = [
    WITNESS,
    ...sharedFilters(facts, 'kept', rate),
    `setsar=sar=${num}/${den}:max=${Math.max(num, den, 100)}`,
    tagFilter(outcome),
  ];
  return {
    inputOptions: [
      '-noauto_conversion_filters',
      '-filter_complex_threads',
      String(threads),
      '-threads',
      String(threads),
    ],
    framesInput: [
      '-protocol_whitelist',
      'pipe',
      '-f',
      'rawvideo',
      '-pixel_format',
      pixelsForFfmpeg(masterMovie.pixels),
      '-video_size',
      `${width}x${height}`,
      '-framerate',
      formatRatio(rate),
      '-i',
      `pipe:${FIRST_PIPE + (tap === null ? 2 : 3)}`,
    ],
    filterGraph: [
      `[${frames}:0]${filters.join(',')}[${tap === null ? 'given0' : 'made0'}]`,
      ...(tap?.chainsOf('made0', 'given0') ?? []),
      // The last split before the encoder.
      '[given0]split=2[out0][whole0]',
      ...audioChains(facts, outcome, { isFed: true, key: 'out0' }),
    ].join(';'),
    outputArguments: composeOutputs([
      {
        options: encodeOptions({
          facts,
          profile: masterMovieOf(qualityOf(outcome)),
          outcome,
          pad: '[out0]',
          isFed: true,
          threads,
        }),
        target: encodeTarget({ outcome, path, pipe: FIRST_PIPE }),
      },
      { options: pictureHashes('whole0'), target: `pipe:${FIRST_PIPE + 1}` },
      ...(tap === null ? [] : [{ options: tap.options, target: `pipe:${FIRST_PIPE + 2}` }]),
    ]),
    mask: tap?.mask ?? null,
    maskArguments: tap?.inputArguments ?? [],
  };
}
