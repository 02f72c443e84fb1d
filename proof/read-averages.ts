/**
 * Area averages of a frame as it lies in memory, of any pixel format that is read (media/colour/formats.ts), on the grid and in the values
 * of fingerprints (form.ts): what a tap takes behind the decoder, taken of the very bytes that the arithmetic of a master reads.
 *
 * Luma and chroma stand as they are coded; RGB becomes BT.709 in narrow range of 16 bits, as a tap makes it (`rgbBasis`).
 */
import type { Layout, Samples } from '../media/colour/formats.ts';
import { type Grid, areaAverages } from './area.ts';
import { COLOUR_HEIGHT, COLOUR_WIDTH, GRID_HEIGHT, GRID_WIDTH } from './form.ts';

const LUMA: Grid = { columns: GRID_WIDTH, rows: GRID_HEIGHT };
const COLOUR: Grid = { columns: COLOUR_WIDTH, rows: COLOUR_HEIGHT };
const WORD = 65_535;
/** What swscale takes for full scale of RGB in words of 16 bits, whatever the depth: 255 * 2^8; codes are turned into that before (scaler-codes.ts). */
const FULL = 65_280;

export interface ReadAverages {
  readonly luma: Uint16Array;
  /** Cb, then Cr; null: a picture without chroma, or with its components not in planes. */
  readonly colour: Uint16Array | null;
}

/** `frame`: of `layout.bytes` bytes. */
export function readAverages(frame: Uint8Array, layout: Layout): ReadAverages {
  if (frame.length !== layout.bytes)
    throw new RangeError(`a frame of ${frame.length} bytes instead of ${layout.bytes}`);
  const toScaler =
    layout.kind === 'rgb' && layout.bits > 8 && layout.bits < 32 ? scalerCodes(layout.bits) : null;
  const words = layout.samples.map((samples) => {
    const codes = wordsOf(frame, samples);
    return toScaler === null ? codes : codes.map((code) => toScaler[code] as number);
  });
  // Of floats `wordsOf` made words of 16 bits.
  const bits = layout.bits === 32 ? 16 : layout.bits;
  const average = (index: number, grid: Grid): Uint16Array =>
    areaAverages(words[index] as Uint16Array, layout.samples[index] as Samples, bits, grid);
  if (layout.kind !== 'rgb') return averagesAsCoded(layout, average);
  const channels = (grid: Grid): readonly Uint16Array[] => [0, 1, 2].map((plane) => average(plane, grid));
  const small = channels(COLOUR);
  return {
    luma: mixed(channels(LUMA), Y),
    colour: joined([CB, CR].map((weights) => mixed(small, weights))),
  };
}

/** Of luma and chroma as they are coded, by whatever averages them: `component` 0 to 2. */
export function averagesAsCoded(
  layout: Layout,
  average: (component: number, grid: Grid) => Uint16Array,
): ReadAverages {
  return {
    luma: average(0, LUMA),
    colour: isPlanar(layout) ? joined([average(1, COLOUR), average(2, COLOUR)]) : null,
  };
}

/** Each component in a plane of its own: others pass a scaler that moves chroma by a part of a sample, and are compared by their luma alone. */
const isPlanar = ({ kind, samples }: Layout): boolean =>
  kind === 'yuv' && samples.every(({ step, coding }) => step === (coding === 'u8' ? 1 : 2));

/** Weights of R, G, B and the value of black, in words of 16 bits. Source: Rec. ITU-R BT.709-6, items 3.2 and 3.4; narrow range of BT.2100-2, table 9, for 16 bits. */
type Mix = readonly [r: number, g: number, b: number, zero: number];
const [KR, KB] = [0.2126, 0.0722];
const KG = 1 - KR - KB;
const [LUMA_SPAN, CHROMA_SPAN] = [219 * 256, 224 * 256];
const Y: Mix = [KR * LUMA_SPAN, KG * LUMA_SPAN, KB * LUMA_SPAN, 16 * 256];
const blue = CHROMA_SPAN / (2 * (1 - KB));
const CB: Mix = [-KR * blue, -KG * blue, (1 - KB) * blue, 128 * 256];
const red = CHROMA_SPAN / (2 * (1 - KR));
const CR: Mix = [(1 - KR) * red, -KG * red, -KB * red, 128 * 256];

const tables = new Map<number, Uint16Array>();

/** Code by code what `rgbForScaler` makes of RGB of so many bits. */
function scalerCodes(bits: number): Uint16Array {
  const known = tables.get(bits);
  if (known !== undefined) return known;
  const [steps, of] = [255 * 2 ** (bits - 8), 2 ** bits - 1];
  const table = Uint16Array.from({ length: 2 ** bits }, (_, code) => Math.floor((code * steps) / of + 0.5));
  tables.set(bits, table);
  return table;
}

function mixed([r, g, b]: readonly Uint16Array[], [wr, wg, wb, zero]: Mix): Uint16Array {
  return Uint16Array.from(r as Uint16Array, (value, cell) =>
    Math.min(
      WORD,
      Math.floor(zero + (wr * value + wg * (g?.[cell] ?? 0) + wb * (b?.[cell] ?? 0)) / FULL + 0.5),
    ),
  );
}

function joined(parts: readonly Uint16Array[]): Uint16Array {
  const out = new Uint16Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}

/** One component without padding, itself where it lies so in the frame. Floats are cut to 0 and 1 of full scale and become 16 bits: a picture of whole numbers is all that a tap can give. */
function wordsOf(frame: Uint8Array, samples: Samples): Uint16Array {
  const { first, step, line, width, height, coding, shift } = samples;
  const aligned = (frame.byteOffset + first) % 2 === 0 && step === 2 && line === 2 * width;
  if (coding === 'u16le' && aligned && shift === 0)
    return new Uint16Array(frame.buffer, frame.byteOffset + first, width * height);
  const out = new Uint16Array(width * height);
  const view = new DataView(frame.buffer, frame.byteOffset, frame.byteLength);
  if (coding === 'u8') {
    for (let y = 0, to = 0; y < height; y += 1)
      for (let x = 0, at = first + y * line; x < width; x += 1, at += step, to += 1)
        out[to] = frame[at] as number;
    return out;
  }
  const isFloat = coding === 'f32le' || coding === 'f32be';
  const little = coding === 'u16le' || coding === 'f32le';
  for (let y = 0, to = 0; y < height; y += 1)
    for (let x = 0, at = first + y * line; x < width; x += 1, at += step, to += 1)
      out[to] = isFloat
        ? Math.round(WORD * Math.min(1, Math.max(0, view.getFloat32(at, little) || 0)))
        : view.getUint16(at, little) >> shift;
  return out;
}
