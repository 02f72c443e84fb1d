/**
 * The picture half of a proof: every delivered frame is the picture of its source frame, in its order, the right way
 * round, in the right place, through the right conversion. Says what is wrong, and what it could not tell. Pure.
 */
import { type OffColour, offColours } from './chroma.ts';
import { type OrderDifference, describeOrder } from './describe.ts';
import { type FieldOrder, fieldOrderOf } from './fields.ts';
import { GRID_HEIGHT, GRID_WIDTH, type FrameFingerprints } from './form.ts';
import { type Framing, cellsSeen } from './framing.ts';
import type { Levels } from './gain.ts';
import { type Basis, compareLevels, type LevelsVerdict, promisedLevels } from './levels.ts';
import { type Coding, type FrameMatch, matchFrames } from './match.ts';
import { lumaByMatrix } from './other-matrix.ts';
import { Pictures } from './pictures.ts';
import { type Placement, placementOf, type PlacementRequest, turnOf, type Turn } from './placement.ts';

export interface PictureRequest {
  readonly source: FrameFingerprints;
  readonly output: FrameFingerprints;
  readonly framing: Framing;
  /** How the delivered pictures are coded. */
  readonly coding: Coding;
  readonly basis: { readonly source: Basis; readonly output: Basis };
  /** Of an interlaced source: on which side of the other's lines those of the earlier field are seen, and how many lines both have. */
  readonly fields: { readonly earlier: 'top' | 'bottom' | 'left' | 'right'; readonly lines: number } | null;
}

export interface Span {
  readonly from: number;
  readonly to: number;
}

export interface PictureVerdict {
  /** Delivered frames proved to be the picture of their source frame and of no neighbour of it. */
  readonly right: number;
  /** Where neighbours look the same: the picture is the source's, its place in the order rests on times alone. */
  readonly unproven: readonly Span[];
  readonly differences: readonly OrderDifference[];
  /** Pictures are turned; then nothing else is said. */
  readonly turn: Turn | null;
  /** null: no frame was in its place, or there was nothing to see it by. */
  readonly placement: Placement | null;
  /** null: whole frames. */
  readonly fields: FieldOrder | null;
  readonly levels: LevelsVerdict;
  /** Frames in their place whose colours are not their source's. */
  readonly offColours: readonly OffColour[];
  readonly gain: number;
  readonly offset: number;
}

/** Below this (root mean square) there is nothing in a picture: no codec keeps less. */
const EMPTY = 60;
/** Three steps of 8 bits above black are black to a camera. */
const NEAR_BLACK = 3 * 256;

export function comparePictures(request: PictureRequest): PictureVerdict {
  const { source, output, framing, coding, basis } = request;
  const seen = cellsSeen(framing);
  const ours = new Pictures(source.luma, source.views, 0, seen);
  const theirs = new Pictures(output.luma, 1, 0, seen);
  const promised = promisedLevels(basis.source, basis.output);
  const count = Math.min(source.frames, output.frames);
  const lumaOf = lumaByMatrix(source, basis.source, basis.output);
  const placed = (frames: readonly number[], levels: Levels) => ({
    source: lumaOf,
    output: output.luma,
    views: source.views,
    seen,
    levels,
    frames,
    cellPixels: { width: framing.scaled.width / GRID_WIDTH, height: framing.scaled.height / GRID_HEIGHT },
  });
  const everyFrame = Array.from({ length: count }, (_, frame) => frame);
  const turn = turnOf(placed(everyFrame, promised));
  if (turn !== null)
    return {
      right: 0,
      unproven: [],
      differences: [],
      turn,
      placement: null,
      fields: null,
      levels: { off: null, fault: null, unproven: [] },
      offColours: [],
      ...promised,
    };

  const { frames, gain, offset } = matchFrames({
    source: ours,
    output: theirs,
    coding,
    promised,
    made: source.views === 2 ? 'fields' : 'frames',
  });
  const black = basis.output.range === 'limited' ? 16 * 256 : 0;
  const differences = describeOrder(frames, source.frames, (frame) => {
    if (theirs.contrast(frame) > EMPTY) return null;
    return theirs.mean(frame) <= black + NEAR_BLACK ? 'black' : 'blank';
  });
  const inPlace = [...frames.keys()].filter(
    (frame) => frames[frame]?.state === 'right' || frames[frame]?.state === 'unproven',
  );
  const levels = { gain, offset };
  // A picture that is cut or enlarged otherwise, or taken from the other field, may look like nothing that is in its place.
  const placing = 2 * inPlace.length < count ? everyFrame : inPlace;
  const placement =
    count === 0 ? null : placementOf({ ...placed(placing, levels), ...besideOf(request.fields) });
  const later = (): Pictures => new Pictures(source.luma, 2, 1, seen);
  const fields =
    source.views === 1
      ? null
      : fieldOrderOf({ earlier: ours, later: later(), output: theirs, levels, coding });
  return {
    right: frames.filter((match) => match.state === 'right').length,
    unproven: spansOf(frames),
    differences,
    turn: null,
    placement,
    fields,
    levels: compareLevels({ source, output, seen, frames: new Set(inPlace), basis }),
    offColours: offColours({ source, output, seen, frames: new Set(inPlace), basis }),
    gain,
    offset,
  };
}

/** Lines of the upper field lie half a line above those of both: a whole picture then seems to be higher, by so many cells. Turned, this turns too. */
function besideOf(fields: PictureRequest['fields']): Pick<PlacementRequest, 'beside'> {
  if (fields === null) return {};
  const { earlier, lines } = fields;
  const half = earlier === 'top' || earlier === 'left' ? -0.5 : 0.5;
  return earlier === 'top' || earlier === 'bottom'
    ? { beside: { along: 'down', cells: (half * GRID_HEIGHT) / lines } }
    : { beside: { along: 'right', cells: (half * GRID_WIDTH) / lines } };
}

function spansOf(frames: readonly FrameMatch[]): Span[] {
  const spans: Span[] = [];
  frames.forEach((match, frame) => {
    if (match.state !== 'unproven') return;
    const last = spans.at(-1);
    if (last !== undefined && last.to === frame - 1) spans[spans.length - 1] = { from: last.from, to: frame };
    else spans.push({ from: frame, to: frame });
  });
  return spans;
}

/** A row of cells: less than that is no picture. */
const LEAST_CELLS = GRID_WIDTH;

/** False: the profile cuts or covers so much of the picture that nothing can be proved by the rest. */
export function isComparable(framing: Framing): boolean {
  return cellsSeen(framing).reduce((sum, cell) => sum + cell, 0) >= LEAST_CELLS;
}
