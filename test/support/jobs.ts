/** Jobs as literals, for tests of the queue that run no encoder. */
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Job, MasterWork, MovieWork } from '../../ledger/job.ts';
import { clip, facts, loaded, report } from './world.ts';

/** What a job makes, by kind. */
export const moviesOf = (job: Job): MovieWork[] => job.deliverables.filter((work) => work.kind === 'movie');
export const mastersOf = (job: Job): MasterWork[] =>
  job.deliverables.filter((work) => work.kind === 'frames');

function movieOf(outcome: AnyOutcome): Outcome {
  if (outcome.kind !== 'movie') throw new RangeError('no movie');
  return outcome;
}

export function jobOf(number: number, run: string, profiles: readonly string[] = ['cut']): Job {
  const id = `A001C${String(number).padStart(5, '0')}`;
  const own = { ...clip, id, name: id };
  return {
    version: 0,
    night: 'night',
    run,
    day: 'day-03',
    roll: 'A001',
    rollFolder: '/day-03/A001',
    deliveryFolder: '/delivery/day-03/A001',
    clip: own,
    facts: {
      ...facts,
      metadata: Object.fromEntries(
        Array.from({ length: 20 }, (_, index) => [
          `com.example.tag-${index}`,
          `value ${index} of some usual length`,
        ]),
      ),
    },
    span: { start: 0, count: 24 },
    deliverables: profiles.map((name) => ({
      kind: 'movie',
      profile: loaded(name, `hash-${name}`).profile,
      profileHash: `hash-${name}`,
      outcome: movieOf(report(own, name, `hash-${name}`).outcome),
    })),
    toolchain: 'fingerprint-now',
  };
}
