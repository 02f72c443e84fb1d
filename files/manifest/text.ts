/**
 * The text encodings of manifests. UTF-8 is what every kind asks for. A byte order mark before it, and UTF-16 as
 * programs on Windows write it, leave no doubt about what is meant, and are read.
 */
import { TextDecoder } from 'node:util';

export interface PlainBytes {
  /** Without a byte order mark. UTF-8 where they were UTF-16; else as they were: names may hold any bytes. */
  readonly bytes: Buffer;
  readonly from: 'bytes' | 'utf-16le' | 'utf-16be';
}

/** Every kind of manifest begins with an ASCII character, so that its zero half gives UTF-16 away without a mark. */
function utf16Of(bytes: Buffer): { from: 'utf-16le' | 'utf-16be'; mark: number } | null {
  const [first, second] = [bytes[0], bytes[1]];
  if (first === 0xff && second === 0xfe) return { from: 'utf-16le', mark: 2 };
  if (first === 0xfe && second === 0xff) return { from: 'utf-16be', mark: 2 };
  if (first === 0 && second !== undefined && second !== 0) return { from: 'utf-16be', mark: 0 };
  if (first !== undefined && first !== 0 && second === 0) return { from: 'utf-16le', mark: 0 };
  return null;
}

/** null: it begins as UTF-16 does and is not UTF-16 to its end. */
export function plainBytes(bytes: Buffer): PlainBytes | null {
  const wide = utf16Of(bytes);
  if (wide !== null) {
    try {
      const text = new TextDecoder(wide.from, { fatal: true }).decode(bytes.subarray(wide.mark));
      return { bytes: Buffer.from(text, 'utf8'), from: wide.from };
    } catch {
      // Told by the answer.
      return null;
    }
  }
  const marked = bytes[0] === 0xef && bytes[1] === 0xbb && bytes[2] === 0xbf;
  return { bytes: marked ? bytes.subarray(3) : bytes, from: 'bytes' };
}

/** The same text with memory of its own: a part of a long text keeps all of it in memory. */
export function ownText(text: string): string {
  return Buffer.from(text, 'utf16le').toString('utf16le');
}
