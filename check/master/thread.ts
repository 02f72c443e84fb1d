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
import type { FrameMeasured } from './measured.ts';

/** SMPTE ST 268-1. */
const DPX_HEADER = 2048;
/** Of 10 bits. */
const MOST_CODE = 1023;

export interface MeasureSetup {
  readonly folder: string;
  readonly format: 'exr' | 'aces' | 'dpx';
  readonly width: number;
  readonly height: number;
  /** Of the labels that are expected. */
  readonly base: number;
  readonly carried: readonly Carried[];
}

export interface MeasureOrder {
  readonly index: number;
  readonly name: string;
  readonly spot: readonly Point[];
}

/** As folderDigestOf takes it. */
export type MeasureAnswer = FrameMeasured & FolderFile;

function sketchOf({ width, height, codesAt }: MeasuredDpx): Pick<Values, 'sketch' | 'atLimit'> {
  const sketch = new WholeFrameSketch(width, height);
  const lines = [0, 1, 2].map(() => new Uint16Array(width)) as [Uint16Array, Uint16Array, Uint16Array];
  let atLimit = 0;
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const codes = codesAt(x, y);
      for (const [channel, line] of lines.entries()) {
        const code = codes[channel] as number;
        line[x] = code;
        if (code === 0 || code === MOST_CODE) atLimit += 1;
      }
    }
    for (const [channel, line] of lines.entries()) sketch.take(channel, y, line);
  }
  return { sketch: sketch.sums(), atLimit };
}

function measureDpx(bytes: Buffer, base: number, points: readonly Point[], spot: readonly Point[]): Values {
  try {
    const frame = dpxFrame(bytes, base);
    const inside = frame.faults.length === 0;
    const codes = (wanted: readonly Point[]): Float32Array =>
      Float32Array.from(wanted.flatMap(({ x, y }) => frame.codesAt(x, y)));
    const at = inside ? codes(points) : null;
    return {
      faults: frame.faults,
      said: frame.said,
      headerBytes: DPX_HEADER,
      points: at,
      spot: inside && spot.length > 0 ? codes(spot) : null,
      ...(inside ? sketchOf(frame) : { sketch: null, atLimit: 0 }),
      notFinite: 0,
      least: Math.min(...(at ?? [])),
      greatest: Math.max(...(at ?? [])),
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
      least: Number.POSITIVE_INFINITY,
      greatest: Number.NEGATIVE_INFINITY,
    };
  }
}

serve<MeasureSetup, MeasureOrder, MeasureAnswer>(
  async ({ folder, format, width, height, base, carried }) =>
    async ({ index, name, spot }) => {
      const path = join(folder, name);
      const { ino, ctimeNs } = statSync(path, { bigint: true });
      const bytes = readFileSync(path);
      const points = pointsOf(index, width, height);
      const values =
        format === 'dpx'
          ? measureDpx(bytes, base, points, spot)
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
