/** What joins the segments of a clip: their packets copied, its audio made once, and what both are proved by on pipes. */
import type { ClipFacts } from '../../media/facts.ts';
import { recordingFiles } from '../../media/recorded.ts';
import { FIRST_PIPE } from '../../process/run.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { audioInputs } from './audio.ts';
import { composeOutputs } from './compose.ts';
import { joinOptions, joinTarget } from './encode.ts';
import { heardOf, type Pipe } from './witness.ts';

export interface JoinRecipeRequest {
  readonly facts: ClipFacts;
  /** `path`: where the output is written, absolute. */
  readonly deliverables: readonly {
    readonly profile: Profile;
    readonly outcome: Outcome;
    readonly path: string;
  }[];
}

export interface JoinRecipe {
  readonly outputArguments: readonly string[];
  /** From FIRST_PIPE on; each must be read to its end. */
  readonly pipes: readonly Pipe[];
}

/** Inputs: the clip and what has audio besides it, as for every recipe; behind them for each deliverable its segments. */
export function joinRecipeOf({ facts, deliverables }: JoinRecipeRequest): JoinRecipe {
  const first = 1 + audioInputs(facts) + recordingFiles(facts).length;
  const heard = heardOf(
    facts,
    deliverables.map(({ outcome }) => outcome),
  );
  const count = deliverables.length;
  return {
    outputArguments: composeOutputs([
      ...deliverables.map(({ profile, outcome, path }, index) => ({
        options: joinOptions({ facts, profile, outcome, input: first + index }),
        target: joinTarget({
          outcome,
          path,
          pipe: FIRST_PIPE + index,
          packets: FIRST_PIPE + count + index,
        }),
      })),
      ...heard.map(({ options }, index) => ({
        options: [...options],
        target: `pipe:${FIRST_PIPE + 2 * count + index}`,
      })),
    ]),
    pipes: [
      ...deliverables.map((_, deliverable): Pipe => ({ kind: 'bitstream', deliverable })),
      ...deliverables.map((_, deliverable): Pipe => ({ kind: 'packets', deliverable })),
      ...heard.map(({ pipe }) => pipe),
    ],
  };
}
