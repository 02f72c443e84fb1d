/** What a file is by its first bytes, where its name does not say it. */
import { open } from 'node:fs/promises';
import { codeOf } from '../../files/error-code.ts';
import { aFewAtOnce } from '../../files/folder-digest.ts';
import { fsPath } from '../../files/names.ts';

/** `movie`: a container that is given to ffmpeg. `frame`: a still of a numbered sequence. `audio`: production sound or an export. */
export type ContentKind = 'movie' | 'frame' | 'audio';
export interface Content {
  readonly kind: ContentKind;
  /** For people: the name of the form. */
  readonly form: string;
}

/** Five packets of the longer form of MPEG transport streams. */
export const HEAD_BYTES = 4 * 192 + 5;

const startsWith = (head: Buffer, bytes: readonly number[]): boolean =>
  head.length >= bytes.length && bytes.every((byte, index) => head[index] === byte);
const ascii = (head: Buffer, from: number, to: number): string => head.subarray(from, to).toString('latin1');

/** ISO/IEC 14496-12 4.2: size (32 bits, 1: a longer one follows, 0: to the end), then the type. */
function isoBaseMedia(head: Buffer, fileBytes: number): Content | null {
  if (head.length < 12) return null;
  const size = head.readUInt32BE(0);
  const type = ascii(head, 4, 8);
  const fits = size === 0 || size === 1 || (size >= 8 && size <= fileBytes);
  if (!fits) return null;
  if (type === 'ftyp') {
    const brand = ascii(head, 8, 12);
    // Brands of pictures and of audio (ISO/IEC 23008-12; M4A and crx are from memory, no source): no movies.
    if (/^(?:heic|heix|heim|heis|mif1|avif|crx )$/.test(brand)) return null;
    return /^(?:M4A |M4B )$/.test(brand)
      ? { kind: 'audio', form: 'MPEG-4 audio' }
      : { kind: 'movie', form: 'QuickTime or MP4' };
  }
  // QuickTime File Format Specification: files without ftyp begin with one of these atoms.
  return ['moov', 'mdat', 'wide', 'free', 'skip', 'pnot'].includes(type)
    ? { kind: 'movie', form: 'QuickTime or MP4' }
    : null;
}

/** RFC 8794 11.2.1 (EBML header), RFC 9559 (DocType matroska), and the WebM container guidelines (DocType webm). */
function ebml(head: Buffer): Content | null {
  if (!startsWith(head, [0x1a, 0x45, 0xdf, 0xa3])) return null;
  const text = ascii(head, 0, 64);
  return text.includes('webm')
    ? { kind: 'movie', form: 'WebM' }
    : text.includes('matroska')
      ? { kind: 'movie', form: 'Matroska' }
      : null;
}

/** SMPTE ST 377-1 7.1: a partition pack's key. A run-in before it is not looked for. */
function mxf(head: Buffer): Content | null {
  return startsWith(head, [0x06, 0x0e, 0x2b, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0d, 0x01, 0x02, 0x01, 0x01])
    ? { kind: 'movie', form: 'MXF' }
    : null;
}

/** RIFF (Microsoft and IBM, Multimedia Programming Interface 1.0, 1991), RF64 (EBU Tech 3306). */
function riff(head: Buffer): Content | null {
  const [outer, inner] = [ascii(head, 0, 4), ascii(head, 8, 12)];
  if (outer === 'RIFF' && inner === 'AVI ') return { kind: 'movie', form: 'AVI' };
  return (outer === 'RIFF' || outer === 'RF64') && inner === 'WAVE' ? { kind: 'audio', form: 'WAVE' } : null;
}

/** ISO/IEC 13818-1 2.4.3.2: packets of 188 bytes that begin with 0x47; with four bytes of arrival time in front, 192 (from memory). */
function transportStream(head: Buffer): Content | null {
  const packets = (first: number, step: number): boolean =>
    [0, 1, 2, 3, 4].every((index) => head[first + index * step] === 0x47);
  return packets(0, 188) || packets(4, 192) ? { kind: 'movie', form: 'an MPEG transport stream' } : null;
}

/** TIFF 6.0 section 2 (also of DNG); OpenEXR File Layout, magic number; SMPTE ST 268-1, magic number. */
function still(head: Buffer): Content | null {
  if (startsWith(head, [0x49, 0x49, 0x2a, 0]) || startsWith(head, [0x4d, 0x4d, 0, 0x2a]))
    return { kind: 'frame', form: 'TIFF or DNG' };
  if (startsWith(head, [0x76, 0x2f, 0x31, 0x01])) return { kind: 'frame', form: 'OpenEXR' };
  return ['SDPX', 'XPDS'].includes(ascii(head, 0, 4)) ? { kind: 'frame', form: 'DPX' } : null;
}

/** `head`: the first `HEAD_BYTES` bytes, or all of a shorter file. Null: none of the forms in this file. Pure. */
export function contentOf(head: Buffer, fileBytes: number): Content | null {
  return (
    isoBaseMedia(head, fileBytes) ??
    ebml(head) ??
    mxf(head) ??
    riff(head) ??
    transportStream(head) ??
    still(head)
  );
}

/** Null also for what cannot be opened: whoever reads all of it says so, and who reads no more is given the error's code. */
export async function contentOfFile(
  path: string,
  onUnread: (code: string) => void = () => undefined,
): Promise<Content | null> {
  try {
    const handle = await open(fsPath(path), 'r');
    try {
      const { size } = await handle.stat();
      const { buffer, bytesRead } = await handle.read(Buffer.alloc(HEAD_BYTES), 0, HEAD_BYTES, 0);
      return contentOf(buffer.subarray(0, bytesRead), size);
    } finally {
      await handle.close();
    }
  } catch (error) {
    onUnread(codeOf(error) || String(error));
    return null;
  }
}

/** By path, of the files below `folder` that are one of these forms. */
export async function contentsOf(
  folder: string,
  paths: readonly string[],
  onUnread?: (path: string, code: string) => void,
): Promise<ReadonlyMap<string, Content>> {
  const found = new Map<string, Content>();
  await aFewAtOnce(paths, async (path) => {
    const content = await contentOfFile(`${folder}/${path}`, (code) => onUnread?.(path, code));
    if (content !== null) found.set(path, content);
  });
  return found;
}
