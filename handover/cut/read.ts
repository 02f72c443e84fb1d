/** A cut from a file, whichever of the two forms it is of: by what it begins with, not by its name. Pure. */
import { cutOfEdl } from './edl.ts';
import type { Cut } from './form.ts';
import { cutOfOtio } from './otio.ts';

export function readCut(bytes: Buffer): Cut {
  // Older lists are in a code page of their own: bytes that are no UTF-8 stand in names alone, and every other rule is of ASCII.
  const text = decoded(bytes);
  return /^\uFEFF?\s*[{[]/.test(text) ? cutOfOtio(text) : cutOfEdl(text);
}

function decoded(bytes: Buffer): string {
  try {
    return new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(bytes);
  } catch {
    return bytes.toString('latin1');
  }
}
