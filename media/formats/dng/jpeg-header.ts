/** Headers of a lossless JPEG stream (ITU-T T.81, process 14: Huffman, lossless, sequential). */
import { StillDamage } from '../still.ts';

/** Codes of a DHT segment (T.81, B.2.4.2), shortest first. */
export interface HuffmanSpec {
  /** How many codes there are of 1 to 16 bits. */
  readonly counts: readonly number[];
  /** What they stand for: how many bits of difference follow, 0 to 16. */
  readonly values: readonly number[];
}

export interface LosslessHeader {
  readonly precision: number;
  readonly lines: number;
  /** Of each component. */
  readonly samplesPerLine: number;
  /** 1 to 4, interleaved sample by sample. */
  readonly components: number;
  /** 1 to 7 (T.81, table H.1). */
  readonly predictor: number;
  /** Bits that were shifted out before coding. */
  readonly pointTransform: number;
  /** Lines between restart markers; 0: none. */
  readonly restartLines: number;
  /** For each component. */
  readonly tables: readonly HuffmanSpec[];
  /** Where the coded samples start. */
  readonly scanStart: number;
}

const MARKER = { SOF3: 0xc3, DHT: 0xc4, SOI: 0xd8, EOI: 0xd9, SOS: 0xda, DNL: 0xdc, DRI: 0xdd } as const;

function readTables(segment: Uint8Array, tables: Map<number, HuffmanSpec>): void {
  let at = 0;
  while (at < segment.length) {
    const id = segment[at] as number;
    const counts = [...segment.subarray(at + 1, at + 17)];
    const total = counts.reduce((sum, count) => sum + count, 0);
    const values = [...segment.subarray(at + 17, at + 17 + total)];
    if (counts.length < 16 || values.length < total) throw new StillDamage('a Huffman table is cut off');
    if (id > 3) throw new StillDamage(`a Huffman table of class and number ${id}`);
    // Codes are handed out in order: each length must have room for its own behind the shorter ones.
    let code = 0;
    for (const [index, count] of counts.entries()) {
      code += count;
      if (code > 1 << (index + 1)) throw new StillDamage('a Huffman table with more codes than there can be');
      code <<= 1;
    }
    if (total === 0 || values.some((value) => value > 16))
      throw new StillDamage('a Huffman table of no differences');
    tables.set(id, { counts, values });
    at += 17 + total;
  }
}

/** Throws StillDamage for what is no such stream, whatever is wrong with it. */
export function readLosslessHeader(bytes: Uint8Array): LosslessHeader {
  const u16 = (at: number): number => ((bytes[at] as number) << 8) | (bytes[at + 1] as number);
  if (bytes.length < 4 || u16(0) !== (0xff00 | MARKER.SOI)) throw new StillDamage('no JPEG stream');
  const tables = new Map<number, HuffmanSpec>();
  let frame: { precision: number; lines: number; samplesPerLine: number; ids: number[] } | null = null;
  let restartSamples = 0;
  let at = 2;
  for (;;) {
    while (bytes[at] === 0xff && bytes[at + 1] === 0xff) at += 1;
    if (at + 4 > bytes.length) throw new StillDamage('the JPEG header is cut off');
    if (bytes[at] !== 0xff) throw new StillDamage(`no JPEG marker at byte ${at}`);
    const marker = bytes[at + 1] as number;
    const length = u16(at + 2);
    const start = at + 4;
    const end = at + 2 + length;
    if (length < 2 || end > bytes.length) throw new StillDamage('the JPEG header is cut off');
    const segment = bytes.subarray(start, end);
    at = end;
    if (marker === MARKER.DHT) readTables(segment, tables);
    else if (marker === MARKER.DRI) {
      if (segment.length !== 2) throw new StillDamage('a restart interval that is none');
      restartSamples = u16(start);
    } else if (marker === MARKER.SOF3) {
      const count = segment[5] ?? 0;
      if (frame !== null || segment.length !== 6 + 3 * count)
        throw new StillDamage('a JPEG frame header that is none');
      frame = {
        precision: segment[0] as number,
        lines: u16(start + 1),
        samplesPerLine: u16(start + 3),
        ids: Array.from({ length: count }, (_, index) => segment[6 + 3 * index] as number),
      };
      if (frame.precision < 2 || frame.precision > 16)
        throw new StillDamage(`JPEG samples of ${frame.precision} bits`);
      if (frame.lines === 0 || frame.samplesPerLine === 0)
        throw new StillDamage(`a JPEG picture of ${frame.samplesPerLine}x${frame.lines}`);
      if (count < 1 || count > 4) throw new StillDamage(`${count} JPEG components`);
      // One component alone is not sampled against anything.
      if (count > 1 && frame.ids.some((_, index) => segment[7 + 3 * index] !== 0x11))
        throw new StillDamage('JPEG components of different sampling');
    } else if (marker === MARKER.SOS) {
      return scanOf(segment, { frame, tables, restartSamples, scanStart: end });
    } else if (marker >= 0xc0 && marker <= 0xcf && marker !== 0xc8 && marker !== 0xcc) {
      throw new StillDamage(`JPEG process SOF${marker - 0xc0}, only SOF3 is lossless with Huffman codes`);
    } else if (marker < 0xe0 && marker !== 0xdb) {
      throw new StillDamage(`JPEG marker ${marker.toString(16)} before the samples`);
    }
  }
}

/** What the segments before the scan's own have said. */
interface BeforeScan {
  readonly frame: { precision: number; lines: number; samplesPerLine: number; ids: number[] } | null;
  readonly tables: ReadonlyMap<number, HuffmanSpec>;
  readonly restartSamples: number;
  /** Byte behind the scan's header. */
  readonly scanStart: number;
}

function scanOf(
  segment: Uint8Array,
  { frame, tables, restartSamples, scanStart }: BeforeScan,
): LosslessHeader {
  const count = segment[0] ?? 0;
  if (frame === null || segment.length !== 4 + 2 * count)
    throw new StillDamage('a JPEG scan header that is none');
  const { ids, ...picture } = frame;
  if (count !== ids.length) throw new StillDamage(`a JPEG scan of ${count} of ${ids.length} components`);
  const chosen = ids.map((id, index) => {
    if (segment[1 + 2 * index] !== id)
      throw new StillDamage('a JPEG scan of components that are not in the frame');
    const table = tables.get((segment[2 + 2 * index] as number) >> 4);
    if (table === undefined) throw new StillDamage('a JPEG scan without its Huffman table');
    return table;
  });
  const [predictor, , shifts] = segment.subarray(1 + 2 * count) as unknown as [number, number, number];
  if (predictor < 1 || predictor > 7) throw new StillDamage(`JPEG predictor ${predictor}`);
  const pointTransform = shifts & 15;
  if (shifts >> 4 !== 0 || pointTransform >= picture.precision)
    throw new StillDamage(`JPEG point transform ${shifts}`);
  // T.81, H.1.1: whole lines only.
  if (restartSamples % picture.samplesPerLine !== 0)
    throw new StillDamage(
      `a restart interval of ${restartSamples} samples in lines of ${picture.samplesPerLine}`,
    );
  return {
    ...picture,
    components: count,
    predictor,
    pointTransform,
    restartLines: restartSamples / picture.samplesPerLine,
    tables: chosen,
    scanStart,
  };
}
