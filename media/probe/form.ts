/**
 * What the bytes themselves say a movie file is, and whether it is whole: a few reads, no decoding. ffprobe does not
 * tell a missing index from noise, says nothing of a cut inside the last packet, and hides MXF's label base.
 */
import { type FileHandle, open } from 'node:fs/promises';
import { readAt } from '../../files/bytes.ts';
import { type MxfTimecode, readMxf } from './mxf.ts';

export const movieForms = ['empty', 'boxes', 'mxf', 'text', 'other'] as const;

export interface MovieForm {
  readonly form: (typeof movieForms)[number];
  readonly fileBytes: number;
  /** Where the file's own structure says that it ends at the earliest; null when it does not say. */
  readonly declaredBytes: number | null;
  /** False when the index (moov) of a box file is not there, or an MXF file was never closed. */
  readonly indexed: boolean;
  /** First line of a text file that calls itself a movie. */
  readonly firstLine: string | null;
  /** Timecode components of an MXF header, in file order. */
  readonly mxfTimecodes: readonly MxfTimecode[];
}

/** Types that a file of boxes (ISO/IEC 14496-12, QuickTime) starts with. */
const FIRST_BOXES = new Set(['ftyp', 'moov', 'mdat', 'wide', 'free', 'skip', 'pnot', 'styp']);

function startsAsBoxes(head: Buffer): boolean {
  return head.length >= 8 && FIRST_BOXES.has(head.toString('latin1', 4, 8));
}

/** Text: no control characters but tab and line ends in what was read, and something in it. */
function firstLineOfText(head: Buffer): string | null {
  if (
    head.length === 0 ||
    head.some((byte) => byte < 0x20 && byte !== 0x09 && byte !== 0x0a && byte !== 0x0d)
  )
    return null;
  const line =
    head
      .toString('utf8')
      .replace(/^\ufeff/, '')
      .split(/[\r\n]/)[0] ?? '';
  return line.slice(0, 80);
}

/** A page of a disk: what stands beside a box's head comes with it. */
const WINDOW_BYTES = 4096;

/** Walks the top-level boxes. A size of 1 stands for 64 bits behind the type, 0 for "to the end of the file" (14496-12, 4.2). */
async function readBoxes(
  handle: FileHandle,
  fileBytes: number,
): Promise<{ declaredBytes: number; indexed: boolean }> {
  let position = 0;
  let indexed = false;
  let at = 0;
  let window: Buffer = Buffer.alloc(0);
  while (position + 8 <= fileBytes) {
    // A file of the smallest boxes, or of noise that looks like them, would otherwise be read by 16 bytes.
    if (position < at || position + 16 > at + window.length) {
      window = await readAt(handle, position, WINDOW_BYTES);
      at = position;
      if (window.length < 8) break;
    }
    const head = window.subarray(position - at, position - at + 16);
    const type = head.toString('latin1', 4, 8);
    let size = head.readUInt32BE(0);
    if (size === 1 && head.length === 16) size = Number(head.readBigUInt64BE(8));
    else if (size === 0) size = fileBytes - position;
    if (size < 8) break;
    if (type === 'moov') indexed = true;
    position += size;
  }
  return { declaredBytes: position, indexed };
}

/** Throws the file system's error when the file cannot be read. */
export async function readForm(path: string | Buffer): Promise<MovieForm> {
  const handle = await open(path, 'r');
  try {
    const fileBytes = (await handle.stat()).size;
    const plain = { fileBytes, declaredBytes: null, indexed: true, firstLine: null, mxfTimecodes: [] };
    if (fileBytes === 0) return { ...plain, form: 'empty' };
    const head = await readAt(handle, 0, 512);
    if (startsAsBoxes(head)) return { ...plain, form: 'boxes', ...(await readBoxes(handle, fileBytes)) };
    const mxf = await readMxf(handle, fileBytes);
    if (mxf !== null)
      return {
        ...plain,
        form: 'mxf',
        declaredBytes: mxf.footer === 0 ? null : mxf.footer,
        indexed: mxf.closed,
        mxfTimecodes: mxf.timecodes,
      };
    const firstLine = firstLineOfText(head);
    if (firstLine !== null) return { ...plain, form: 'text', firstLine };
    return { ...plain, form: 'other' };
  } finally {
    await handle.close();
  }
}
