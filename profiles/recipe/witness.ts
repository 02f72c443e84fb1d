/** What the one decode tells besides the deliverables: the trail of the source, on pipes. */
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { payloadOptions, sourceStreams } from '../../media/payload.ts';
import { pictureTap, rawPictures, rawSound } from '../../media/trail/tap.ts';
import type { Outcome } from '../outcome.ts';
import type { ComposedOutput } from './compose.ts';

/** What comes out of each pipe, in the order of their numbers. `track`, `deliverable`: index among the source's tracks, the recipe's deliverables. */
export type Pipe = { readonly kind: 'frames' } | { readonly kind: 'payload'; readonly deliverable: number } | { readonly kind: 'source' } | { readonly kind: 'luma' } | { readonly kind: 'colour' } | { readonly kind: 'sound'; readonly track: number };

export interface Witness {
  /** From `[trail]` on. */
  readonly chains: readonly string[];
  readonly outputs: readonly ComposedOutput[];
  readonly pipes: readonly Pipe[];
}

/** Source tracks that any deliverable takes, each once. */
function tracksOf(outcomes: readonly Outcome[]): number[] {
  return [...new Set(outcomes.flatMap((outcome) => outcome.audio.map((track) => track.sourceTrack)))].sort((a, b) => a - b);
}

export function witnessOf(facts: ClipFacts, outcomes: readonly Outcome[], firstPipe: number): Witness {
  const tap = pictureTap('trail', { pixelFormat: facts.video.pixelFormat, size: facts.video, earlierField: earlierField(facts.video), framing: null });
  const wanted: { pipe: Pipe; options: string[] }[] = [
    { pipe: { kind: 'source' }, options: payloadOptions(sourceStreams(facts)) },
    { pipe: { kind: 'luma' }, options: rawPictures('luma') },
    ...(tap.hasColour ? [{ pipe: { kind: 'colour' } as const, options: rawPictures('colour') }] : []),
    ...tracksOf(outcomes).map((track) => ({ pipe: { kind: 'sound', track } as const, options: rawSound(`0:${facts.audio[track]?.streamIndex}`) })),
  ];
  return { chains: tap.chains, outputs: wanted.map(({ options }, index) => ({ options, target: `pipe:${firstPipe + index}` })), pipes: wanted.map(({ pipe }) => pipe) };
}
