/**
 * The colours of every frame against those of its source frame, taken through the profile's own conversion: chroma that is damaged, exchanged or
 * lost in a single frame, of which luma shows nothing. Pure.
 *
 * A codec errs in colour by what there is of it, and much alike in the frames around. So a frame is off when it is off by far more than they are, or, in any
 * case, by a large part of all the colour that it has.
 */
import type { FrameFingerprints } from './form.ts';
import { colourCellsSeen } from './framing.ts';
import { type Basis, colourAt, rightConversion } from './levels.ts';
import { median } from './pictures.ts';

/** Frames before and after over which a usual difference is taken. */
const USUAL = 12;
/** 256 is one code value of 8 bits. A frame is off beyond so many times what is usual, and so much more, and this part of its colour. */
const OUTLIER = {
  times: 4,
  plus: { frames: 384, fields: 768 },
  part: { frames: 0.15, fields: 0.4 },
} as const;
/** And in any case beyond this part of its colour, and this: VC-3 LB rounds colour by up to six code values. */
const ANY = { part: 0.75, plus: 2048 } as const;

export interface ChromaRequest {
  readonly source: FrameFingerprints;
  readonly output: FrameFingerprints;
  /** Cells that are not cut or covered (framing.ts). */
  readonly seen: Uint8Array;
  /** Those that are in their place. */
  readonly frames: ReadonlySet<number>;
  readonly basis: { readonly source: Basis; readonly output: Basis };
}

/** A frame whose colours are not its source's. Root mean square, in code values of 8 bits. */
export interface OffColour {
  readonly frame: number;
  readonly off: number;
  readonly usual: number;
}

export function offColours({ source, output, seen, frames, basis }: ChromaRequest): OffColour[] {
  const cells = [...colourCellsSeen(seen).entries()].filter(([, value]) => value === 1).map(([cell]) => cell);
  if (cells.length === 0 || output.colour === null) return [];
  const convert = rightConversion(basis.source, basis.output);
  const count = Math.min(source.frames, output.frames);
  const off = new Float64Array(count).fill(Number.NaN);
  const colour = new Float64Array(count);
  for (let frame = 0; frame < count; frame += 1) {
    if (!frames.has(frame)) continue;
    let squares = 0;
    let saturation = 0;
    for (const cell of cells) {
      const [, cb, cr] = convert(colourAt(source, frame, cell));
      const [, foundCb, foundCr] = colourAt(output, frame, cell);
      squares += (foundCb - cb) ** 2 + (foundCr - cr) ** 2;
      saturation += (cb - GREY) ** 2 + (cr - GREY) ** 2;
    }
    off[frame] = Math.sqrt(squares / (2 * cells.length));
    colour[frame] = Math.sqrt(saturation / (2 * cells.length));
  }
  const kind = source.views === 2 ? 'fields' : 'frames';
  const found: OffColour[] = [];
  for (let frame = 0; frame < count; frame += 1) {
    const own = off[frame] as number;
    if (Number.isNaN(own)) continue;
    const around = [...off.subarray(Math.max(0, frame - USUAL), frame + USUAL + 1)].filter(
      (value) => !Number.isNaN(value),
    );
    const usual = median(around);
    const limit = Math.min(
      OUTLIER.times * usual + OUTLIER.plus[kind] + OUTLIER.part[kind] * (colour[frame] as number),
      ANY.plus + ANY.part * (colour[frame] as number),
    );
    if (own > limit) found.push({ frame, off: own / 256, usual: usual / 256 });
  }
  return found;
}
const GREY = 128 * 256;
