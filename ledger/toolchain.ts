/** What made or measured something: versions that must be the same for the same bytes to come out. */
import { createHash } from 'node:crypto';
import { z } from 'zod';
import { packageVersion } from '../files/installation.ts';
import type { MediaTools } from '../process/locate.ts';

const toolSchema = z.object({
  name: z.string().describe('ffmpeg, ffprobe'),
  version: z.string().describe('As the program says it'),
  build: z.string().describe("SHA-256 of the program's own version and build lines"),
});
export type Tool = z.infer<typeof toolSchema>;

export const toolchainSchema = z.object({
  rushlight: z.string().describe('Version of this program, for people; not covered by `digest`'),
  recipe: z
    .int()
    .positive()
    .describe('Raised by hand whenever the same profile would give other bytes than before'),
  tools: z.array(toolSchema).describe('The programs that take part in what is made'),
  digest: z.string().describe('SHA-256 over recipe and tools: equal digests promise equal bytes'),
});
export type Toolchain = z.infer<typeof toolchainSchema>;

/** Raise when profile and source stay the same and other bytes come out than before. */
export const RECIPE = 12;

/** The toolchain of these programs. `rushlight` is for people; the digest covers recipe and tools. */
export function toolchainOf(tools: MediaTools): Toolchain {
  const list = [tools.ffmpeg, tools.ffprobe].map((tool) => ({
    name: tool.name,
    version: tool.version,
    build: tool.build,
  }));
  return {
    rushlight: packageVersion(),
    recipe: RECIPE,
    tools: list,
    digest: toolchainDigest(RECIPE, list),
  };
}

/** SHA-256, hex. */
export function toolchainDigest(recipe: number, tools: readonly Tool[]): string {
  return createHash('sha256')
    .update(JSON.stringify([recipe, tools.map(({ name, version, build }) => ({ name, version, build }))]))
    .digest('hex');
}
