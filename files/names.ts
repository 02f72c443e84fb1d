/**
 * File names are bytes. Inside Rushlight a name is a string that loses nothing: bytes that are not UTF-8 become lone
 * surrogates U+DC80..U+DCFF (the way of Python's PEP 383), survive JSON as escapes, and turn back into the same bytes.
 */
import { isUtf8 } from 'node:buffer';

const LONE = /[\udc80-\udcff]/;

/** Bytes of a name, as a string without loss. */
export function nameFromBytes(bytes: Buffer): string {
  if (isUtf8(bytes)) return bytes.toString('utf8');
  let text = '';
  let index = 0;
  while (index < bytes.length) {
    const first = bytes[index] as number;
    const length = first < 0x80 ? 1 : first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : first >= 0xc0 ? 2 : 1;
    const part = bytes.subarray(index, index + length);
    if (part.length === length && isUtf8(part)) {
      text += part.toString('utf8');
      index += length;
    } else {
      text += String.fromCharCode(0xdc00 + first);
      index += 1;
    }
  }
  return text;
}

/** True when the name holds bytes that are not UTF-8: it cannot be passed on a command line. */
export function hasRawBytes(name: string): boolean {
  return !name.isWellFormed() && LONE.test(name.replace(/[\ud800-\udbff][\udc00-\udfff]/g, ''));
}

export function nameToBytes(name: string): Buffer {
  const parts: Buffer[] = [];
  for (const character of name) {
    const code = character.codePointAt(0) as number;
    parts.push(
      code >= 0xdc80 && code <= 0xdcff ? Buffer.from([code - 0xdc00]) : Buffer.from(character, 'utf8'),
    );
  }
  return Buffer.concat(parts);
}

/** What to hand to node:fs. */
export function fsPath(path: string): string | Buffer {
  return hasRawBytes(path) ? nameToBytes(path) : path;
}

/** For people: control characters, bytes that are not UTF-8 and direction marks as escapes, so that a name cannot disturb a terminal or page. */
export function printable(name: string): string {
  let out = '';
  for (const character of name) {
    const code = character.codePointAt(0) as number;
    if (code >= 0xdc80 && code <= 0xdcff) out += `\\x${(code - 0xdc00).toString(16)}`;
    else if (character === '\n') out += '\\n';
    else if (
      code < 0x20 ||
      (code >= 0x7f && code < 0xa0) ||
      (code >= 0x200e && code <= 0x200f) ||
      (code >= 0x202a && code <= 0x202e) ||
      (code >= 0x2066 && code <= 0x2069)
    )
      out += `\\u{${code.toString(16)}}`;
    else out += character;
  }
  return out;
}

/** One argument of a command line. Throws RangeError for what a command line cannot carry. */
export function programArgument(text: string): string {
  if (text.includes('\0')) throw new RangeError('a command-line argument cannot hold a NUL byte');
  if (hasRawBytes(text))
    throw new RangeError(`a name that is not UTF-8 cannot stand on a command line: ${printable(text)}`);
  return text;
}
