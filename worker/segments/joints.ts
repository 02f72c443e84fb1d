/** Fingerprints of segments, each with a frame more on either side, held against their neighbours', and put together as those of the whole clip. Pure. */
import type { Around } from '../../ledger/segments.ts';
import { sameRatio } from '../../media/time/rate.ts';
import { HASH_BYTES } from '../../proof/exact.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../../proof/form.ts';
import type { SourceFingerprints } from '../../proof/source-fingerprints.ts';

export interface SeenSegment {
  readonly frames: number;
  readonly around: Around;
  readonly fingerprints: SourceFingerprints;
}

const LUMA = CELLS;
const COLOUR = 2 * COLOUR_CELLS;

/** Frames [from, from + count) of them. */
function cut(picture: FrameFingerprints, from: number, count: number): FrameFingerprints {
  const luma = LUMA * picture.views;
  return {
    frames: count,
    views: picture.views,
    luma: picture.luma.subarray(from * luma, (from + count) * luma),
    colour: picture.colour?.subarray(from * COLOUR, (from + count) * COLOUR) ?? null,
  };
}

const same = (one: Uint16Array | null, other: Uint16Array | null): boolean =>
  one === null || other === null
    ? one === other
    : one.length === other.length && one.every((value, at) => value === other[at]);

const sameFrame = (one: FrameFingerprints, other: FrameFingerprints): boolean =>
  one.views === other.views && same(one.luma, other.luma) && same(one.colour, other.colour);

/** Of what is seen, where the segment's own frames begin. */
const own = ({ frames, around, fingerprints }: SeenSegment): FrameFingerprints =>
  cut(fingerprints.picture, around.before, frames);

/**
 * What is wrong where two segments meet, in words; null: nothing. The same frame of the same bytes, decoded twice by the same programs, gives the same
 * numbers to the last bit: of each joint two frames are seen from both sides. Their times must be those that run on.
 */
export function jointTrouble(segments: readonly SeenSegment[]): string | null {
  for (const [index, segment] of segments.entries()) {
    const { picture, times } = segment.fingerprints;
    const seen = segment.around.before + segment.frames + segment.around.behind;
    if (picture.frames !== seen || times.ticks.length !== seen)
      return `segment ${index}: ${picture.frames} frames were seen, ${seen} make it`;
    const before = segments[index - 1];
    if (before === undefined) continue;
    if (segment.around.before !== 1 || before.around.behind !== 1)
      return `segments ${index - 1} and ${index} were not seen beyond their ends`;
    const earlier = before.fingerprints;
    if (!sameRatio(earlier.times.timeBase, times.timeBase))
      return `segments ${index - 1} and ${index} are on two clocks`;
    const last = earlier.picture.frames - 1;
    // The last frame of the one and the first of the other, each as both saw it.
    for (const [mine, theirs] of [
      [0, last - 1],
      [1, last],
    ] as const) {
      if (times.ticks[mine] !== earlier.times.ticks[theirs])
        return `a frame where segments ${index - 1} and ${index} meet has time ${earlier.times.ticks[theirs]} in the one and ${times.ticks[mine]} in the other`;
      if (!sameFrame(cut(picture, mine, 1), cut(earlier.picture, theirs, 1)))
        return `a frame where segments ${index - 1} and ${index} meet is another picture in the one than in the other`;
    }
  }
  return null;
}

function joined(parts: readonly Uint16Array[]): Uint16Array {
  const all = new Uint16Array(parts.reduce((sum, { length }) => sum + length, 0));
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
}

/** Of the whole clip. `audioTracks`: as they were heard once for all. Throws RangeError for none. */
export function joinedFingerprints(
  segments: readonly SeenSegment[],
  audioTracks: SourceFingerprints['audioTracks'],
  exactAudio: readonly (string | null)[],
): SourceFingerprints {
  const [first] = segments;
  if (first === undefined) throw new RangeError('no segments');
  const pictures = segments.map(own);
  const ticks = segments.flatMap(({ frames, around, fingerprints }) => [
    ...fingerprints.times.ticks.subarray(around.before, around.before + frames),
  ]);
  const exact = segments.map(({ frames, around, fingerprints }) =>
    fingerprints.exact?.pictures.subarray(around.before * HASH_BYTES, (around.before + frames) * HASH_BYTES),
  );
  const { picture, times } = first.fingerprints;
  return {
    picture: {
      frames: pictures.reduce((sum, { frames }) => sum + frames, 0),
      views: picture.views,
      luma: joined(pictures.map(({ luma }) => luma)),
      colour: picture.colour === null ? null : joined(pictures.flatMap(({ colour }) => colour ?? [])),
    },
    times: { timeBase: times.timeBase, ticks: Float64Array.from(ticks) },
    audioTracks,
    ...(first.fingerprints.exact === undefined
      ? {}
      : {
          exact: {
            pixelFormat: first.fingerprints.exact.pixelFormat,
            pictures: Buffer.concat(exact.flatMap((one) => one ?? [])),
            audioTracks: exactAudio,
          },
        }),
  };
}
