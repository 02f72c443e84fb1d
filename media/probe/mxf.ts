/**
 * The header partition of an MXF file (SMPTE ST 377-1): where the footer should be, whether the file was closed, and
 * the timecode components with their own label base and drop flag, which ffprobe does not print.
 * Bytes checked against files written by ffmpeg and against its muxer's source (libavformat/mxfenc.c).
 */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../files/bytes.ts';

export interface MxfTimecode {
  /** Frames since 00:00:00:00, drop-frame already taken into account. */
  readonly start: number;
  readonly base: number;
  readonly drop: boolean;
}

const HEADER_PARTITION = Buffer.from('060e2b34020501010d010201010200', 'hex').subarray(0, 14);
const RANDOM_INDEX_PACK = Buffer.from('060e2b34020501010d01020101110100', 'hex');
const TIMECODE_COMPONENT = Buffer.from('060e2b34025301010d01010101011400', 'hex');
const START = 0x1501;
const BASE = 0x1502;
const DROP = 0x1503;
/** Partition status of closed partitions: closed and incomplete, closed and complete. */
const CLOSED = [0x02, 0x04];
/** Longer than any set of a timecode component; and more of them than any file has. */
const MOST_SET_BYTES = 4096;
const MOST_COMPONENTS = 1024;
/** Header metadata beyond this is not searched; real headers are some tens of kilobytes. */
const MOST_METADATA_BYTES = 4 * 1024 * 1024;

/** Length of a BER field at `offset`, and where the value starts; null when it is none. */
function berLength(bytes: Buffer, offset: number): { length: number; value: number } | null {
  const first = bytes[offset];
  if (first === undefined) return null;
  if (first < 0x80) return { length: first, value: offset + 1 };
  const count = first & 0x7f;
  if (count === 0 || count > 6 || offset + 1 + count > bytes.length) return null;
  return { length: bytes.readUIntBE(offset + 1, count), value: offset + 1 + count };
}

/** Reads one local set: 2-byte tag, 2-byte length, value. */
function timecodeOf(set: Buffer): MxfTimecode | null {
  let start: number | null = null;
  let base: number | null = null;
  let drop: boolean | null = null;
  for (let offset = 0; offset + 4 <= set.length; ) {
    const tag = set.readUInt16BE(offset);
    const length = set.readUInt16BE(offset + 2);
    const value = set.subarray(offset + 4, offset + 4 + length);
    if (tag === START && value.length === 8) start = Number(value.readBigInt64BE());
    if (tag === BASE && value.length === 2) base = value.readUInt16BE();
    if (tag === DROP && value.length === 1) drop = value[0] !== 0;
    offset += 4 + length;
  }
  return start === null || base === null || drop === null ? null : { start, base, drop };
}

function timecodesOf(metadata: Buffer): MxfTimecode[] {
  const found: MxfTimecode[] = [];
  for (
    let at = metadata.indexOf(TIMECODE_COMPONENT);
    at >= 0 && found.length < MOST_COMPONENTS;
    at = metadata.indexOf(TIMECODE_COMPONENT, at + 16)
  ) {
    const ber = berLength(metadata, at + 16);
    if (ber === null) continue;
    const timecode = timecodeOf(
      metadata.subarray(ber.value, ber.value + Math.min(ber.length, MOST_SET_BYTES)),
    );
    if (timecode !== null) found.push(timecode);
  }
  return found;
}

/** A random index pack ends the file, and its last four bytes are its own length: a file that has it was finished. */
async function endsWithIndexPack(handle: FileHandle, fileBytes: number): Promise<boolean> {
  const last = await readAt(handle, Math.max(0, fileBytes - 4), 4);
  if (last.length < 4) return false;
  const length = last.readUInt32BE();
  if (length < 20 || length > fileBytes) return false;
  return (await readAt(handle, fileBytes - length, 16)).equals(RANDOM_INDEX_PACK);
}

/** Null when the file does not start with a header partition (a run-in of up to 64 KiB is allowed and skipped). */
export async function readMxf(
  handle: FileHandle,
  fileBytes: number,
): Promise<{ footer: number; closed: boolean; timecodes: MxfTimecode[] } | null> {
  const head = await readAt(handle, 0, 65_536 + 128);
  const start = head.indexOf(HEADER_PARTITION);
  if (start < 0 || start > 65_536) return null;
  const ber = berLength(head, start + 16);
  const status = head[start + 14];
  if (ber === null || status === undefined || ber.value + 40 > head.length) return null;
  // Versions (2 + 2), KAG size (4), this and previous partition (8 + 8), then footer partition and header byte count.
  const footer = Number(head.readBigUInt64BE(ber.value + 24));
  const metadataBytes = Number(head.readBigUInt64BE(ber.value + 32));
  // A fill item of up to one KAG may stand before the metadata and is not counted.
  const metadata = await readAt(
    handle,
    ber.value + ber.length,
    Math.min(metadataBytes + head.readUInt32BE(ber.value + 4), MOST_METADATA_BYTES),
  );
  const closed =
    CLOSED.includes(status) ||
    (footer > 0 && footer < fileBytes) ||
    (await endsWithIndexPack(handle, fileBytes));
  return { footer: footer === 0 ? 0 : start + footer + 16, closed, timecodes: timecodesOf(metadata) };
}
