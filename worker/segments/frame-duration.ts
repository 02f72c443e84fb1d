/**
 * How long a frame is, as Matroska says it: in whole nanoseconds (RFC 9559, DefaultDuration). Reading it back ffmpeg makes a rate of it whose numerator is 30000 at most
 * (libavformat/matroskadec.c), so that 60000/1001 comes back as 19001/317, and what is copied from there would say a nanosecond less; at 48000/1001 it is three. What `-r` says of a
 * stream that is copied ffmpeg 5.1 does not pass on. So the joined file is told what the encoder told the first segment, whose rate was exact: the same number of bytes in the
 * same place, and the checksum of the element around it anew.
 */
import { type FileHandle, open } from 'node:fs/promises';
import { crc32 } from 'node:zlib';
import { fsPath } from '../../files/names.ts';

/** Tracks stand within the first few kilobytes. */
const HEAD = 64 * 1024;
const ID = {
  segment: 0x18538067,
  tracks: 0x1654ae6b,
  crc: 0xbf,
  track: 0xae,
  type: 0x83,
  frame: 0x23e383,
} as const;
const VIDEO = 1;

interface Element {
  readonly id: number;
  /** Of its content: from, and behind its last byte. */
  readonly from: number;
  readonly to: number;
}

/** Elements one behind the other (RFC 8794, 4 to 6), as far as their heads can be read. One of unknown size reaches to the end. */
function* elementsIn(bytes: Buffer, from: number, to: number): Generator<Element> {
  for (let at = from; at + 2 <= to; ) {
    const idLength = Math.clz32(bytes[at] as number) - 23;
    const sizeAt = at + idLength;
    if (idLength > 4 || sizeAt >= to) return;
    const sizeLength = Math.clz32(bytes[sizeAt] as number) - 23;
    const content = sizeAt + sizeLength;
    if (sizeLength > 8 || content > to) return;
    let size = (bytes[sizeAt] as number) & (0xff >> sizeLength);
    let isUnknown = size === 0xff >> sizeLength;
    for (const byte of bytes.subarray(sizeAt + 1, content)) {
      size = size * 256 + byte;
      isUnknown &&= byte === 0xff;
    }
    const end = isUnknown ? to : Math.min(to, content + size);
    yield { id: bytes.readUIntBE(at, idLength), from: content, to: end };
    at = end;
  }
}

export interface FrameDuration {
  /** Big-endian, as it stands there. */
  readonly bytes: Buffer;
  readonly at: number;
  /** Of all tracks: where their checksum stands, and what it is of; null: they have none. */
  readonly checked: { readonly at: number; readonly from: number; readonly to: number } | null;
}

/** Of the first picture track; null: it does not say. Pure. */
export function frameDurationIn(head: Buffer): FrameDuration | null {
  for (const segment of elementsIn(head, 0, head.length)) {
    if (segment.id !== ID.segment) continue;
    for (const tracks of elementsIn(head, segment.from, segment.to)) {
      if (tracks.id !== ID.tracks) continue;
      const inside = [...elementsIn(head, tracks.from, tracks.to)];
      const [first] = inside;
      // It stands first, four bytes, and is of all that follows (RFC 8794, 11.3.1).
      const checked =
        first?.id === ID.crc && first.to - first.from === 4
          ? { at: first.from, from: first.to, to: tracks.to }
          : null;
      for (const track of inside.filter(({ id }) => id === ID.track)) {
        const own = [...elementsIn(head, track.from, track.to)];
        const isVideo = own.some(
          ({ id, from, to }) => id === ID.type && to - from === 1 && head[from] === VIDEO,
        );
        const frame = own.find(({ id }) => id === ID.frame);
        if (isVideo && frame !== undefined)
          return { bytes: head.subarray(frame.from, frame.to), at: frame.from, checked };
      }
    }
  }
  return null;
}

/** What takes the place of what: `head` says then what `duration` says. null: it cannot, or says so already. Pure. */
export function withFrameDuration(head: Buffer, duration: Buffer): Buffer | null {
  const own = frameDurationIn(head);
  if (own === null || own.bytes.length !== duration.length || own.bytes.equals(duration)) return null;
  const changed = Buffer.from(head);
  duration.copy(changed, own.at);
  const { checked } = own;
  // Little-endian, alone of all numbers (RFC 8794, 11.3.1).
  if (checked !== null) changed.writeUInt32LE(crc32(changed.subarray(checked.from, checked.to)), checked.at);
  return changed;
}

/** Makes the file at `joined` say of its frames what the one at `segment` says. Where it cannot, the file stays as it is, for the checker to judge. */
export async function sayFrameDuration(joined: string, segment: string): Promise<void> {
  const said = await withOpen(segment, 'r', async (handle) => frameDurationIn(await headOf(handle)));
  if (said === null) return;
  await withOpen(joined, 'r+', async (handle) => {
    const changed = withFrameDuration(await headOf(handle), said.bytes);
    if (changed !== null) await handle.write(changed, 0, changed.length, 0);
  });
}

async function headOf(handle: FileHandle): Promise<Buffer> {
  const { buffer, bytesRead } = await handle.read(Buffer.alloc(HEAD), 0, HEAD, 0);
  return buffer.subarray(0, bytesRead);
}

async function withOpen<Result>(
  path: string,
  flags: string,
  use: (handle: FileHandle) => Promise<Result>,
): Promise<Result> {
  const handle = await open(fsPath(path), flags);
  try {
    return await use(handle);
  } finally {
    await handle.close();
  }
}
