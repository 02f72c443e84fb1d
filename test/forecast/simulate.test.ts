/** Simulated nights, held against what can be worked out by hand, and against bounds of scheduling that no order can beat. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { OrderedJob } from '../../coordinator/dispatch/order.ts';
import { chanceOf } from '../../coordinator/forecast/chance.ts';
import { type DrawnJob, drawDay } from '../../coordinator/forecast/drawn-day.ts';
import { type SimulatedEnd, simulate, simulateSteps } from '../../coordinator/forecast/simulate.ts';
import { readArguments, simulationOf } from '../../coordinator/forecast/simulation.ts';
import { inQueues, listed, ordered, windowed } from '../../coordinator/forecast/waiting.ts';
import { further } from '../support/lane.ts';
import '../support/properties.ts';

interface Named extends OrderedJob {
  readonly name: string;
}
const job = (name: string, seconds: number, place = 0): Named => ({
  name,
  seconds,
  place,
  roll: { first: null, due: null, place: 0 },
});
const seconds = ({ seconds: one }: Named): number => one;
const told = (ends: readonly SimulatedEnd<Named>[]): string[] =>
  ends.map(({ job: { name }, machine, begin, end }) => `${name} ${machine} ${begin}-${end}`);

describe('a simulated night', () => {
  test('goes as it does on paper: two slots, jobs that come late, one that runs already', () => {
    const [a, b, c, d] = [job('a', 5), job('b', 3), job('c', 4), job('d', 1)];
    const ends = simulate<Named>({
      machines: [{ id: 'm', slots: 2 }],
      waiting: listed(),
      releases: [
        { at: 0, jobs: [a, b] },
        { at: 6, jobs: [c, d] },
      ],
      running: [{ job: job('r', 99), machine: 'm', left: 2 }],
      seconds,
    });
    // r holds a slot until 2, a has the other until 5; b follows r; c and d come at 6.
    expect(told(ends)).toEqual(['r m 0-2', 'a m 0-5', 'b m 2-5', 'd m 6-7', 'c m 6-10']);
  });

  test('goes as it does on paper in a mixed farm: who lacks the decoder takes others, who has it takes first what needs it', () => {
    const jobs = [job('a', 4), job('b', 4), job('raw', 6), job('c', 4)];
    const machines = [
      { id: 'lacks', slots: 1, unfit: new Set(['raw']) },
      { id: 'has', slots: 1 },
    ];
    const queueOf = ({ name }: Named): string => (name === 'raw' ? 'raw' : 'others');
    const night = { machines, releases: [{ at: 0, jobs }], running: [], queueOf, seconds };
    const ends = simulate<Named>({ ...night, waiting: inQueues(machines, queueOf, () => listed<Named>()) });
    expect(told(ends)).toEqual(['a lacks 0-4', 'raw has 0-6', 'b lacks 4-8', 'c has 6-10']);
    // Without one that has it: what needs it is never begun, and the others go on.
    const alone = machines.slice(0, 1);
    const left = simulate<Named>({
      ...night,
      machines: alone,
      waiting: inQueues(alone, queueOf, () => listed<Named>()),
    });
    expect(told(left)).toEqual(['a lacks 0-4', 'b lacks 4-8', 'c lacks 8-12']);
  });

  test('a drawn day on a farm where most lack the decoder: no sooner than its few can, all made, and what nobody can take is counted', () => {
    const request = { clips: 300, workers: 8, seed: 3, scatter: 0.15, masters: 'with' as const };
    const all = simulationOf(request);
    const mixed = simulationOf({ ...request, without: 7 });
    const nobody = simulationOf({ ...request, without: 8 });
    expect(mixed.nobody).toBe(0);
    expect(mixed.work).toBeCloseTo(all.work, 6);
    expect(mixed.makespan).toBeGreaterThanOrEqual(mixed.bound - 1e-6);
    expect(mixed.bound).toBeGreaterThan(all.bound);
    // Its one machine begins with what it alone can do: no order that ends sooner by more than its longest job.
    expect(mixed.makespan).toBeLessThan(mixed.bound + mixed.longest);
    expect(nobody.nobody).toBeGreaterThan(0);
    expect(nobody.work).toBeLessThan(all.work);
  });

  test('a machine without slots does nothing, and says so by what is not among the ends', () => {
    const ends = simulate<Named>({
      machines: [{ id: 'm', slots: 0 }],
      waiting: listed(),
      releases: [{ at: 0, jobs: [job('a', 5)] }],
      running: [],
      seconds,
    });
    expect(ends).toEqual([]);
  });

  test('every job once, never more at a time than there are slots, the same through window and list', () => {
    const day = fc.record({
      seed: fc.nat(),
      clips: fc.integer({ min: 1, max: 700 }),
      machines: fc.array(fc.integer({ min: 1, max: 4 }), { minLength: 1, maxLength: 5 }),
    });
    fc.assert(
      fc.property(day, ({ seed, clips, machines }) => {
        const jobs = drawDay({ clips, scatter: 0.2, chance: chanceOf(seed) });
        const slots = machines.reduce((sum, one) => sum + one, 0);
        const night = {
          machines: machines.map((count, index) => ({ id: `m${index}`, slots: count })),
          releases: [{ at: 0, jobs }],
          running: [],
          seconds: ({ trueSeconds }: DrawnJob) => trueSeconds,
        };
        const ends = simulate<DrawnJob>({ ...night, waiting: windowed(slots) });
        expect(new Set(ends.map((end) => end.job)).size).toBe(jobs.length);
        for (const [index, count] of machines.entries()) {
          const own = ends.filter(({ machine }) => machine === `m${index}`);
          for (const { begin } of own)
            expect(
              own.filter((other) => other.begin <= begin && begin < other.end).length,
            ).toBeLessThanOrEqual(count);
        }
        expect(simulate<DrawnJob>({ ...night, waiting: ordered(slots) })).toEqual(ends);
      }),
      { numRuns: 5 },
    );
  });

  test('the same seed gives the same night, another seed another', () => {
    const one = { clips: 60, workers: 3, scatter: 0.3, masters: 'with' } as const;
    expect(simulationOf({ ...one, seed: 7 })).toEqual(simulationOf({ ...one, seed: 7 }));
    expect(simulationOf({ ...one, seed: 8 }).makespan).not.toBe(simulationOf({ ...one, seed: 7 }).makespan);
  });
});

/** No schedule is shorter than all work on all machines, or than its longest job (Graham 1969, Bounds on multiprocessing timing anomalies). */
describe('a mixed day of 2 000 clips ends within 1.05 of the least that is possible', () => {
  const workers = [2, 64, ...further(3, 4, 6, 8, 12, 16, 24, 32, 40, 48, 56)] as const;
  test.each([
    ...workers.map((count) => ({ count, scatter: 0, most: 1.05 })),
    // What the planner thinks is never so: its jobs lie 15 % off.
    ...[16, ...further(2, 8, 32, 48, 64)].map((count) => ({ count, scatter: 0.15, most: 1.05 })),
  ])('$count workers, jobs $scatter off', ({ count, scatter, most }) => {
    const seeds = fc.sample(fc.nat(), further(0).length === 0 ? 2 : 12);
    for (const seed of seeds) {
      const jobs = drawDay({ clips: 2000, scatter, chance: chanceOf(seed) });
      const work = jobs.reduce((sum, { trueSeconds }) => sum + trueSeconds, 0);
      const bound = Math.max(work / count, ...jobs.map(({ trueSeconds }) => trueSeconds));
      const { makespan } = simulationOf({
        ...{ clips: 2000, workers: count, seed, scatter },
        masters: 'with',
      });
      expect(makespan / bound).toBeGreaterThanOrEqual(1 - 1e-9);
      expect(makespan / bound, `seed ${seed}`).toBeLessThanOrEqual(most);
    }
  });
});

test('with masters after proxies nobody rests, and the proxies are as early as without masters', () => {
  const asked = { clips: 2000, workers: 16, seed: 7, scatter: 0 };
  const after = simulationOf({ ...asked, masters: 'after' });
  expect(after.makespan / after.bound).toBeGreaterThanOrEqual(1 - 1e-9);
  expect(after.makespan / after.bound).toBeLessThanOrEqual(1.05);
  const proxies = drawDay({ ...asked, masters: 'after', chance: chanceOf(7) }).filter(
    ({ wave }) => wave === 'proxies',
  );
  const work = proxies.reduce((sum, { trueSeconds }) => sum + trueSeconds, 0) / asked.workers;
  const longest = Math.max(...proxies.map(({ trueSeconds }) => trueSeconds));
  expect(after.proxies).toBeLessThanOrEqual(1.05 * Math.max(work, longest));
  // Rolls are ready late, and all of it takes longer than of one decode: that is what it costs.
  const before = simulationOf({ ...asked, masters: 'with' });
  expect(after.makespan).toBeGreaterThan(before.makespan);
  expect(before.proxies).toBeNull();
});

test('chance is even and normal: moments of both', () => {
  const chance = chanceOf(20_261_130);
  const even = Array.from({ length: 20_000 }, () => chance.even());
  const normal = Array.from({ length: 20_000 }, () => chance.normal());
  const mean = (list: readonly number[]): number => list.reduce((sum, one) => sum + one, 0) / list.length;
  // Of the uniform distribution 1/2 and 1/12, of the normal one 0, 1, and 3 (its fourth moment).
  expect(mean(even)).toBeCloseTo(1 / 2, 1.9);
  expect(mean(even.map((one) => (one - 0.5) ** 2))).toBeCloseTo(1 / 12, 2);
  expect(Math.abs(mean(normal))).toBeLessThan(0.03);
  expect(mean(normal.map((one) => one ** 2))).toBeCloseTo(1, 1);
  expect(Math.abs(mean(normal.map((one) => one ** 4)) - 3)).toBeLessThan(0.25);
  expect(Math.min(...even)).toBeGreaterThanOrEqual(0);
  expect(Math.max(...even)).toBeLessThan(1);
});

test.each([
  ['--clips', '0'],
  ['--workers', '1.5'],
  ['--seed', '-1'],
  ['--scatter', 'much'],
  ['--masters', 'before'],
])('simulate refuses %s %s and says what it takes', (option, value) => {
  expect(() => readArguments([`${option}=${value}`])).toThrow(
    /a whole number from|from 0 to 2|with or after/,
  );
});

test('a long night is simulated in steps of a thousand jobs, between which others are heard', () => {
  const jobs = Array.from({ length: 4_500 }, (_, index) => index);
  let told = 0;
  const steps = simulateSteps<number>(
    {
      machines: [{ id: 'm', slots: 3 }],
      waiting: listed<number>(),
      releases: [{ at: 0, jobs }],
      running: [],
      seconds: () => 1,
    },
    () => void (told += 1),
  );
  const seen: number[] = [];
  for (let step = steps.next(); step.done !== true; step = steps.next()) seen.push(told);
  expect(seen).toEqual([1_000, 2_000, 3_000, 4_000, 4_500]);
});
