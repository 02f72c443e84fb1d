/** What frames say of camera, lens and exposure, as lines of text that can be compared: `name type value`, by name. For the checker alone. */

/** An attribute that an outcome has, and how a frame has it. */
export interface Carried {
  readonly name: string;
  readonly type: string;
  /** A line of the comments: the ACES container has no such attribute. */
  readonly isLine: boolean;
}

/** Types whose numbers are 32-bit floats. */
const singles = new Set(['float', 'v2f', 'v3f', 'm33f', 'm44f']);

export function numberText(type: string, value: number): string {
  return String(singles.has(type) ? Math.fround(value) : value);
}

/** Sorted, one line each; empty: nothing. */
export const carriedText = (lines: readonly string[]): string => lines.toSorted().join('\n');
