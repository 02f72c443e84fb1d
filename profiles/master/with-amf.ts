/** What an ACES Metadata File lies beside: a folder of frames, or a movie for grading. */
import type { Outcome } from '../outcome.ts';
import type { AmfOutcome } from './amf.ts';
import type { Linearisation } from './linearisation.ts';
import type { MasterOutcome } from './outcome.ts';

export type MovieMasterOutcome = Outcome & {
  readonly linearisation: Linearisation;
  readonly amf: AmfOutcome;
};
export type WithAmf = MasterOutcome | MovieMasterOutcome;
/** Not so of a movie from before there was one beside it. */
export const isMovieMaster = (outcome: Outcome | MasterOutcome): outcome is MovieMasterOutcome =>
  outcome.kind === 'movie' && outcome.amf !== null && outcome.linearisation !== null;
