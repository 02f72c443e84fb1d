/** What is kept of burnt-in text while it is made: its windows before any text is drawn, and as the encoder gets them. */
import type { Outcome } from '../outcome.ts';
import { textChains } from '../../proof/text/tap.ts';

export interface TextTap {
  /** Pads that are wanted of the picture before the text, and at the end of its way. */
  readonly before: string;
  readonly given: string;
  readonly chains: readonly string[];
  /** Ends in a pipe. */
  readonly out: string;
}

/** null: no text is burnt in. `index`: of the deliverable. */
export function textTap(outcome: Outcome, index: number): TextTap | null {
  const { burnIn, width, height } = outcome;
  if (burnIn.length === 0) return null;
  const [before, given, out] = [`words-before${index}`, `words-given${index}`, `words-out${index}`];
  const sides = [before, given].map((from) => ({ from, name: `${from}-cut` }));
  return { before, given, out, chains: textChains({ burnIn, picture: { width, height }, sides, to: out }) };
}
