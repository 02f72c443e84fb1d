/** What comes of asking for a clip as a master: its outcome, or the reasons against it. */
import type { Finding } from '../../findings/finding.ts';
import type { Outcome } from '../outcome.ts';
import type { MasterOutcome } from './outcome.ts';

export type MasterDecision =
  | { readonly outcome: MasterOutcome | Outcome; readonly notes: readonly Finding[] }
  | { readonly outcome: null; readonly findings: readonly Finding[] };
