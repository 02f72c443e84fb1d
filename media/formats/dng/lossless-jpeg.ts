/**
 * Lossless JPEG (ITU-T T.81, process 14, annex H) in plain TypeScript: what the kernel does (media/kernels/assembly/dng.ts), sample
 * by sample and written for being read. The checker decodes with this one, so that the kernel never proves itself.
 */
import { StillDamage } from '../still.ts';
import type { HuffmanSpec, LosslessHeader } from './jpeg-header.ts';
import { codedParts, unstuffed } from './segments.ts';

/** Most bits of a code. */
const LONGEST = 16;

/** For each pattern of 16 bits: how long the code at its start is (low byte) and what it stands for (above); 0 where no code starts. */
function codeTable(spec: HuffmanSpec): Uint16Array {
  const table = new Uint16Array(1 << LONGEST);
  let at = 0;
  let next = 0;
  for (const [index, count] of spec.counts.entries()) {
    const length = index + 1;
    for (let code = 0; code < count; code += 1) {
      const span = 1 << (LONGEST - length);
      table.fill(((spec.values[next++] as number) << 8) | length, at, at + span);
      at += span;
    }
  }
  return table;
}

class Bits {
  readonly #bytes: Uint8Array;
  /** In bits. */
  position = 0;
  constructor(bytes: Uint8Array) {
    this.#bytes = bytes;
  }
  get left(): number {
    return this.#bytes.length * 8 - this.position;
  }
  /** The next 16 bits, zeros behind the end. */
  peek(): number {
    const at = this.position >> 3;
    const three =
      ((this.#bytes[at] ?? 0) << 16) | ((this.#bytes[at + 1] ?? 0) << 8) | (this.#bytes[at + 2] ?? 0);
    return (three >> (8 - (this.position & 7))) & 0xffff;
  }
}

/** The difference that comes next (T.81, F.2.2.1 and H.1.2.2). */
function difference(bits: Bits, table: Uint16Array): number {
  const entry = table[bits.peek()] as number;
  if (entry === 0) throw new StillDamage('bits that are no code');
  bits.position += entry & 0xff;
  const size = entry >> 8;
  if (size === 0) return 0;
  if (size === 16) return 32_768;
  const value = bits.peek() >> (16 - size);
  bits.position += size;
  return value < 1 << (size - 1) ? value - (1 << size) + 1 : value;
}

/** From the samples to the left, above, and above to the left (T.81, table H.1). */
function predicted(predictor: number, left: number, above: number, corner: number): number {
  switch (predictor) {
    case 1:
      return left;
    case 2:
      return above;
    case 3:
      return corner;
    case 4:
      return left + above - corner;
    case 5:
      return left + ((above - corner) >> 1);
    case 6:
      return above + ((left - corner) >> 1);
    default:
      return (left + above) >> 1;
  }
}

/**
 * Whether behind the last sample of a part there are only bits all alike, up to a whole byte, or up to a whole word as some writers
 * fill up. More, or anything else, means that the samples came from a damaged stream.
 */
export function isPadding(bytes: Uint8Array, positionBits: number): boolean {
  const rest = bytes.subarray(positionBits >> 3);
  if (positionBits > bytes.length * 8 || rest.length > 4) return false;
  const used = 0xff >> (positionBits & 7);
  const [first = 0xff, ...others] = rest;
  return (
    ((first & used) === 0 && others.every((byte) => byte === 0)) ||
    ((first & used) === used && others.every((byte) => byte === 0xff))
  );
}

/** All samples in the order of the stream: components of one place beside each other, line by line. Throws StillDamage. */
export function decodeLossless(bytes: Buffer, header: LosslessHeader): Uint16Array {
  const { lines, samplesPerLine, components, predictor, precision, pointTransform } = header;
  const width = samplesPerLine * components;
  // No code is shorter than a bit, so that the claim is held against the bytes before room is made for it.
  if (width * lines > 8 * bytes.length)
    throw new StillDamage(`${width * lines} samples in ${bytes.length} bytes`);
  const known = new Map<HuffmanSpec, Uint16Array>();
  const tables = header.tables.map((spec) => {
    const table = known.get(spec) ?? codeTable(spec);
    known.set(spec, table);
    return table;
  });
  const linesInPart = header.restartLines === 0 ? lines : header.restartLines;
  const parts = codedParts(bytes, header.scanStart, Math.ceil(lines / linesInPart));
  const out = new Uint16Array(width * lines);
  const start = 1 << (precision - pointTransform - 1);
  for (const [index, part] of parts.entries()) {
    const coded = unstuffed(bytes, part);
    const bits = new Bits(coded);
    const firstLine = index * linesInPart;
    for (let line = firstLine; line < Math.min(lines, firstLine + linesInPart); line += 1) {
      for (let column = 0; column < width; column += 1) {
        const at = line * width + column;
        const above = line === firstLine ? 0 : (out[at - width] as number);
        // T.81, H.1.2.1: the first sample of a part is predicted from the middle, its first line from the left, and each line's start from above.
        const guess =
          column >= components
            ? line === firstLine
              ? (out[at - components] as number)
              : predicted(
                  predictor,
                  out[at - components] as number,
                  above,
                  out[at - width - components] as number,
                )
            : line === firstLine
              ? start
              : above;
        out[at] = guess + difference(bits, tables[column % components] as Uint16Array);
        if (bits.left < 0) throw new StillDamage(`the coded samples end in line ${line + 1} of ${lines}`);
      }
    }
    if (!isPadding(coded, bits.position))
      throw new StillDamage(
        `${bits.left} bits are left behind line ${Math.min(lines, firstLine + linesInPart)}: the coded samples are damaged`,
      );
  }
  if (pointTransform > 0)
    for (let at = 0; at < out.length; at += 1) out[at] = (out[at] as number) << pointTransform;
  const most = 2 ** precision - 1;
  for (let at = 0; at < out.length; at += 1)
    if ((out[at] as number) > most)
      throw new StillDamage(
        `sample ${out[at]} in a JPEG stream of ${precision} bits: the coded samples are damaged`,
      );
  return out;
}
