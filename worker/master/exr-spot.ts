/**
 * Pixels of OpenEXR frames for the spots, placed by the checker's reading of the header (check/master/exr) and not by whoever made the
 * master. What the checker does not unpack, ffmpeg decodes from a copy whose windows both begin at (0, 0) and end with the data: it then has
 * nothing to place.
 */
import { mkdtemp, open, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { attributeValue } from '../../check/master/exr/attributes.ts';
import { walkExr, type WalkedExr } from '../../check/master/exr/chunks.ts';
import { ExrForeign } from '../../check/master/exr/damage.ts';
import { placedPixels } from '../../check/master/exr/placed.ts';
import { sourceOfFile } from '../../check/master/exr/source.ts';
import { FileDamage } from '../../files/bytes.ts';
import { fsPath } from '../../files/names.ts';
import { finding, type Finding } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { frameName } from '../../media/input.ts';
import { framePath } from '../../media/raw/sequence.ts';
import { POINTS, type Point, pointsOf } from '../../proof/pixel-samples.ts';
import { subjectOf } from '../claim.ts';

/** Absolute path of a frame, counted from 0. */
function pathOf({ rollFolder, clip: { place } }: Pick<Job, 'rollFolder' | 'clip'>, frame: number): string {
  if (place.kind !== 'sequence') throw new RangeError('frames of a movie');
  return framePath(rollFolder, place, place.first + frame);
}

/** R, G, B at points of the display window; null: the checker does not unpack such a file, or finds it damaged. */
export async function exrPixels(
  job: Pick<Job, 'rollFolder' | 'clip'>,
  frame: number,
  points: readonly Point[],
): Promise<Float32Array | null> {
  const handle = await open(fsPath(pathOf(job, frame)), 'r');
  try {
    return await placedPixels(await sourceOfFile(handle), points);
  } catch (error) {
    if (error instanceof ExrForeign || error instanceof FileDamage) return null;
    throw error;
  } finally {
    await handle.close();
  }
}

/** A frame whose picture ffmpeg has nothing to place in, and where its pixels belong. */
export interface Unplaced {
  readonly path: string;
  readonly width: number;
  readonly height: number;
  /** From the first pixel of the display window to the first of the data; negative where data lie outside. */
  readonly left: number;
  readonly top: number;
  dispose(): Promise<void>;
}

const window = (values: readonly [number, number, number, number]): Buffer => {
  const bytes = Buffer.alloc(16);
  for (const [index, value] of values.entries()) bytes.writeInt32LE(value, 4 * index);
  return bytes;
};

/** null: both windows begin at (0, 0) and end together, or the file is no single part of scan lines. */
export async function unplaced(
  job: Pick<Job, 'rollFolder' | 'clip'>,
  frame: number,
): Promise<Unplaced | null> {
  const path = pathOf(job, frame);
  let walked: WalkedExr;
  const handle = await open(fsPath(path), 'r');
  try {
    walked = await walkExr(await sourceOfFile(handle));
  } catch (error) {
    if (error instanceof ExrForeign || error instanceof FileDamage) return null;
    throw error;
  } finally {
    await handle.close();
  }
  const { header, chunks } = walked;
  const { dataWindow: held, displayWindow: shown, width, height } = header;
  if (
    held.xMin === 0 &&
    held.yMin === 0 &&
    (['xMin', 'yMin', 'xMax', 'yMax'] as const).every((side) => held[side] === shown[side])
  )
    return null;
  const bytes = await readFile(fsPath(path));
  for (const name of ['dataWindow', 'displayWindow']) {
    const attribute = header.attributes.get(name);
    if (attribute === undefined || attributeValue(header.attributes, name, 'box2i') === null) return null;
    window([0, 0, width - 1, height - 1]).copy(bytes, attribute.at);
  }
  // A chunk says its first line in front of its size.
  for (const { at, y } of chunks) bytes.writeInt32LE(y - held.yMin, at - 8);
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-exr-'));
  const dispose = (): Promise<void> => rm(folder, { recursive: true, force: true });
  try {
    const copy = join(folder, 'frame0.exr');
    await writeFile(copy, bytes);
    return {
      path: copy,
      width,
      height,
      left: held.xMin - shown.xMin,
      top: held.yMin - shown.yMin,
      dispose,
    };
  } catch (error) {
    await dispose();
    throw error;
  }
}

/** So many points of each frame: every eighth, which lie in as many chunks at most. */
const STEP = 8;

/**
 * Frames that our own code read: in each of them some of the points, read once more by the checker's. `values`: of the pixel samples.
 * Empty: they are the same to the last bit.
 */
export async function ownReadingFindings(
  job: Job,
  size: { readonly width: number; readonly height: number },
  values: Float32Array,
  signal: AbortSignal,
): Promise<Finding[]> {
  const findings: Finding[] = [];
  for (let frame = 0; frame < job.span.count; frame += 1) {
    signal.throwIfAborted();
    const chosen = pointsOf(frame, size.width, size.height).flatMap((point, index) =>
      index % STEP === frame % STEP ? [{ point, index }] : [],
    );
    const again = await exrPixels(
      job,
      frame,
      chosen.map(({ point }) => point),
    );
    const wrong = chosen.find(({ index }, place) =>
      [0, 1, 2].some(
        (channel) =>
          again === null ||
          !Object.is(again[3 * place + channel], values[3 * (POINTS * frame + index) + channel]),
      ),
    );
    if (wrong === undefined) continue;
    const { place } = job.clip;
    const name = place.kind === 'sequence' ? frameName(place, place.first + frame) : '';
    const pixel = `at (${wrong.point.x}, ${wrong.point.y})`;
    findings.push(
      finding(
        'master-frames-not-as-decoded',
        again === null
          ? `${name}: a second reading finds no picture`
          : `${name}: other values ${pixel} than a second reading finds`,
        'the same values by two readers that share no code',
        subjectOf(job),
      ),
    );
    if (findings.length === 8) break;
  }
  return findings;
}
