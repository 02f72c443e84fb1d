/** What the one decode gives besides the deliverables: the fingerprints of the source, on pipes. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { bitstreamOptions, sourceStreams } from '../../proof/bitstream.ts';
import type { WholeSide } from '../../proof/encoder-input/whole.ts';
import { exactTap, pictureHashes, audioHash } from '../../proof/exact.ts';
import { pictureTap, rawPictures, rawAudio } from '../../proof/tap.ts';
import type { Outcome } from '../outcome.ts';
import type { ComposedOutput } from './compose.ts';

/** What comes out of each pipe, in the order of their numbers. `track`, `deliverable`: index among the source's tracks, the recipe's deliverables. */
export type Pipe =
  | { readonly kind: 'exact'; readonly pixelFormat: string }
  | { readonly kind: 'exact-audio'; readonly track: number }
  | { readonly kind: 'frames' }
  | { readonly kind: 'bitstream'; readonly deliverable: number }
  | { readonly kind: 'sketch'; readonly deliverable: number }
  | { readonly kind: 'source' }
  | { readonly kind: 'tiles'; readonly of: 'source' | 'given'; readonly deliverable: number }
  | { readonly kind: 'whole'; readonly of: WholeSide; readonly deliverable: number }
  | { readonly kind: 'placing'; readonly of: 'source' | 'given'; readonly deliverable: number }
  | { readonly kind: 'text'; readonly deliverable: number }
  | { readonly kind: 'luma' }
  | { readonly kind: 'colour' }
  | { readonly kind: 'audio'; readonly track: number };

export interface Witness {
  /** Pads behind the decoder that the chains begin at. */
  readonly taken: readonly string[];
  readonly chains: readonly string[];
  readonly outputs: readonly ComposedOutput[];
  readonly pipes: readonly Pipe[];
}

/** Source tracks that any deliverable takes, each once. */
function tracksOf(outcomes: readonly Outcome[]): number[] {
  return [...new Set(outcomes.flatMap((outcome) => outcome.audio.map((track) => track.sourceTrack)))].sort(
    (a, b) => a - b,
  );
}

export function witnessOf(facts: ClipFacts, outcomes: readonly Outcome[], firstPipe: number): Witness {
  const tap = pictureTap('fingerprints', {
    pixelFormat: facts.video.pixelFormat,
    size: facts.video,
    earlierField: earlierField(facts.video),
    framing: null,
  });
  // All that keep every sample keep the same ones.
  const kept = outcomes.find((outcome) => outcome.exact !== null);
  const exact =
    kept === undefined || kept.exact === null
      ? null
      : { pixelFormat: kept.exact.comparedIn, audioTracks: kept.audio };
  const wanted: { pipe: Pipe; options: string[] }[] = [
    { pipe: { kind: 'source' }, options: bitstreamOptions(sourceStreams(facts)) },
    { pipe: { kind: 'luma' }, options: rawPictures('luma') },
    ...(tap.hasColour ? [{ pipe: { kind: 'colour' } as const, options: rawPictures('colour') }] : []),
    ...(exact === null
      ? []
      : [
          {
            pipe: { kind: 'exact', pixelFormat: exact.pixelFormat } as const,
            options: pictureHashes('exact-samples'),
          },
        ]),
    ...(exact?.audioTracks ?? []).map(({ sourceTrack, codec }) => ({
      pipe: { kind: 'exact-audio', track: sourceTrack } as const,
      options: audioHash(`0:${facts.audio[sourceTrack]?.streamIndex}`, codec),
    })),
    ...tracksOf(outcomes).map((track) => ({
      pipe: { kind: 'audio', track } as const,
      options: rawAudio(`0:${facts.audio[track]?.streamIndex}`),
    })),
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

/** The samples of ffmpeg's older names for full range lie as those of the plain ones. */
const comparable = (pixelFormat: string): string => pixelFormat.replace(/^yuvj/, 'yuv');
