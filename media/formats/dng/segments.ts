/**
 * The coded samples of a JPEG scan, part by part between restart markers, with the stuffed zero bytes taken out (ITU-T T.81,
 * B.1.1.5). Where a part ends is decided here, by markers alone.
 */
import { StillDamage } from '../still.ts';

const EOI = 0xd9;
const RST0 = 0xd0;

/** Position of the next marker's 0xff from `at` on, past stuffed bytes; -1 when there is none. */
function nextMarker(bytes: Buffer, at: number): number {
  for (let from = at; ; ) {
    const found = bytes.indexOf(0xff, from);
    if (found < 0 || found + 1 >= bytes.length) return -1;
    const after = bytes[found + 1] as number;
    if (after === 0xff) from = found + 1;
    else if (after === 0) from = found + 2;
    else return found;
  }
}

export interface CodedPart {
  readonly start: number;
  /** Of the marker that follows. */
  readonly end: number;
}

/** What must stand behind part `index` of `count`: RST0, RST1, … RST7, RST0, and EOI behind the last. `at`: the marker's place, -1 for none. Throws StillDamage. */
export function requireMarker(bytes: Buffer, at: number, index: number, count: number): void {
  if (at < 0) throw new StillDamage(`the JPEG stream ends in part ${index + 1} of ${count}`);
  const marker = bytes[at + 1] as number;
  const wanted = index === count - 1 ? EOI : RST0 + (index & 7);
  if (marker !== wanted)
    throw new StillDamage(
      `JPEG marker ${marker.toString(16)} behind part ${index + 1} of ${count}, ${wanted.toString(16)} is wanted`,
    );
}

/** Exactly `count` parts, each with the marker behind it that it must have. Throws StillDamage for anything else. */
export function codedParts(bytes: Buffer, scanStart: number, count: number): CodedPart[] {
  const parts: CodedPart[] = [];
  let start = scanStart;
  for (let index = 0; index < count; index += 1) {
    const end = nextMarker(bytes, start);
    requireMarker(bytes, end, index, count);
    parts.push({ start, end });
    start = end + 2;
  }
  return parts;
}

/** The part without stuffed bytes; fill bytes (0xff before a marker) are gone as well. */
export function unstuffed(bytes: Buffer, part: CodedPart): Buffer {
  const out = Buffer.allocUnsafe(part.end - part.start);
  let written = 0;
  let from = part.start;
  while (from < part.end) {
    const found = bytes.indexOf(0xff, from);
    const stop = found < 0 ? part.end : Math.min(found, part.end);
    bytes.copy(out, written, from, stop);
    written += stop - from;
    from = stop + 1;
    if (stop < part.end && bytes[from] === 0) {
      out[written++] = 0xff;
      from += 1;
    }
  }
  return out.subarray(0, written);
}
