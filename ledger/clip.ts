/** A clip and where its bytes lie in the roll. */
import { z } from 'zod';

/** Paths are relative to the roll, `/` between parts; bytes that are not UTF-8 are kept (see files/names.ts). */
const clipPlaceSchema = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('movie'), file: z.string() }),
  z.object({
    kind: z.literal('sequence'),
    /** Folder relative to the roll, `` for the roll itself. */
    folder: z.string(),
    prefix: z.string(),
    suffix: z.string(),
    /** Digits of the zero-padded number; 0 when numbers are not padded. */
    padding: z.int().nonnegative(),
    first: z.int().nonnegative(),
    count: z.int().positive(),
    /** The rate when the user states it, since many stills carry none. */
    statedRate: z.object({ num: z.int().positive(), den: z.int().positive() }).nullable(),
  }),
]);
export type ClipPlace = z.infer<typeof clipPlaceSchema>;

export const clipSchema = z.object({
  /** Unique in the roll, safe as a file name: names reports and deliverables. */
  id: z.string(),
  /** As the camera named it, for people. */
  name: z.string(),
  place: clipPlaceSchema,
  bytes: z.int().nonnegative(),
  /** SHA-256 over the sorted list of (path, size, checksum) of the clip's files as intake read them: same content, same digest. */
  contentDigest: z.string(),
});
export type Clip = z.infer<typeof clipSchema>;
