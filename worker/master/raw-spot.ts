/**
 * The spots of a raw frame: decoded, balanced and developed in double precision. Seconds of work for a large frame, so it is
 * done in a thread (spot-thread.ts); the loop of the worker has others to answer.
 */
import { readFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import type { ToSceneLinear } from '../../check/master/scene-linear.ts';
import type { Job } from '../../ledger/job.ts';
import { frameName } from '../../media/input.ts';
import { fsPath } from '../../files/names.ts';
import { fine } from '../../media/raw/demosaic/fine.ts';
import { half } from '../../media/raw/demosaic/half.ts';
import { linear } from '../../media/raw/demosaic/linear.ts';
import { channelAt } from '../../media/raw/demosaic/mosaic.ts';
import {
  correctedPixel,
  correctedSample,
  filledMosaic,
  resampled,
  warpedFrom,
} from '../../media/raw/corrections/reference.ts';
import { type Placed, placed } from '../../media/raw/corrections/which.ts';
import { balanceOf } from '../../media/raw/develop/balance.ts';
import { cropOf, halved, sizeOf } from '../../media/raw/develop/crop.ts';
import { linearMosaic, linearPixels } from '../../media/raw/develop/levels.ts';
import type { Triple } from '../../media/raw/develop/matrix.ts';
import { codedPlace, liesOnItsSide, orientationOfTiff } from '../../check/orientation.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { decodeCfa, notOurs, type Samples } from '../../media/formats/dng/decode.ts';
import type { DngFrame, RawPicture } from '../../media/formats/dng/header.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import type { Point, Spot } from '../../proof/pixel-samples.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import { rawDecoderHere } from '../../media/raw/decoders/here.ts';
import { corners, square } from './spot-pixels.ts';

/** Around a square of a mosaic: further than any method reaches, and even, so that colours stay in their places. */
const AROUND = 24;
type RawLinearisation = Extract<Linearisation, { kind: 'raw' }>;

/** What spots are found by: of any master of the clip. */
export interface Spotted {
  readonly linearisation: Linearisation;
  readonly frames: number;
  readonly width: number;
  readonly height: number;
}

/** What of a job it takes. */
export interface RawSpotJob extends Pick<Job, 'rollFolder'> {
  readonly clip: Pick<Job['clip'], 'place'>;
  readonly facts: Pick<Job['facts'], 'raw' | 'interpretation'>;
}

/** Relative changes of the mosaic, smaller than anything that 32-bit arithmetic does to it. */
const TREMBLE = 4e-6;
/** A pixel that such a change moves by more than this (of its own size) lies on the edge of a decision; nobody can say which way it must go. */
const STEADY = 2e-5;

/** Ours wherever it can, whoever else served: sensor values as stored are the same by every decoder. */
async function cfaOf(
  { facts: { raw } }: RawSpotJob,
  { path, file, dng }: { readonly path: string; readonly file: Buffer; readonly dng: DngFrame },
  signal: AbortSignal,
): Promise<Samples> {
  if (notOurs(dng) === null || raw === undefined) return decodeCfa(file, dng);
  const here = await rawDecoderHere(raw.decoder);
  if ('findings' in here)
    throw new DecoderFailed(raw.decoder.name, here.findings.map(({ found }) => found).join('; '));
  return (await here.decoder.decode(path, dng, { file, signal })).cfa;
}

export interface RawSpotRequest {
  readonly job: RawSpotJob;
  readonly linearisation: Linearisation;
  readonly frame: number;
  readonly sceneLinear: ToSceneLinear;
  readonly signal: AbortSignal;
}

export async function rawSpot({
  job,
  linearisation,
  frame,
  sceneLinear,
  signal,
}: RawSpotRequest): Promise<Spot> {
  const { place } = job.clip;
  if (linearisation.kind !== 'raw' || place.kind !== 'sequence')
    throw new RangeError('a raw spot of a coded clip');
  const path = join(resolve(job.rollFolder, place.folder), frameName(place, place.first + frame));
  const bytes = await readFile(fsPath(path));
  const dng = await readDng(sourceOfBytes(bytes));
  const { picture } = dng;
  const camera = new SensorPicture(dng, await cfaOf(job, { path, file: bytes, dng }, signal), linearisation);
  const shown = cropOf(picture);
  // As the file itself says, read apart from who turns it.
  const orientation = orientationOfTiff(bytes);
  const isHalf = linearisation.demosaic === 'half';
  const size = isHalf ? halved(shown) : shown;
  const upright = liesOnItsSide(orientation) ? { width: size.height, height: size.width } : size;
  const pixels: Point[] = [];
  const values: number[] = [];
  for (const corner of corners(upright.width, upright.height)) {
    const points = square(corner, upright.width, upright.height);
    const places = points.flatMap((point): Place[] => {
      const { x, y } = codedPlace(orientation, size, point);
      if (!isHalf) return [{ row: shown.top + y, column: shown.left + x }];
      const [row, column] = [shown.top + 2 * y, shown.left + 2 * x];
      return [0, 1].flatMap((down) => [0, 1].map((beside) => ({ row: row + down, column: column + beside })));
    });
    const [still, moved, back] = [0, TREMBLE, -TREMBLE].map((tremble) => {
      const values = camera.at(places, tremble);
      return isHalf ? meansOfFour(values) : values;
    }) as [Triple[], Triple[], Triple[]];
    for (const [index, { x, y }] of points.entries()) {
      const value = still[index] as Triple;
      const size = Math.max(...value.map(Math.abs), 1e-3);
      if (
        [moved[index], back[index]].some((other) =>
          value.some((own, channel) => Math.abs((other?.[channel] as number) - own) > STEADY * size),
        )
      )
        continue;
      pixels.push({ x, y });
      values.push(...sceneLinear(...value));
    }
  }
  return { frame, pixels, sceneLinear: Float64Array.from(values) };
}

function meansOfFour(values: readonly Triple[]): Triple[] {
  return Array.from({ length: values.length / 4 }, (_, index): Triple => {
    const four = values.slice(4 * index, 4 * index + 4);
    const mean = (channel: 0 | 1 | 2): number => four.reduce((sum, value) => sum + value[channel], 0) / 4;
    return [mean(0), mean(1), mean(2)];
  });
}

/** Row and column of the active area. */
interface Place {
  readonly row: number;
  readonly column: number;
}

/** The camera's values of a frame, corrected, not turned, in double precision, where they are asked for. */
class SensorPicture {
  readonly #picture: RawPicture;
  readonly #linearisation: RawLinearisation;
  readonly #active: { readonly width: number; readonly height: number };
  /** Behind the demosaic, in their order. */
  readonly #behind: readonly Placed[];
  /** The whole mosaic, corrected. */
  readonly #mosaic: Float64Array | null;
  /** Pixels of a picture that has no mosaic. */
  readonly #pixels: ((row: number, column: number) => Triple) | null;

  constructor({ picture, opcodes }: DngFrame, stored: Samples, linearisation: RawLinearisation) {
    this.#picture = picture;
    this.#linearisation = linearisation;
    this.#active = sizeOf(picture.activeArea);
    const asked = placed(opcodes, picture, linearisation.corrections);
    const ofList = (list: Placed['list']): Placed[] => asked.filter((one) => one.list === list);
    let codes = stored;
    for (const { correction } of ofList(1)) codes = filledMosaic(codes, picture, correction);
    if (picture.pattern === null) {
      this.#behind = [...ofList(2), ...ofList(3)];
      this.#mosaic = null;
      this.#pixels = linearPixels(picture, codes);
      return;
    }
    this.#behind = ofList(3);
    this.#pixels = null;
    const { width } = this.#active;
    let mosaic = linearMosaic(picture, codes);
    for (const one of ofList(2))
      mosaic =
        one.correction.kind === 'bad-list'
          ? filledMosaic(mosaic, this.#active, one.correction)
          : mosaic.map((value, at) =>
              correctedSample(one, { value, row: Math.floor(at / width), column: at % width, plane: 0 }),
            );
    this.#mosaic = mosaic;
  }

  /** Of places that lie together. `tremble`: how much, relatively, the mosaic is disturbed before. */
  at(places: readonly Place[], tremble: number): Triple[] {
    return this.#after(this.#behind, places, tremble);
  }

  /** Values behind all of these corrections; of a warp the last one first, since it says which places those before it are asked for. */
  #after(corrections: readonly Placed[], places: readonly Place[], tremble: number): Triple[] {
    const warp = corrections.findLastIndex(({ correction }) => correction.kind === 'warp');
    const warped = corrections[warp];
    const last = corrections.slice(warp + 1);
    const before =
      warped === undefined
        ? this.#demosaiced(places, tremble)
        : this.#warped(warped, corrections.slice(0, warp), places, tremble);
    return before.map((value, index) => {
      const { row, column } = places[index] as Place;
      return correctedPixel(last, value, row, column);
    });
  }

  #warped(warp: Placed, before: readonly Placed[], places: readonly Place[], tremble: number): Triple[] {
    const { top, left, width, height } = warp.bounds;
    const planes = [0, 1, 2] as const;
    const from = places.map(({ row, column }) => planes.map((plane) => warpedFrom(warp, plane, row, column)));
    const held = (value: number, first: number, count: number): number =>
      Math.min(Math.max(Math.round(value), first), first + count - 1);
    const all = from.flat();
    const [rows, columns] = [all.map(({ row }) => row), all.map(({ column }) => column)];
    const box = {
      top: held(Math.min(...rows) - 3, top, height),
      bottom: held(Math.max(...rows) + 3, top, height),
      left: held(Math.min(...columns) - 3, left, width),
      right: held(Math.max(...columns) + 3, left, width),
    };
    const across = box.right - box.left + 1;
    const inBox = Array.from({ length: across * (box.bottom - box.top + 1) }, (_, index) => ({
      row: box.top + Math.floor(index / across),
      column: box.left + (index % across),
    }));
    const values = this.#after(before, inBox, tremble);
    const isInside = ({ row, column }: Place): boolean =>
      row >= top && row < top + height && column >= left && column < left + width;
    // What lies outside what a trim left is not warped.
    const unwarped = this.#after(
      before,
      places.filter((place) => !isInside(place)),
      tremble,
    );
    return places.map((place, index) => {
      if (!isInside(place)) return unwarped.shift() as Triple;
      const of = (plane: 0 | 1 | 2): number =>
        resampled(
          (row, column) => (values[(row - box.top) * across + column - box.left] as Triple)[plane],
          from[index]?.[plane] as Place,
          warp,
        );
      return [of(0), of(1), of(2)];
    });
  }

  #demosaiced(places: readonly Place[], tremble: number): Triple[] {
    if (places.length === 0) return [];
    const pixels = this.#pixels;
    if (pixels !== null) return places.map(({ row, column }) => pixels(row, column));
    const { pattern } = this.#picture;
    const mosaic = this.#mosaic;
    if (pattern === null || mosaic === null) throw new RangeError('a mosaic without a pattern');
    const { demosaic, neutral } = this.#linearisation;
    const balance = balanceOf(neutral);
    const active = this.#active;
    const [rows, columns] = [places.map(({ row }) => row), places.map(({ column }) => column)];
    // A part of the mosaic around the places, from an even pixel on, balanced as the methods want it.
    const from = {
      x: Math.max(0, Math.min(...columns) - AROUND) & ~1,
      y: Math.max(0, Math.min(...rows) - AROUND) & ~1,
    };
    const width = Math.min(active.width, Math.max(...columns) + 1 + AROUND) - from.x;
    const height = Math.min(active.height, Math.max(...rows) + 1 + AROUND) - from.y;
    const values = new Float64Array(width * height);
    for (let y = 0; y < height; y += 1) {
      for (let x = 0; x < width; x += 1) {
        const own = balance[channelAt(pattern, from.y + y, from.x + x)];
        const odd = ((x * 7 + y * 13) % 5) - 2;
        values[y * width + x] =
          ((mosaic[(from.y + y) * active.width + from.x + x] as number) / own) * (1 + (tremble * odd) / 2);
      }
    }
    const shown = cropOf(this.#picture);
    const origin = { row: shown.top - from.y, column: shown.left - from.x };
    const part = { values, width, height, pattern };
    const { r, g, b } =
      demosaic === 'half' ? half(part, origin) : (demosaic === 'fine' ? fine : linear)(part);
    return places.map(({ row, column }) => {
      const at = (row - from.y) * width + column - from.x;
      return [(r[at] as number) * balance[0], (g[at] as number) * balance[1], (b[at] as number) * balance[2]];
    });
  }
}
