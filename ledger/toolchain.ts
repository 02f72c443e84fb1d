/** What made or measured something: versions that must be the same for the same bytes to come out. */
import { z } from 'zod';

export const toolSchema = z.object({ name: z.string(), version: z.string(), /** SHA-256 of the program's own version and build lines. */ build: z.string() });
export type Tool = z.infer<typeof toolSchema>;

export const toolchainSchema = z.object({
  rushlight: z.string(),
  /** Raised by hand whenever the same profile would give other bytes than before. */
  recipe: z.int().positive(),
  tools: z.array(toolSchema),
  /** SHA-256 over all of the above: equal fingerprints promise equal bytes. */
  fingerprint: z.string(),
});
export type Toolchain = z.infer<typeof toolchainSchema>;
