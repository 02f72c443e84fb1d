/**
 * Where a deliverable's picture is looked at between decoder and encoder: small tiles, elsewhere in every frame, one of them always at an edge or in a
 * corner. The places follow from the clip and the frame's number alone, by whole numbers below 2^53, so that the graph that cuts them out
 * (profiles/recipe/tiles.ts) and who computes them again come to the same ones.
 */
import { createHash } from 'node:crypto';
import type { Framing, Rectangle } from '../framing.ts';

export interface Size {
  readonly width: number;
  readonly height: number;
}

/** On which way to the encoder: where the encoder takes it, or before text is drawn, under which nothing else can be seen. */
export type Joint = 'given' | 'untexted';

/** Tiles that are cut out of one band of lines. */
export interface Tile {
  readonly joint: Joint;
  /** Lines of the delivered picture. */
  readonly from: number;
  readonly to: number;
  /** Always at an edge or in a corner of its band. */
  readonly edge: boolean;
  /** Of the two squares that draw across and down: n * n * a + n * b + c. */
  readonly across: Draw;
  readonly down: Draw;
  /** Frames before the first in which it moves; of a place that is held. */
  readonly phase: number;
}
export type Draw = readonly [number, number, number];

export interface TilePlan {
  /** Of the decoded picture, upright. */
  readonly source: Size;
  readonly scaled: Size;
  readonly window: Rectangle;
  /** Where the window lies in an encoder's input with black around it; null: it is all of it. Places are counted in the window. */
  readonly inset: Framing['inset'];
  /** What is cut out of the source, and of the encoder's input. */
  readonly cut: Size;
  readonly given: Size;
  /** Places are multiples of these. */
  readonly step: { readonly source: number; readonly given: number };
  /** Samples of the source that a place lies before what is made of it. */
  readonly margin: { readonly across: number; readonly down: number };
  /** Frames that a place is held: fields are made into frames of three of them. */
  readonly held: 1 | 4;
  /** Frames that are made of each frame of the source: 2 where each of its fields becomes one. */
  readonly each: 1 | 2;
  readonly tiles: readonly Tile[];
  /** Planes of the source that luma is made of. */
  readonly lumaOf: 1 | 3;
  /** That are made. */
  readonly frames: number;
  /** Of those, the ones that are compared whole. */
  readonly whole: readonly number[];
  /** Where text may stand, in the window. */
  readonly covered: readonly Rectangle[];
}

export interface TileRequest {
  readonly source: Size;
  readonly framing: {
    readonly scaled: Size;
    readonly window: Rectangle;
    readonly covered: readonly Rectangle[];
    readonly inset: Framing['inset'];
  };
  /** What is made of fields: nothing, a frame of the earlier field of each, or a frame of each field. */
  readonly fields: 'none' | 'frames' | 'split';
  /** That are made. */
  readonly frames: number;
  readonly rgb: boolean;
  /** Through RGB, which takes chroma from further away. */
  readonly throughRgb: boolean;
  /** Chroma comes through a picture that has it for every pixel, at the same size. */
  readonly throughWhole: boolean;
  /** What depends on the clip. */
  readonly seed: string;
}

/** A side of a tile as it is stacked: filled up where it is odd, so that no chroma sample lies in two tiles. */
export const stackedSide = (side: number): number => (side % 2 === 0 ? side : 4 * Math.ceil(side / 4));

/** Luma samples and lines of a tile of the encoder's input. */
const TILE = 16;
/** Tiles of the part without text. */
const OPEN_TILES = 6;
const SOURCE_STEP = 4;

function draws(seed: string, index: number): Draw {
  const bytes = createHash('sha256').update(`${seed} ${index}`).digest();
  return [
    1 + (bytes.readUInt16LE(0) % 997),
    1 + (bytes.readUInt32LE(2) % 99_991),
    bytes.readUInt32LE(6) % 99_991,
  ];
}

/** One frame in between for so many, and no more than so many. */
const BETWEEN_EVERY = 500;
const MOST_BETWEEN = 3;

/** First, last and some drawn in between, in order. */
function wholeFrames(seed: string, frames: number): number[] {
  const between = Math.min(MOST_BETWEEN, 1 + Math.floor(frames / BETWEEN_EVERY));
  const drawn = Array.from({ length: frames > 2 ? between : 0 }, (_, index) => {
    const number = createHash('sha256').update(`${seed} whole ${index}`).digest().readUInt32LE(0);
    return 1 + (number % (frames - 2));
  });
  return [...new Set([0, ...drawn, frames - 1])].sort((a, b) => a - b);
}

interface Band {
  readonly joint: Joint;
  readonly from: number;
  readonly to: number;
}

/** Free lines between two watermarks, as many as a tile has; fewer are taken to be of the watermarks. */
const LEAST_FREE = TILE;

/** Lines in the middle of the picture that watermarks leave free, and those that they lie on. */
function withoutWatermarks(free: Band, marks: readonly Rectangle[]): Band[] {
  const even = (line: number): number => line - (line % 2);
  const spans: { from: number; to: number }[] = [];
  for (const { top, height } of [...marks].sort((a, b) => a.top - b.top)) {
    const span = { from: even(top), to: even(top + height + 1) };
    const last = spans.at(-1);
    if (last !== undefined && span.from - last.to < LEAST_FREE) last.to = Math.max(last.to, span.to);
    else spans.push(span);
  }
  const out: Band[] = [];
  let at = free.from;
  for (const { from, to } of spans) {
    const isFree = from - at >= LEAST_FREE;
    if (isFree) out.push({ joint: 'given', from: at, to: from });
    const end = free.to - to < LEAST_FREE ? free.to : to;
    out.push({ joint: 'untexted', from: isFree ? from : at, to: end });
    at = end;
  }
  if (at < free.to) out.push({ joint: 'given', from: at, to: free.to });
  return out;
}

/** The lines that text leaves free, and those that it may cover: strips at the top and at the bottom, and what lies between them. */
function bandsOf({ window, covered: all }: TileRequest['framing']): Band[] {
  const covered = all.filter(({ width }) => width === window.width);
  const marks = all.filter(({ width }) => width < window.width);
  const top = Math.max(0, ...covered.filter((one) => one.top === 0).map((one) => one.height));
  const bottom = Math.min(window.height, ...covered.filter((one) => one.top > 0).map((one) => one.top));
  const even = (line: number): number => line - (line % 2);
  const bands: Band[] = [
    { joint: 'untexted', from: 0, to: even(Math.min(top + 1, window.height)) },
    { joint: 'given', from: even(top + 1), to: even(bottom) === bottom ? bottom : even(bottom) },
    { joint: 'untexted', from: even(bottom), to: window.height },
  ];
  const plain: Band[] =
    covered.length === 0
      ? [{ joint: 'given', from: 0, to: window.height }]
      : bands.filter(({ from, to }) => to - from >= 2);
  return marks.length === 0
    ? plain
    : plain.flatMap((band) => (band.joint === 'given' ? withoutWatermarks(band, marks) : [band]));
}

/** Enough of the source for `made` samples, at a place that a whole number of steps leads to, up to the very edge. */
function cutSide(made: number, whole: number, scaled: number, margin: number): number {
  const wanted = Math.ceil((made * whole) / scaled) + 2 * margin + 2 * SOURCE_STEP;
  if (wanted >= whole) return whole;
  const cut = wanted + ((whole - wanted) % SOURCE_STEP);
  return Math.min(cut, whole);
}

export function tilePlan(request: TileRequest): TilePlan {
  const { source, framing, fields, frames, rgb, throughRgb, throughWhole, seed } = request;
  const { scaled, window } = framing;
  const bands = bandsOf(framing);
  const given = {
    width: Math.min(TILE, window.width - (window.width % 2)) || window.width,
    height: Math.min(TILE, ...bands.map(({ from, to }) => to - from)),
  };
  // Four chroma samples of 4:2:0 to either side, as many times as large as the picture becomes smaller; twice, through RGB.
  const reach = (whole: number, made: number): number =>
    Math.ceil((throughRgb || throughWhole ? 8 : 4) * Math.max(1, whole / made)) + 4;
  const margin = {
    across: reach(source.width, scaled.width),
    down: reach(source.height, scaled.height) + (fields === 'none' ? 0 : 10),
  };
  const cut = {
    width: cutSide(given.width, source.width, scaled.width, margin.across),
    height: cutSide(given.height, source.height, scaled.height, margin.down),
  };
  const open = Math.ceil(OPEN_TILES / Math.max(1, bands.filter(({ joint }) => joint === 'given').length));
  const tiles = bands.flatMap(({ joint, from, to }) =>
    Array.from({ length: joint === 'given' ? open : 1 }, (_, index) => ({
      joint,
      from,
      to,
      edge: index === 0,
    })),
  );
  return {
    source,
    scaled,
    window,
    inset: framing.inset,
    cut,
    given,
    step: { source: SOURCE_STEP, given: 2 },
    margin,
    held: fields === 'none' ? 1 : 4,
    each: fields === 'split' ? 2 : 1,
    lumaOf: rgb || throughRgb ? 3 : 1,
    frames,
    whole: wholeFrames(seed, frames),
    covered: framing.covered,
    tiles: tiles.map((tile, index) => ({
      ...tile,
      across: draws(seed, 2 * index),
      down: draws(seed, 2 * index + 1),
      phase: fields === 'none' ? 0 : index % 4,
    })),
  };
}

export interface Place {
  readonly x: number;
  readonly y: number;
}

/** Of the eight places around the middle: which third across and down; 1: drawn. */
export const RING: readonly (readonly [across: 0 | 1 | 2, down: 0 | 1 | 2])[] = [
  [0, 0],
  [1, 0],
  [2, 0],
  [0, 1],
  [2, 1],
  [0, 2],
  [1, 2],
  [2, 2],
];

const MIDDLE: (typeof RING)[number] = [1, 1];
const drawn = ([a, b, c]: Draw, number: number, count: number): number =>
  (number * number * a + number * b + c) % count;

/** How many places there are side by side. */
export function placesOf(plan: TilePlan, tile: Tile): { readonly across: number; readonly down: number } {
  const count = (room: number): number => Math.floor(room / plan.step.given) + 1;
  return {
    across: count(plan.window.width - plan.given.width),
    down: count(tile.to - tile.from - plan.given.height),
  };
}

/** Where a tile lies in what the encoder is given of `frame` of the source, and what of that it is made of. */
export function placeOf(
  plan: TilePlan,
  tile: Tile,
  frame: number,
): { readonly given: Place; readonly source: Place } {
  const number = plan.held === 1 ? frame : Math.floor((frame + tile.phase) / plan.held);
  const counts = placesOf(plan, tile);
  const [thirdAcross, thirdDown] = tile.edge ? (RING[number % RING.length] as (typeof RING)[number]) : MIDDLE;
  const at = (third: 0 | 1 | 2, draw: Draw, count: number): number =>
    third === 0 ? 0 : third === 2 ? count - 1 : drawn(draw, number, count);
  const given = {
    x: plan.step.given * at(thirdAcross, tile.across, counts.across),
    y: tile.from + plan.step.given * at(thirdDown, tile.down, counts.down),
  };
  return {
    given,
    source: {
      x: sourceSide(plan, 'across', given.x + plan.window.left),
      y: sourceSide(plan, 'down', given.y + plan.window.top),
    },
  };
}

function sourceSide(plan: TilePlan, of: 'across' | 'down', made: number): number {
  const side = of === 'across' ? 'width' : 'height';
  const [whole, scaled] = [plan.source[side], plan.scaled[side]];
  const { source: step } = plan.step;
  const before = step * Math.floor(((made * whole) / scaled - plan.margin[of]) / step);
  return Math.max(0, Math.min(whole - plan.cut[side], before));
}
