/** Whether the target can be written to: looked at again and again, and reported when that changes. */
import type { Finding } from '../../findings/finding.ts';
import type { RunEvents } from './run-events.ts';
import type { Target } from './target.ts';

export interface TargetCondition {
  /** Looks now; emits `target-trouble` or `target-well` when that is news. */
  look(): Promise<void>;
  /** Looks now. */
  isWell(): Promise<boolean>;
  /** null: it is well. `since`: performance.now(). */
  readonly failure: { readonly found: Finding; readonly since: number } | null;
}

export interface TargetConditionRequest {
  readonly target: Pick<Target, 'look'>;
  /** Bytes that what is made at once may need. */
  reserveBytes(): number;
  readonly events: RunEvents;
}

export function targetCondition({ target, reserveBytes, events }: TargetConditionRequest): TargetCondition {
  let failure: TargetCondition['failure'] = null;
  const look = async (): Promise<void> => {
    const { failure: found } = await target.look(reserveBytes());
    const was = failure;
    if (found === null) failure = null;
    else failure ??= { found, since: performance.now() };
    if (was !== null && found === null) events.emit('target-well');
    if (was === null && found !== null) events.emit('target-trouble', found);
  };
  return {
    look,
    async isWell() {
      await look();
      return failure === null;
    },
    get failure() {
      return failure;
    },
  };
}
