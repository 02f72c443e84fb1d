/** How large and how good the pictures of a page are, so that a page stays small enough to be sent and opened at once. Pure. */
import { jpegOf } from '../picture/jpeg.ts';
import type { Picture } from '../picture/picture.ts';

/** Of the whole file. */
export const MOST_BYTES = 5_900_000;
/** Of a clip beside its picture, and of all that is there once. */
const WORDS_OF_A_CLIP = 1_500;
const WORDS = 150_000;

const BOXES = [
  { clips: 400, box: { width: 320, height: 180 } },
  { clips: 900, box: { width: 240, height: 135 } },
  { clips: 2000, box: { width: 160, height: 90 } },
] as const;

/** null: so many clips have no room for a picture each. */
export function boxFor(clips: number): { readonly width: number; readonly height: number } | null {
  return BOXES.find((one) => clips <= one.clips)?.box ?? null;
}

const QUALITIES = [80, 68, 54, 38, 22] as const;

const base64Length = (bytes: number): number => 4 * Math.ceil(bytes / 3);

/** Each as JPEG in Base64, in the best quality in which all fit into a page of `most` bytes; null: they fit in none. */
export function packed(pictures: readonly Picture[], most = MOST_BYTES): string[] | null {
  const room = most - WORDS - WORDS_OF_A_CLIP * pictures.length;
  for (const quality of QUALITIES) {
    const files: Buffer[] = [];
    let length = 0;
    for (const picture of pictures) {
      const file = jpegOf(picture, quality);
      length += base64Length(file.length);
      if (length > room) break;
      files.push(file);
    }
    if (length <= room) return files.map((file) => file.toString('base64'));
  }
  return null;
}
