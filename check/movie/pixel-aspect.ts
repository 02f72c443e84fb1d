/** What a stream says of the shape of its pixels. A stream that says nothing is taken for one of square ones by every reader, and may say so only of those. Pure. */
import type { Outcome } from '../../profiles/outcome.ts';

export function pixelAspectText(
  said: readonly [number, number] | null,
  { num, den }: Outcome['pixelAspect'],
): string {
  const [across, down] = said ?? [1, 1];
  if (across > 0 && across * den === down * num) return 'as decided';
  return said === null ? 'not stated' : said.join('/');
}
