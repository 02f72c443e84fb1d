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
import { linear } from '../../media/raw/demosaic/linear.ts';
import { channelAt, type Mosaic } from '../../media/raw/demosaic/mosaic.ts';
import { balanceOf } from '../../media/raw/develop/balance.ts';
import { cropOf, sizeOf } from '../../media/raw/develop/crop.ts';
import { linearMosaic } from '../../media/raw/develop/levels.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { decodeCfa, notOurs } from '../../media/formats/dng/decode.ts';
import type { DngFrame } from '../../media/formats/dng/header.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import type { Point, Spot } from '../../proof/pixel-samples.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import { rawDecoderHere } from '../decoder.ts';
import { corners, SIDE, square } from './spot-pixels.ts';

/** Around a square of a mosaic: further than any method reaches, and even, so that colours stay in their places. */
const AROUND = 24;
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
  readonly facts: Pick<Job['facts'], 'raw'>;
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
): Promise<Uint16Array> {
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
  const whole = linearMosaic(picture, await cfaOf(job, { path, file: bytes, dng }, signal));
  const active = sizeOf(picture.activeArea);
  const crop = cropOf(picture);
  const balance = balanceOf(linearisation.neutral);
  const demosaic = linearisation.demosaic === 'fine' ? fine : linear;
  const pixels: Point[] = [];
  const values: number[] = [];
  for (const corner of corners(crop.width, crop.height)) {
    // A part of the mosaic around the square, from an even pixel on, balanced as the methods want it.
    const from = {
      x: Math.max(0, crop.left + corner.x - AROUND) & ~1,
      y: Math.max(0, crop.top + corner.y - AROUND) & ~1,
    };
    const to = {
      x: Math.min(active.width, crop.left + corner.x + SIDE + AROUND),
      y: Math.min(active.height, crop.top + corner.y + SIDE + AROUND),
    };
    const [width, height] = [to.x - from.x, to.y - from.y];
    const part = (tremble: number): Mosaic => {
      const out = new Float64Array(width * height);
      for (let y = 0; y < height; y += 1) {
        for (let x = 0; x < width; x += 1) {
          const own = balance[channelAt(picture.pattern, from.y + y, from.x + x)];
          const odd = ((x * 7 + y * 13) % 5) - 2;
          out[y * width + x] =
            ((whole[(from.y + y) * active.width + from.x + x] as number) / own) * (1 + (tremble * odd) / 2);
        }
      }
      return { values: out, width, height, pattern: picture.pattern };
    };
    const [still, moved, back] = [demosaic(part(0)), demosaic(part(TREMBLE)), demosaic(part(-TREMBLE))];
    for (const { x, y } of square(corner, crop.width, crop.height)) {
      const at = (crop.top + y - from.y) * width + crop.left + x - from.x;
      const of = ({ r, g, b }: typeof still): [number, number, number] => [
        (r[at] as number) * balance[0],
        (g[at] as number) * balance[1],
        (b[at] as number) * balance[2],
      ];
      const value = of(still);
      const size = Math.max(...value.map(Math.abs), 1e-3);
      if (
        [of(moved), of(back)].some((other) =>
          other.some((channel, index) => Math.abs(channel - (value[index] as number)) > STEADY * size),
        )
      )
        continue;
      pixels.push({ x, y });
      values.push(...sceneLinear(...value));
    }
  }
  return { frame, pixels, sceneLinear: Float64Array.from(values) };
}
