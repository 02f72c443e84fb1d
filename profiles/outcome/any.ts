/** The outcome of one clip in one profile, whatever it makes. */
import { createHash } from 'node:crypto';
import { z } from 'zod';
import type { Finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { InputPlace } from '../../media/input.ts';
import { masterOf } from '../master/decide.ts';
import { canonicalJson } from '../hash.ts';
import { type MasterOutcome, masterOutcomeSchema } from '../master/outcome.ts';
import { type Outcome, outcomeSchema } from '../outcome.ts';
import { type AnyProfile, isMaster } from '../schema.ts';
import { outcomeOf } from './decide.ts';

export type AnyOutcome = Outcome | MasterOutcome;
export const anyOutcomeSchema = z.discriminatedUnion('kind', [outcomeSchema, masterOutcomeSchema]);
export const isMasterOutcome = (outcome: AnyOutcome): outcome is MasterOutcome => outcome.kind === 'frames';

/** Whether the same must come out; an estimate of size binds nobody. */
export function sameDecision(one: AnyOutcome, other: AnyOutcome): boolean {
  return binding(one) === binding(other);
}

/** Equal where `sameDecision` is true. */
export function decisionDigest(outcome: AnyOutcome): string {
  return createHash('sha256').update(binding(outcome)).digest('hex');
}

/** As it is written down: what is absent is not there. */
function binding(outcome: AnyOutcome): string {
  return canonicalJson(JSON.parse(JSON.stringify({ ...outcome, estimatedBytes: 0, bytesRange: 0 })));
}

export interface AnyOutcomeRequest {
  readonly day: string;
  readonly roll: string;
  readonly clip: {
    readonly id: string;
    readonly name: string;
    readonly contentDigest: string;
    readonly place: InputPlace;
    /** Which of its frames are made; absent: all. */
    readonly stretch?: { readonly start: number; readonly frames: number; readonly day: string } | undefined;
  };
  readonly facts: ClipFacts;
  readonly profile: AnyProfile;
  /** Bytes a pixel that frames of this profile took before; only estimates rest on it. */
  readonly learned?: number | null;
}

export function decideOutcome({
  profile,
  ...request
}: AnyOutcomeRequest):
  | { readonly outcome: AnyOutcome; readonly notes: readonly Finding[] }
  | { readonly outcome: null; readonly findings: readonly Finding[] } {
  return isMaster(profile) ? masterOf({ ...request, profile }) : outcomeOf({ ...request, profile });
}
