/** How small burnt-in letters may be, so that a file of the codec can still be read for them. */
import type { Profile } from '../schema.ts';

export function smallestLetters(_video: Profile['video']): number {
  return 8;
}
