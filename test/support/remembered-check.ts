/**
 * The checker, which measures a file once: asked again about the same bytes, with the same outcome, fingerprints and facts, it gives
 * what it measured then. What a forged record changes is asked again; what stands unchanged beside it costs no further programs.
 */
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { serialize } from 'node:v8';
import { checkDeliverable } from '../../check/index.ts';

export function rememberedCheck(): typeof checkDeliverable {
  const kept = new Map<string, ReturnType<typeof checkDeliverable>>();
  return (request) => {
    const { path, signal: _, ...rest } = request;
    const key = createHash('sha256').update(readFileSync(path)).update(serialize(rest)).digest('hex');
    const before = kept.get(key);
    if (before !== undefined) return before;
    const measured = checkDeliverable(request);
    kept.set(key, measured);
    return measured;
  };
}
