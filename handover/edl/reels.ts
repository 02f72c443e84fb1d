/**
 * Reels of eight characters, as lists in the CMX 3600 form have them, for reels that are called otherwise. A reel of A to Z and 0 to 9, at most eight of
 * them, keeps its name, and so small letters become capitals. Every other one, and a name that the form gives a meaning of its own, gets the first four
 * of such characters and four of its SHA-256: always the same for the same reel. The list has the whole name beside it. Pure.
 */
import { createHash } from 'node:crypto';

const LONGEST = 8;
const KEPT = 4;
/** No source, an auxiliary one, black and bars. */
const TAKEN: ReadonlySet<string> = new Set(['AX', 'BL', 'BLACK', 'BARS', 'NONE']);

/** Four digits of base 36. `again`: from 1, where two reels of a day came to the same. */
function digits(reel: string, again: number): string {
  const hash = createHash('sha256')
    .update(`${again === 0 ? '' : `${again}:`}${reel}`)
    .digest();
  return (hash.readUInt32BE(0) % 36 ** KEPT).toString(36).toUpperCase().padStart(KEPT, '0');
}

function shortReel(reel: string, again = 0): string {
  const plain = reel.toUpperCase();
  if (again === 0 && /^[A-Z0-9]{1,8}$/.test(plain) && !TAKEN.has(plain)) return plain;
  const kept = plain.normalize('NFKD').replaceAll(/[^A-Z0-9]/g, '');
  return `${kept.slice(0, LONGEST - KEPT)}${digits(reel, again)}`;
}

/** By reel: each its own. Names that fit come first, so that none of them is given away. */
export function shortReels(reels: Iterable<string>): Map<string, string> {
  const all = [...new Set(reels)].sort((a, b) => (a < b ? -1 : 1));
  const given = new Map<string, string>();
  const used = new Set<string>();
  const fits = (reel: string): boolean => shortReel(reel) === reel;
  for (const reel of [...all.filter(fits), ...all.filter((one) => !fits(one))]) {
    let again = 0;
    let short = shortReel(reel);
    while (used.has(short)) {
      again += 1;
      short = shortReel(reel, again);
    }
    used.add(short);
    given.set(reel, short);
  }
  return given;
}
