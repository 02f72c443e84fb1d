/** A constant rate for clips without one: which frame is shown at each instant, by the maker frame by frame and by the checker instant by instant. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { shownAt, shownByLists } from '../../check/grid.ts';
import type { VideoFacts } from '../../media/facts.ts';
import { stepsInOrder } from '../../media/probe/frame-spacing.ts';
import { knownRates, parseRate, ratio } from '../../media/time/rate.ts';
import { cadenceOf } from '../../profiles/outcome/cadence.ts';
import { gridOf } from '../../profiles/outcome/grid.ts';
import { clipFacts, videoFacts } from '../support/facts.ts';

/** Of times in ticks of 1/90000 s; the last frame lasts 3000. */
function varying(times: readonly number[], over: Partial<VideoFacts> = {}): VideoFacts {
  return videoFacts({
    frames: times.length,
    timeBase: ratio(1, 90_000),
    firstTime: times[0] ?? 0,
    endTime: (times.at(-1) ?? 0) + 3000,
    stepsInOrder: stepsInOrder(Float64Array.from(times)),
    rateConstant: false,
    rate: ratio(30),
    ...over,
  });
}

test.each<[string, string, number[], number[]]>([
  ['on its grid', '30', [0, 3000, 6000], [0, 1, 2]],
  ['from another time than 0 on', '30', [900, 3900, 6900], [0, 1, 2]],
  ['a frame twice as long', '30', [0, 6000, 9000], [0, 0, 1, 2]],
  ['a tick late: the instant shows the frame before', '30', [0, 3001, 6000], [0, 0, 2]],
  ['a tick early', '30', [0, 2999, 6000], [0, 1, 2]],
  ['two between two instants: the later is shown', '30', [0, 3100, 3200, 9000], [0, 0, 2, 3]],
  ['a short clip at a slower rate', '25', [0, 3000, 6000], [0, 1, 2]],
  ['at half the rate', '15', [0, 3000, 6000, 9000], [0, 2]],
  ['at twice the rate', '60', [0, 3000], [0, 0, 1, 1]],
])('%s, at %s: each instant shows the frame whose time has come', (_title, rate, times, shown) => {
  const video = varying(times);
  const grid = gridOf(video, parseRate(rate));
  expect(shownByLists(times.length, grid ?? { repeated: [], leftOut: [] })).toEqual(shown);
  expect(grid?.frames).toBe(shown.length);
  expect(shownAt(video, parseRate(rate))).toEqual(shown);
});

test('maker and checker find the same frames, at every rate and spacing', () => {
  fc.assert(
    fc.property(
      fc.array(fc.integer({ min: 1, max: 20_000 }), { minLength: 1, maxLength: 60 }),
      fc.constantFrom(...knownRates),
      fc.constantFrom(90_000, 600, 1000, 30_000, 24_000),
      (steps, rate, clock) => {
        const times = [17];
        for (const step of steps) times.push((times.at(-1) ?? 0) + step);
        const video = varying(times, { timeBase: ratio(1, clock) });
        const grid = gridOf(video, rate);
        if (grid === null) throw new Error('no times');
        const shown = shownByLists(times.length, grid);
        expect(shown).toEqual(shownAt(video, rate));
        expect(shown.length).toBe(grid.frames);
      },
    ),
  );
});

describe('what becomes of a clip without a constant rate', () => {
  const policy = { timecode: { missing: 'zero' }, keepsTime: false, noGridFor: null } as const;
  const facts = (timing: Parameters<typeof clipFacts>[0] = {}) =>
    clipFacts({ video: varying([0, 3100, 6000, 12_000]), timecode: null, ...timing });
  const codes = (decided: ReturnType<typeof cadenceOf>): string[] =>
    ('findings' in decided ? decided.findings : decided.notes).map(({ code }) => code);

  test('it is held, until somebody says otherwise', () => {
    expect(codes(cadenceOf(facts(), policy))).toEqual(['clip-rate-varies']);
    expect(
      codes(
        cadenceOf(facts({ timing: { variableRate: 'hold' } }), { ...policy, rate: { variable: 'constant' } }),
      ),
    ).toEqual(['clip-rate-varies']);
  });

  test('constant: every frame that is repeated or left out is listed', () => {
    const decided = cadenceOf(facts({ timing: { variableRate: 'constant' } }), policy);
    if ('findings' in decided) throw new Error(JSON.stringify(decided.findings));
    expect(decided.frames).toBe(5);
    expect(decided.rate).toEqual(ratio(30));
    // Instants at 0, 3000, 6000, 9000, 12000.
    expect(decided.cadence.constant).toEqual({
      repeated: [
        [0, 2],
        [2, 2],
      ],
      leftOut: [1],
    });
    expect(codes(decided)).toEqual(['rate-made-constant', 'timecode-assumed']);
  });

  test('not in masters, copies, or at a rate that nobody counts', () => {
    const timing = { variableRate: 'constant' } as const;
    expect(codes(cadenceOf(facts({ timing }), { ...policy, noGridFor: 'a master' }))).toEqual([
      'rate-not-made-constant',
    ]);
    const odd = { video: varying([0, 3100, 6000, 12_000], { rate: ratio(2871, 100) }) };
    expect(codes(cadenceOf(facts({ ...odd, timing }), policy))).toEqual(['rate-not-made-constant']);
    const decided = cadenceOf(facts({ ...odd, timing: { ...timing, projectRate: ratio(25) } }), policy);
    expect('findings' in decided ? null : decided.rate).toEqual(ratio(25));
  });
});
