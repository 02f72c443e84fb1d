/** Speeds and ranges: what is learned from jobs whose truth is known, and whether ranges hold what they promise. */
import { describe, expect, test } from 'vitest';
import { type Chance, chanceOf } from '../../coordinator/forecast/chance.ts';
import { forecast, type ForecastJob, rangeOf } from '../../coordinator/forecast/forecast.ts';
import type { Kind } from '../../coordinator/forecast/kind.ts';
import type { JobSample } from '../../coordinator/forecast/sample.ts';
import { simulate } from '../../coordinator/forecast/simulate.ts';
import { likelySeconds, speedOf } from '../../coordinator/forecast/speed.ts';
import { inQueues, listed } from '../../coordinator/forecast/waiting.ts';
import { everyRow, further } from '../support/lane.ts';

const kind = (codec: string): Kind => ({
  codec,
  width: 1920,
  height: 1080,
  profiles: [{ name: 'editorial-vc3', hash: 'a'.repeat(64) }],
  stills: 0,
});

interface Drawn {
  readonly run?: string;
  readonly machine?: string;
  readonly codec?: string;
  readonly frames: number;
  readonly seconds: number;
  readonly beside?: number | null;
  readonly waited?: number | null;
}
let clips = 0;
const sample = ({ run = 'run-1', machine = 'm', codec = 'vc3', ...drawn }: Drawn): JobSample => ({
  run,
  machine,
  roll: 'A001',
  clip: `c${(clips += 1)}`,
  kind: structuredClone(kind(codec)) as JobSample['kind'],
  frames: drawn.frames,
  waited: drawn.waited ?? null,
  beside: drawn.beside ?? 1,
  parts: [
    { part: 'make', profile: null, seconds: drawn.seconds * 0.7 },
    { part: 'check', profile: 'a'.repeat(64), seconds: drawn.seconds * 0.3 },
  ],
});
const wanted = { kind: kind('vc3'), machine: 'm', run: null, beside: 1 } as const;

describe('what is learned of a kind', () => {
  const lengths = [100, 400, 250, 900, 50, 700];

  test('nothing below five finished jobs, not of another kind, and not of jobs that took no time', () => {
    const four = lengths.slice(0, 4).map((frames) => sample({ frames, seconds: 1 + frames / 50 }));
    expect(speedOf(four, wanted)).toBeNull();
    expect(speedOf([...four, sample({ codec: 'h264', frames: 10, seconds: 1 })], wanted)).toBeNull();
    expect(speedOf([...four, sample({ frames: 10, seconds: 0 })], wanted)).toBeNull();
    expect(speedOf([...four, sample({ frames: 10, seconds: 1.2 })], wanted)).not.toBeNull();
  });

  test('the fixed time and the time a frame, of the whole and of each part', () => {
    const speed = speedOf(
      lengths.map((frames) => sample({ frames, seconds: 2 + frames / 50 })),
      wanted,
    );
    expect(speed?.whole.fixed).toBeCloseTo(2, 6);
    expect(speed?.whole.frame).toBeCloseTo(1 / 50, 8);
    const check = speed?.parts.find(({ part }) => part === 'check');
    expect(check?.frame).toBeCloseTo(0.3 / 50, 8);
    expect(check?.profile).toBe('a'.repeat(64));
  });

  test('clips of one length say nothing of a fixed time, and no time is below nothing', () => {
    const alike = speedOf(
      [100, 101, 99, 102, 100].map((frames) => sample({ frames, seconds: 3 })),
      wanted,
    );
    expect(alike?.whole.fixed).toBe(0);
    const falling = speedOf(
      lengths.map((frames) => sample({ frames, seconds: 100 - frames / 20 })),
      wanted,
    );
    expect(falling?.whole.frame).toBe(0);
    const steep = speedOf(
      lengths.map((frames) => sample({ frames, seconds: Math.max(0.1, frames / 50 - 1) })),
      wanted,
    );
    expect(steep?.whole.fixed).toBeGreaterThanOrEqual(0);
  });

  test('a machine is known by its own jobs, and by those of others until it has five', () => {
    const fast = lengths.map((frames) => sample({ frames, seconds: frames / 100 }));
    const slow = lengths.map((frames) => sample({ machine: 'slow', frames, seconds: frames / 10 }));
    const own = speedOf([...fast, ...slow], { ...wanted, machine: 'slow' });
    expect(own === null ? 0 : likelySeconds(own, 500)).toBeCloseTo(50, 1);
    const other = speedOf([...fast, ...slow], { ...wanted, machine: 'new' });
    expect(other?.jobs).toBe(12);
    const seconds = other === null ? 0 : likelySeconds(other, 500);
    expect(seconds).toBeGreaterThan(5);
    expect(seconds).toBeLessThan(50);
    // Two machines that differ by ten say little of a third.
    expect(other?.drift.deviation).toBeGreaterThan(0.7);
  });

  test('jobs that ran beside as many others count, where there are five', () => {
    const alone = lengths.map((frames) => sample({ frames, seconds: frames / 100, beside: 0 }));
    const crowded = lengths.map((frames) => sample({ frames, seconds: frames / 50, beside: 1.2 }));
    const [quick, usual] = [0, 1].map((beside) => speedOf([...alone, ...crowded], { ...wanted, beside }));
    expect(quick?.whole.frame).toBeCloseTo(1 / 100, 8);
    expect(usual?.whole.frame).toBeCloseTo(1 / 50, 8);
  });

  test("the night's own jobs say how this night is, more with each", () => {
    const earlier = ['r1', 'r2', 'r3'].flatMap((run) =>
      lengths.map((frames) => sample({ run, frames, seconds: frames / 50 })),
    );
    const tonight = (count: number): JobSample[] =>
      lengths.slice(0, count).map((frames) => sample({ run: 'now', frames, seconds: (1.5 * frames) / 50 }));
    const learned = [0, 1, 3, 6].map((count) =>
      speedOf([...earlier, ...tonight(count)], { ...wanted, run: 'now' }),
    );
    const likely = learned.map((speed) => (speed === null ? 0 : likelySeconds(speed, 500)));
    const open = learned.map((speed) => speed?.drift.deviation ?? 0);
    expect(likely[0]).toBeCloseTo(10, 1);
    expect(likely[1]).toBeGreaterThan(11);
    expect(likely[3]).toBeGreaterThan(14);
    expect(likely[3]).toBeLessThan(15.5);
    expect(open[3]).toBeLessThan(open[0] as number);
  });

  test('a place that found nothing to do was not waiting for the queue', () => {
    const waits = [0.1, 0.2, 0.3, 900, null, 1200];
    const speed = speedOf(
      lengths.map((frames, index) => sample({ frames, seconds: frames / 50, waited: waits[index] ?? null })),
      wanted,
    );
    expect(speed?.between).toBeCloseTo(0.2, 8);
  });
});

test('the tenth and the ninetieth of a hundred, between neighbours in proportion', () => {
  // R 4.3, quantile(1:11, c(.1, .9)) and quantile(1:2, …), type 7: 2, 10; 1.1, 1.9 (from memory).
  expect(rangeOf([11, 1, 10, 2, 9, 3, 8, 4, 7, 5, 6])).toEqual({ least: 2, most: 10 });
  expect(rangeOf([2, 1])?.least).toBeCloseTo(1.1, 10);
  expect(rangeOf([])).toBeNull();
});

describe('when rolls are ready', () => {
  const samples = ['r1', 'r2', 'r3', 'r4'].flatMap((run) =>
    [100, 200, 300, 400, 500, 600].map((frames) => sample({ run, frames, seconds: frames / 50 })),
  );
  const job = (rollName: string, codec = 'vc3', frames = 500): ForecastJob => ({
    rollName,
    kind: kind(codec),
    frames,
    tableSeconds: 5,
  });
  const asked = (jobs: readonly ForecastJob[], share = 1) =>
    forecast<ForecastJob>({
      machines: [{ id: 'm', slots: 1, share }],
      waiting: listed,
      releases: [{ at: 0, jobs }],
      running: [],
      speedOf: (one, machine) => speedOf(samples, { kind: one, machine, run: null, beside: 1 }),
      chance: chanceOf(1),
      nights: 200,
    });

  test('a roll behind another is ready after it, and the day with the last', () => {
    const { rolls, whole } = asked([job('A001'), job('A001'), job('B001')]);
    const [first, second] = rolls;
    expect(first?.ready?.least).toBeLessThan(20);
    expect(first?.ready?.most).toBeGreaterThan(20);
    expect(second?.ready?.least).toBeGreaterThan(first?.ready?.least as number);
    expect(whole).toEqual(second?.ready);
  });

  test('of a kind that is not known nothing is said, nor of the day; of other rolls less surely', () => {
    const { rolls, whole } = asked([job('X001', 'unheard-of'), job('A001')]);
    expect(rolls[0]).toMatchObject({ roll: 'X001', ready: null, unknown: 1 });
    expect(whole).toBeNull();
    const known = asked([job('X001'), job('A001')]).rolls[1]?.ready;
    const behind = rolls[1]?.ready;
    if (known == null || behind == null) throw new Error('not known');
    expect(behind.most / behind.least).toBeGreaterThan(known.most / known.least);
  });

  test('proxies before masters: a range of their own, also where nobody knows how long masters take', () => {
    const proxy = { ...job('A001'), wave: 'proxies' } as const;
    const master = { ...job('A001', 'unheard-of'), wave: 'masters' } as const;
    const { proxies, whole } = asked([proxy, { ...proxy, rollName: 'B001' }, master]);
    expect(whole).toBeNull();
    // Two jobs of ten seconds, one behind the other.
    expect(proxies?.least).toBeLessThan(20);
    expect(proxies?.most).toBeGreaterThan(20);
    expect(asked([job('A001')]).proxies).toBeNull();
    const unknown = { ...job('C001', 'unheard-of'), wave: 'proxies' } as const;
    expect(asked([proxy, unknown]).proxies).toBeNull();
  });

  test('on a mixed farm machines that cannot take a job do not count for it, and what nobody can take is told apart', () => {
    const speed = speedOf(
      [100, 400, 250, 900, 50].map((frames) => sample({ frames, seconds: frames / 50 })),
      wanted,
    );
    const of = (fits: boolean[], jobs: ForecastJob[]) => {
      const machines = fits.map((fit, index) => ({
        id: `m${index}`,
        slots: 1,
        unfit: new Set(fit ? [] : ['raw']),
      }));
      const queueOf = (): string => 'raw';
      return forecast<ForecastJob>({
        ...{ machines, queueOf, running: [], speedOf: () => speed, chance: chanceOf(1), nights: 50 },
        waiting: () => inQueues<ForecastJob>(machines, queueOf, () => listed<ForecastJob>()),
        releases: [{ at: 0, jobs }],
      });
    };
    const four = [job('A001'), job('A001'), job('A001'), job('A001')];
    const [one, mixed, both] = [of([true], four), of([true, false], four), of([true, true], four)];
    // A second machine that cannot take any of it brings nothing, one that can brings half.
    expect(mixed.whole?.most).toBeGreaterThan((one.whole?.least ?? 0) * 0.95);
    expect(both.whole?.most).toBeLessThan(mixed.whole?.most ?? 0);
    expect(both.whole?.least).toBeLessThan(mixed.whole?.least ?? 0);
    expect(of([false, false], four)).toMatchObject({
      rolls: [{ roll: 'A001', ready: null, unknown: 0, nobody: 4 }],
      whole: null,
    });
  });

  test('of a machine that others have for three quarters, all lasts four times as long', () => {
    const jobs = [job('A001'), job('A001'), job('B001')];
    const [alone, shared] = [asked(jobs), asked(jobs, 1 / 4)];
    // Chance falls the same: only the share is another.
    expect(shared.whole?.least).toBeCloseTo(4 * (alone.whole?.least ?? 0), 6);
    expect(shared.whole?.most).toBeCloseTo(4 * (alone.whole?.most ?? 0), 6);
  });

  test('no machine: nothing is known', () => {
    const none = forecast<ForecastJob>({
      machines: [],
      waiting: listed,
      releases: [{ at: 0, jobs: [job('A001')] }],
      running: [],
      speedOf: () => null,
      chance: chanceOf(1),
      nights: 50,
    });
    expect(none).toEqual({
      rolls: [{ roll: 'A001', jobs: 1, unknown: 1, nobody: 0, ready: null }],
      whole: null,
      proxies: null,
    });
  });

  test('a job that has run longer than it should is still not over', () => {
    const { rolls } = forecast<ForecastJob>({
      machines: [{ id: 'm', slots: 1 }],
      waiting: listed,
      releases: [],
      running: [{ job: job('A001'), machine: 'm', elapsed: 1000 }],
      speedOf: (one, machine) => speedOf(samples, { kind: one, machine, run: null, beside: 1 }),
      chance: chanceOf(1),
      nights: 100,
    });
    expect(rolls[0]?.ready?.least).toBeGreaterThan(0);
  });
});

/**
 * What a range promises: eight of ten nights end inside. The world that these nights are drawn from is not the learner's: it has a true speed
 * of each kind, true drift of nights and scatter of jobs, of which the learner sees finished jobs alone.
 */
describe('ranges hold eight nights of ten', () => {
  const NIGHTS = everyRow ? 600 : 100;
  interface World {
    readonly name: string;
    readonly drift: number;
    readonly scatter: number;
    /** Earlier nights that were learned from. */
    readonly before: number;
    /** Jobs of this night that have ended. */
    readonly ended: number;
  }

  /** Whether the truth lay in the range: of each roll. */
  function night(
    world: World,
    chance: Chance,
  ): { readonly in: number; readonly of: number; readonly width: number } {
    const codecs = ['vc3', 'rdd36'];
    const truth = new Map(
      codecs.map((codec) => [codec, { fixed: 1, frame: 0.01 * Math.exp(chance.normal()) }]),
    );
    const length = (): number => Math.round(200 * Math.exp(0.7 * chance.normal())) + 1;
    const trueSeconds = (codec: string, frames: number, drift: number): number => {
      const line = truth.get(codec) as { fixed: number; frame: number };
      return (line.fixed + line.frame * frames) * Math.exp(drift + world.scatter * chance.normal());
    };
    const jobsOf = (run: string, drift: number, count: number): JobSample[] =>
      codecs.flatMap((codec) =>
        Array.from({ length: count }, () => {
          const frames = length();
          return sample({ run, codec, frames, seconds: trueSeconds(codec, frames, drift) });
        }),
      );
    const samples = Array.from({ length: world.before }, (_, index) =>
      jobsOf(`before-${index}`, world.drift * chance.normal(), 12),
    ).flat();
    const tonight = world.drift * chance.normal();
    samples.push(...jobsOf('now', tonight, world.ended));
    const open = Array.from({ length: 48 }, (_, index) => ({
      rollName: `R${index % 3}`,
      kind: kind(codecs[index % 2] as string),
      frames: length(),
      tableSeconds: 5,
    })).sort((a, b) => (a.rollName < b.rollName ? -1 : 1));
    const machines = [{ id: 'm', slots: 2 }];
    const said = forecast<ForecastJob>({
      machines,
      waiting: listed,
      releases: [{ at: 0, jobs: open }],
      running: [],
      speedOf: (one, machine) => speedOf(samples, { kind: one, machine, run: 'now', beside: 1 }),
      chance: chanceOf(Math.floor(chance.even() * 2 ** 32)),
      nights: 100,
    });
    const ends = simulate<ForecastJob>({
      machines,
      waiting: listed(),
      releases: [{ at: 0, jobs: open }],
      running: [],
      seconds: (job) => trueSeconds(job.kind.codec, job.frames, tonight),
    });
    let inside = 0;
    let width = 0;
    for (const { roll, ready } of said.rolls) {
      const end = Math.max(...ends.filter(({ job }) => job.rollName === roll).map((one) => one.end));
      if (ready === null) throw new Error(`${roll} is not known`);
      if (ready.least <= end && end <= ready.most) inside += 1;
      width += ready.most / ready.least;
    }
    return { in: inside, of: said.rolls.length, width: width / said.rolls.length };
  }

  const worlds: World[] = [
    { name: 'nights much alike, in the middle of one', drift: 0.05, scatter: 0.1, before: 3, ended: 6 },
    { name: 'nights that differ by a quarter, before one', drift: 0.25, scatter: 0.15, before: 5, ended: 0 },
    ...further<World>(
      { name: 'the first night, six jobs ended', drift: 0.2, scatter: 0.2, before: 0, ended: 6 },
      { name: 'jobs of a kind that differ much', drift: 0.1, scatter: 0.4, before: 2, ended: 3 },
    ),
  ];
  test.each(worlds)('$name', (world) => {
    const chance = chanceOf(42);
    let [inside, all, width] = [0, 0, 0];
    for (let turn = 0; turn < NIGHTS; turn += 1) {
      const one = night(world, chance);
      inside += one.in;
      all += one.of;
      width += one.width / NIGHTS;
    }
    const coverage = inside / all;
    // What chance leaves of eight in ten in so many nights, whose three rolls are late together.
    expect(coverage, `${coverage}`).toBeGreaterThan(everyRow ? 0.74 : 0.7);
    // A range that always holds says nothing.
    expect(coverage, `${coverage}`).toBeLessThan(0.93);
    expect(width).toBeLessThan(2.2);
  });
});
