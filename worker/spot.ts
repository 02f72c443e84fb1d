/**
 * Whether what the encoder took in was this clip: two of its frames, as the second reading decoded them, against the fingerprints.
 * Everything else compares deliverables with those fingerprints, and would find a good file of the wrong clip good.
 */
import { type Finding, finding } from '../findings/finding.ts';
import { type Orientation, type StatedOrientation, UPRIGHT } from '../check/orientation.ts';
import type { Job } from '../ledger/job.ts';
import { earlierField, type VideoFacts } from '../media/facts.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../proof/form.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import { subjectOf } from './claim.ts';
import type { Spot } from './second-reading.ts';
import type { Watched } from './watch.ts';
import { framesBeside } from './spot-frames.ts';
import { framesBefore, jointsIn } from './stretch.ts';

/** The same decoder gives the same values; a quarter of an 8-bit step (root mean square) is already another picture. */
const SAME = 64;

/** Root mean square difference of one frame of two fingerprints, first views: of luma or of colour, whichever is larger. Pure. */
export function spotDifference(
  one: FrameFingerprints,
  frame: number,
  other: FrameFingerprints,
  at: number,
): number {
  let sum = 0;
  for (let cell = 0; cell < CELLS; cell += 1) {
    const value = one.luma[frame * one.views * CELLS + cell] as number;
    const beside = other.luma[at * other.views * CELLS + cell] as number;
    sum += (value - beside) ** 2;
  }
  if (one.colour === null || other.colour === null)
    return one.colour === other.colour ? Math.sqrt(sum / CELLS) : Number.POSITIVE_INFINITY;
  let colour = 0;
  for (let cell = 0; cell < 2 * COLOUR_CELLS; cell += 1)
    colour +=
      ((one.colour[frame * 2 * COLOUR_CELLS + cell] as number) -
        (other.colour[at * 2 * COLOUR_CELLS + cell] as number)) **
      2;
  return Math.sqrt(Math.max(sum / CELLS, colour / (2 * COLOUR_CELLS)));
}

/** By the turns that clips are known by: where a coded picture's columns and lines go. */
const TURNED: Readonly<Record<VideoFacts['rotation'], Orientation>> = {
  0: UPRIGHT,
  90: [0, 1, -1, 0],
  180: [-1, 0, 0, -1],
  270: [0, -1, 1, 0],
};

const inWords = ([a, b, c, d]: Orientation): string => `columns along ${a}, ${b} and lines along ${c}, ${d}`;

/** Whether the file, read apart, says of its pictures what the clip was measured with. `stated`: of the second reading. Pure. */
export function orientationFailure(job: Job, stated: StatedOrientation | null): Finding | null {
  const { rotation, mirrored = false } = job.facts.video;
  // Raw frames are turned while they are developed, and proved there.
  if (job.facts.raw !== undefined) return null;
  const [a, b, c, d] = TURNED[rotation];
  // Mirrored first: columns go the other way.
  const wanted: Orientation = mirrored ? [-a, -b, c, d] : [a, b, c, d];
  const found = stated ?? UPRIGHT;
  if (found !== 'other' && found.every((value, at) => value === wanted[at])) return null;
  return finding(
    'turn-differs',
    `a file that shows its pictures with ${found === 'other' ? 'columns and lines aslant' : inWords(found)}`,
    `${inWords(wanted)}, as the clip was taken in`,
    subjectOf(job),
  );
}

/**
 * Whether others say of the fields what the clip was measured with. `stated`: by the file, read apart; `decoded`: frames that the decoder says it of. Who says nothing
 * contradicts nothing. Pure.
 */
export function fieldsFailure(
  job: Job,
  stated: 'top' | 'bottom' | null,
  decoded: Watched['fields'],
): Finding | null {
  const earlier = earlierField(job.facts.video);
  if (earlier === null) return null;
  const later = earlier === 'top' ? 'bottom' : 'top';
  if (stated !== later && decoded[later] === 0) return null;
  return finding(
    'fields-stated-otherwise',
    stated === later
      ? `${later} field first, in the sample description`
      : `${later} field first, in ${decoded[later]} decoded frames`,
    `${earlier} field first, as the clip was taken in`,
    subjectOf(job),
  );
}

/** `spots`: of the second reading. Pure. */
export function spotFailure(
  job: Job,
  { picture }: SourceFingerprints,
  spots: readonly Spot[],
): Finding | null {
  // A part of a spanned clip begins with its own first frame, and no other.
  const isEntered = framesBefore(job) > 0;
  const begins = [...(isEntered ? [] : [0]), ...jointsIn(job)];
  for (const { frame, seen } of spots) {
    if (seen === null) {
      // Not every file can be entered in its middle; its beginning can.
      if (frame > 0 || isEntered) continue;
      return finding(
        'decode-other-clip',
        'the first frame does not decode alone',
        'the first frame of the clip',
        subjectOf(job),
      );
    }
    const around = begins.includes(frame) ? [frame] : framesBeside(frame, picture.frames);
    const nearest = Math.min(...around.map((at) => spotDifference(seen, 0, picture, at)));
    if (nearest > SAME)
      return finding(
        'decode-other-clip',
        `frame ${frame} differs by ${(nearest / 256).toFixed(1)} steps of 8 bits from the one taken in`,
        'the same frame',
        subjectOf(job),
      );
  }
  return null;
}
