/**
 * What some pixels of a few frames must be, found again by other means than the master's: the source is opened and decoded
 * once more, frame by frame, and goes its way in double precision through the references of the kernels.
 */
import { readFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import type { ToSceneLinear } from '../../check/master/scene-linear.ts';
import type { Job } from '../../ledger/job.ts';
import { layoutOf } from '../../media/colour/formats.ts';
import { codeRgbAt } from '../../media/colour/pixel.ts';
import { frameName, type InputPlace, openInput } from '../../media/input.ts';
import { fsPath } from '../../files/names.ts';
import { fine } from '../../media/raw/demosaic/fine.ts';
import { linear } from '../../media/raw/demosaic/linear.ts';
import type { Mosaic } from '../../media/raw/demosaic/mosaic.ts';
import { balanceOf } from '../../media/raw/develop/balance.ts';
import { cropOf, sizeOf } from '../../media/raw/develop/crop.ts';
import { linearMosaic } from '../../media/raw/develop/levels.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { decodeCfa, notOurs } from '../../media/formats/dng/decode.ts';
import type { DngFrame } from '../../media/formats/dng/header.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import { channelAt } from '../../media/raw/demosaic/mosaic.ts';
import type { MediaTools } from '../../process/locate.ts';
import { FIRST_PIPE, runTool } from '../../process/run.ts';
import { type Point, POINTS, pointsOf, type Spot } from '../../proof/pixel-samples.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import { rawDecoderHere } from '../decoder.ts';
import { declaredPictures } from './declared.ts';
import { sourcePicture } from './source-picture.ts';
import { corners, SIDE, spotFrames, spotPixels, square } from './spot-pixels.ts';

/** Around a square of a mosaic: further than any method reaches, and even, so that colours stay in their places. */
const AROUND = 24;
const STALL_MILLISECONDS = 120_000;

/** What spots are found by: of any master of the clip. */
interface Spotted {
  readonly linearisation: Linearisation;
  readonly frames: number;
  readonly width: number;
  readonly height: number;
}

/** null: the decoder gave no such frame by itself (not every file can be entered in its middle). */
async function decodedFrame(
  job: Job,
  outcome: Spotted,
  frame: number,
  tools: Pick<MediaTools, 'ffmpeg'>,
  signal: AbortSignal,
): Promise<Buffer | null> {
  const { linearisation, width, height } = outcome;
  if (linearisation.kind !== 'coded') throw new RangeError('a coded spot of a raw clip');
  const { clip, facts } = job;
  const place: InputPlace =
    clip.place.kind === 'movie' ? clip.place : { ...clip.place, first: clip.place.first + frame, count: 1 };
  const { num, den } = facts.video.rate;
  // Half a frame early, so that no rounding passes the frame by.
  const seek =
    clip.place.kind === 'movie' && frame > 0 ? ['-ss', (((frame - 0.5) * den) / num).toFixed(6)] : [];
  const input = await openInput(job.rollFolder, place, facts.video.rate);
  const { bytes: frameBytes } = layoutOf(linearisation.pixelFormat, width, height);
  const parts: Buffer[] = [];
  try {
    await runTool(
      tools.ffmpeg.path,
      [
        '-hide_banner',
        '-nostdin',
        '-nostats',
        '-loglevel',
        'error',
        '-noauto_conversion_filters',
        ...seek,
        ...input.args,
        '-map',
        `0:${facts.video.streamIndex}`,
        '-frames:v',
        '1',
        '-fps_mode',
        'passthrough',
        '-c:v',
        'rawvideo',
        '-f',
        'rawvideo',
        `pipe:${FIRST_PIPE}`,
      ],
      {
        signal,
        stallMilliseconds: STALL_MILLISECONDS,
        pipes: [
          async (stream) => {
            for await (const part of stream) parts.push(part as Buffer);
          },
        ],
      },
    );
  } finally {
    await input.dispose();
  }
  signal.throwIfAborted();
  const bytes = Buffer.concat(parts);
  return bytes.length === frameBytes ? bytes : null;
}

function codedSpot(
  { linearisation, width, height }: Spotted,
  frame: number,
  bytes: Buffer,
  sceneLinear: ToSceneLinear,
): Spot {
  if (linearisation.kind !== 'coded') throw new RangeError('a coded spot of a raw clip');
  const source = sourcePicture(linearisation, width, height);
  const pixels = spotPixels(width, height);
  return {
    frame,
    pixels,
    sceneLinear: Float64Array.from(
      pixels.flatMap(({ x, y }) => [...sceneLinear(...codeRgbAt(source, bytes, x, y))]),
    ),
  };
}

/** Relative changes of the mosaic, smaller than anything that 32-bit arithmetic does to it. */
const TREMBLE = 4e-6;
/** A pixel that such a change moves by more than this (of its own size) lies on the edge of a decision; nobody can say which way it must go. */
const STEADY = 2e-5;

/** Ours wherever it can, whoever else served: sensor values as stored are the same by every decoder. */
async function cfaOf(
  { facts: { raw } }: Job,
  path: string,
  file: Buffer,
  dng: DngFrame,
  signal: AbortSignal,
): Promise<Uint16Array> {
  if (notOurs(dng) === null || raw === undefined) return decodeCfa(file, dng);
  const here = await rawDecoderHere(raw.decoder);
  if ('findings' in here)
    throw new DecoderFailed(raw.decoder.name, here.findings.map(({ found }) => found).join('; '));
  return (await here.decoder.decode(path, dng, { file, signal })).cfa;
}

async function rawSpot(
  job: Job,
  outcome: Spotted,
  frame: number,
  sceneLinear: ToSceneLinear,
  signal: AbortSignal,
): Promise<Spot> {
  const { linearisation } = outcome;
  const { place } = job.clip;
  if (linearisation.kind !== 'raw' || place.kind !== 'sequence')
    throw new RangeError('a raw spot of a coded clip');
  const path = join(resolve(job.rollFolder, place.folder), frameName(place, place.first + frame));
  const bytes = await readFile(fsPath(path));
  const dng = await readDng(sourceOfBytes(bytes));
  const { picture } = dng;
  const whole = linearMosaic(picture, await cfaOf(job, path, bytes, dng, signal));
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

/** A seek may land beside the frame asked for, where a file's times and its index disagree (MXF; worker/spot.ts allows the same). */
const BESIDE = 3;
/** Of full scale: what 32-bit arithmetic may differ by from double precision (media/colour/picture.ts). */
const SAME_CODE = 1e-5;

/** Which frame a picture is that was decoded by itself: the asked one, or the nearest to it whose points it has. Without any it stays the asked one, and the check finds it different. */
function frameOf(
  { linearisation, width, height, frames }: Spotted,
  asked: number,
  bytes: Buffer,
  values: Float32Array,
): number {
  if (linearisation.kind !== 'coded') throw new RangeError('a coded picture of a raw clip');
  const source = sourcePicture(linearisation, width, height);
  const near = Array.from(
    { length: 2 * BESIDE + 1 },
    (_, index) => asked + (index % 2 === 0 ? index / 2 : -(index + 1) / 2),
  ).filter((frame) => frame >= 0 && frame < frames);
  const has = (frame: number): boolean =>
    pointsOf(frame, width, height).every(({ x, y }, point) =>
      codeRgbAt(source, bytes, x, y).every(
        (code, channel) =>
          Math.abs(code - (values[3 * (POINTS * frame + point) + channel] as number)) <=
          SAME_CODE * Math.max(1, Math.abs(code)),
      ),
    );
  return near.find(has) ?? asked;
}

/** `values`: of the pixel samples. */
export async function spotsOf(
  job: Job,
  outcome: Spotted,
  sceneLinear: ToSceneLinear,
  values: Float32Array,
  tools: Pick<MediaTools, 'ffmpeg'>,
  signal: AbortSignal,
): Promise<Spot[]> {
  const spots: Spot[] = [];
  const frames = spotFrames(job.clip.contentDigest, outcome.frames);
  const declared = job.facts.declared === undefined ? null : await declaredPictures(job, frames, signal);
  const coded = async (frame: number): Promise<Spot | null> => {
    const bytes =
      declared === null
        ? await decodedFrame(job, outcome, frame, tools, signal)
        : (declared.get(frame) ?? null);
    if (bytes === null) return null;
    // Only a seek may land beside; the first frame needs none, and a decoder of its own tells its frames by their count.
    return codedSpot(
      outcome,
      declared === null && frame > 0 && job.clip.place.kind === 'movie'
        ? frameOf(outcome, frame, bytes, values)
        : frame,
      bytes,
      sceneLinear,
    );
  };
  for (const frame of frames) {
    signal.throwIfAborted();
    const spot =
      outcome.linearisation.kind === 'raw'
        ? await rawSpot(job, outcome, frame, sceneLinear, signal)
        : await coded(frame);
    if (spot !== null && spot.pixels.length > 0 && !spots.some((other) => other.frame === spot.frame))
      spots.push(spot);
  }
  return spots;
}
