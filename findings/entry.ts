/** The form of a code in the registry. */

/** `hold`: the roll cannot be ready while this stands. `note`: shown, and nothing more. */
const weights = ['hold', 'note'] as const;
export type Weight = (typeof weights)[number];

export interface CodeEntry {
  readonly weight: Weight;
  /** What is the matter, one line without a full stop; the finding's own values follow it. */
  readonly title: string;
  /** What to do next, full sentences. */
  readonly remedy: string;
}
