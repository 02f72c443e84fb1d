/** The body of a measuring thread: one frame of a master, read whole from disk once. */
import { createHash } from 'node:crypto';
import { readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import type { FolderFile } from '../../files/folder-digest.ts';
import { Xxh128 } from '../../files/manifest/xxh128.ts';
import { serve } from '../../process/threads.ts';
import { type Point, pointsOf } from '../../proof/pixel-samples.ts';
import { WholeFrameSketch } from '../../proof/whole-frame-sketch.ts';
import type { Carried } from './carried.ts';
import { dpxFrame, type MeasuredDpx } from './dpx.ts';
import { measureExr, type Values } from './exr.ts';
import { type FrameMeasured, NO_ENDS } from './measured.ts';

/** SMPTE ST 268-1. */
const DPX_HEADER = 2048;

export interface MeasureSetup {
  readonly folder: string;
  readonly format: 'exr' | 'aces' | 'dpx';
  readonly width: number;
  readonly height: number;
  /** Of the labels that are expected. */
  readonly base: number;
  /** Of a code of DPX. */
  readonly bits: number;
  readonly carried: readonly Carried[];
}

export interface MeasureOrder {
  readonly index: number;
  readonly name: string;
  readonly spot: readonly Point[];
}

/** As folderDigestOf takes it. */
export type MeasureAnswer = FrameMeasured & FolderFile;

/** ACEScct of scene-linear 1.0, of full scale (Academy S-2016-001): (log2(1) + 9.72) / 17.52. */
const WHITE = 9.72 / 17.52;

function valuesOf(
  { width, height, codesAt }: MeasuredDpx,
  bits: number,
): Pick<Values, 'sketch' | 'atLimit' | 'least' | 'greatest' | 'overWhite'> {
  const most = 2 ** bits - 1;
  const white = WHITE * most;
  const sketch = new WholeFrameSketch(width, height);
  // Words of 16 bits with the sign that they have as such: whoever made the frame counts them so.
  const lines = [0, 1, 2].map(() => new Int16Array(width)) as [Int16Array, Int16Array, Int16Array];
  const least: [number, number, number] = [most, most, most];
  const greatest: [number, number, number] = [0, 0, 0];
  let atLimit = 0;
  let overWhite = 0;
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const codes = codesAt(x, y);
      let bright = 0;
      for (const [channel, line] of lines.entries()) {
        const code = codes[channel] as number;
        line[x] = code;
        if (code === 0 || code === most) atLimit += 1;
        if (code < (least[channel] as number)) least[channel] = code;
        if (code > (greatest[channel] as number)) greatest[channel] = code;
        if (code > white) bright += 1;
      }
      if (bright === 3) overWhite += 1;
    }
    for (const [channel, line] of lines.entries()) sketch.take(channel, y, line);
  }
  return { sketch: sketch.sums(), atLimit, least, greatest, overWhite };
}

function measureDpx(
  bytes: Buffer,
  { base, bits }: Pick<MeasureSetup, 'base' | 'bits'>,
  points: readonly Point[],
  spot: readonly Point[],
): Values {
  try {
    const frame = dpxFrame(bytes, base, bits);
    const inside = frame.faults.length === 0;
    const codes = (wanted: readonly Point[]): Float32Array =>
      Float32Array.from(wanted.flatMap(({ x, y }) => frame.codesAt(x, y)));
    return {
      faults: frame.faults,
      said: frame.said,
      headerBytes: DPX_HEADER,
      points: inside ? codes(points) : null,
      spot: inside && spot.length > 0 ? codes(spot) : null,
      ...(inside ? valuesOf(frame, bits) : { sketch: null, atLimit: 0, ...NO_ENDS }),
      notFinite: 0,
    };
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return {
      faults: [error.message],
      said: null,
      headerBytes: null,
      points: null,
      spot: null,
      sketch: null,
      atLimit: 0,
      notFinite: 0,
      ...NO_ENDS,
    };
  }
}

serve<MeasureSetup, MeasureOrder, MeasureAnswer>(
  async ({ folder, format, width, height, base, bits, carried }) =>
    async ({ index, name, spot }) => {
      const path = join(folder, name);
      const { ino, ctimeNs } = statSync(path, { bigint: true });
      const bytes = readFileSync(path);
      const points = pointsOf(index, width, height);
      const values =
        format === 'dpx'
          ? measureDpx(bytes, { base, bits }, points, spot)
          : await measureExr({ bytes, base, aces: format === 'aces', carried, points, spot });
      return {
        result: {
          index,
          name,
          bytes: bytes.length,
          sha256: createHash('sha256').update(bytes).digest('hex'),
          xxh128: new Xxh128().update(bytes).digest(),
          inode: ino,
          changed: ctimeNs,
          ...values,
        },
      };
    },
);
