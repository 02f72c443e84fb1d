/** What the one decode gives besides the deliverables: the fingerprints of the source, on pipes. */
import { type ClipFacts, earlierField, uprightSize } from '../../media/facts.ts';
import { turnFilters, turnOf } from '../../media/upright.ts';
import { bitstreamOptions, packetOptions, sourceStreams } from '../../proof/bitstream.ts';
import type { WholeSide } from '../../proof/encoder-input/whole.ts';
import { exactTap, pictureHashes, audioHash } from '../../proof/exact.ts';
import { pictureTap, rawPictures, rawAudio } from '../../proof/tap.ts';
import type { Outcome } from '../outcome.ts';
import type { ComposedOutput } from './compose.ts';

/**
 * What comes out of each pipe, in the order of their numbers. `track`, `deliverable`, `view`: index among the source's tracks, the recipe's deliverables,
 * its views (null: of the decoded pictures). `comparer`: index among the deliverables, and behind them among the views.
 */
export type Pipe =
  | { readonly kind: 'exact'; readonly pixelFormat: string }
  | { readonly kind: 'exact-audio'; readonly track: number }
  | { readonly kind: 'frames' }
  | { readonly kind: 'made'; readonly of: 'luma' | 'colour' }
  | { readonly kind: 'split'; readonly of: 'luma' | 'colour' }
  | { readonly kind: 'bitstream'; readonly deliverable: number }
  | { readonly kind: 'packets'; readonly deliverable: number }
  | { readonly kind: 'sketch'; readonly deliverable: number }
  | { readonly kind: 'source' }
  | { readonly kind: 'handed-over' }
  | { readonly kind: 'tiles'; readonly of: 'source' | 'given'; readonly comparer: number }
  | { readonly kind: 'whole'; readonly of: WholeSide; readonly comparer: number }
  | { readonly kind: 'placing'; readonly of: 'source' | 'given'; readonly comparer: number }
  | { readonly kind: 'thin'; readonly of: 'before' | 'behind'; readonly view: number }
  | { readonly kind: 'text'; readonly deliverable: number }
  | { readonly kind: 'bar'; readonly deliverable: number; readonly bar: number }
  | { readonly kind: 'light'; readonly deliverable: number }
  | { readonly kind: 'luma'; readonly view: number | null }
  | { readonly kind: 'colour'; readonly view: number | null }
  | { readonly kind: 'audio'; readonly track: number };

export interface Witness {
  /** Pads behind the decoder that the chains begin at. */
  readonly taken: readonly string[];
  readonly chains: readonly string[];
  readonly outputs: readonly ComposedOutput[];
  readonly pipes: readonly Pipe[];
}

/** Packet by packet of a spanned clip, whose parts are hashed apart by the second reading, and of a segment, which reads some of them. */
const sourceOptions = (facts: ClipFacts, byPacket: boolean): string[] =>
  (facts.parts === undefined && !byPacket ? bitstreamOptions : packetOptions)(sourceStreams(facts));

/** Source tracks that any deliverable takes, each once. */
function tracksOf(outcomes: readonly Outcome[]): number[] {
  return [...new Set(outcomes.flatMap((outcome) => outcome.audio.map((track) => track.sourceTrack)))].sort(
    (a, b) => a - b,
  );
}

interface Wanted {
  readonly pipe: Pipe;
  readonly options: readonly string[];
}

/** What is heard of the clip's own tracks, of those that any of the outcomes takes. */
export function heardOf(facts: ClipFacts, outcomes: readonly Outcome[]): Wanted[] {
  // What does not come out of one decoder is heard by the checker (check/sound), from which all comes that it is proved by.
  const isOwn = (track: number): boolean =>
    facts.audio[track]?.beside === undefined &&
    facts.audio[track]?.pieces === undefined &&
    facts.audio[track]?.recording === undefined;
  // All that keep every sample keep the same ones.
  const kept = outcomes.find((outcome) => outcome.exact !== null);
  return [
    ...(kept?.audio ?? [])
      .filter(({ sourceTrack }) => isOwn(sourceTrack))
      .map(({ sourceTrack, codec }) => ({
        pipe: { kind: 'exact-audio', track: sourceTrack } as const,
        options: audioHash(`0:${facts.audio[sourceTrack]?.streamIndex}`, codec),
      })),
    ...tracksOf(outcomes)
      .filter(isOwn)
      .map((track) => ({
        pipe: { kind: 'audio', track } as const,
        options: rawAudio(`0:${facts.audio[track]?.streamIndex}`),
      })),
  ];
}

export interface WitnessRequest {
  /** Of the pictures as they come to its pads. Fields that lie across come as they are coded, and are turned each alone. */
  readonly facts: ClipFacts;
  readonly outcomes: readonly Outcome[];
  readonly firstPipe: number;
  /** Each packet of the source is hashed by itself. */
  readonly byPacket: boolean;
}

export function witnessOf({ facts, outcomes, firstPipe, byPacket }: WitnessRequest): Witness {
  const tap = pictureTap('fingerprints', {
    pixelFormat: facts.video.pixelFormat,
    size: uprightSize(facts.video),
    earlierField: earlierField(facts.video),
    framing: null,
    turned: turnFilters(turnOf(facts.video)),
  });
  // All that keep every sample keep the same ones.
  const kept = outcomes.find((outcome) => outcome.exact !== null);
  const exact = kept === undefined || kept.exact === null ? null : { pixelFormat: kept.exact.comparedIn };
  const wanted: Wanted[] = [
    { pipe: { kind: 'source' }, options: sourceOptions(facts, byPacket) },
    { pipe: { kind: 'luma', view: null }, options: rawPictures('luma') },
    ...(tap.hasColour
      ? [{ pipe: { kind: 'colour', view: null } as const, options: rawPictures('colour') }]
      : []),
    ...(exact === null
      ? []
      : [
          {
            pipe: { kind: 'exact', pixelFormat: exact.pixelFormat } as const,
            options: pictureHashes('exact-samples'),
          },
        ]),
    ...heardOf(facts, outcomes),
  ];
  return {
    taken: ['fingerprints', ...(exact === null ? [] : ['exact'])],
    chains: [
      ...tap.chains,
      ...(exact === null
        ? []
        : [exactTap('exact', 'exact-samples', comparable(facts.video.pixelFormat), exact.pixelFormat)]),
    ],
    outputs: wanted.map(({ options }, index) => ({ options, target: `pipe:${firstPipe + index}` })),
    pipes: wanted.map(({ pipe }) => pipe),
  };
}

/** Of pictures that are fed to the program: a hash of each, as it came. */
export function fedWitness(firstPipe: number): Witness {
  return {
    taken: ['handed-over'],
    chains: [],
    outputs: [{ options: pictureHashes('handed-over'), target: `pipe:${firstPipe}` }],
    pipes: [{ kind: 'handed-over' }],
  };
}

/** The samples of ffmpeg's older names for full range lie as those of the plain ones. */
const comparable = (pixelFormat: string): string => pixelFormat.replace(/^yuvj/, 'yuv');
