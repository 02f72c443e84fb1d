import { describe, expect, test } from 'vitest';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import { judgeDeliverable } from '../../coordinator/gate/deliverable.ts';
import { usualWay } from '../../media/colour/way.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import type { Shown } from '../../profiles/shown/schema.ts';
import { clip, facts, goodWorld } from '../support/world.ts';
import { codes, entry } from './spoiled.ts';

test('a movie of which nobody looked at what its encoder was given is not ready', () => {
  const world = goodWorld();
  world.first.checks = world.first.checks.filter(({ check }) => check !== 'encoder-input');
  expect(decideRoll(world.input).verdict).toMatchObject({
    verdict: 'held',
    findings: [
      expect.objectContaining({ code: 'check-absent', found: 'no result of the check `encoder-input`' }),
    ],
  });
});

test('a movie whose record asks for something else than is decided is held, however well it passed', async () => {
  const profile = (await builtInProfiles()).find(({ profile: { name } }) => name === 'archive-ffv1');
  if (profile === undefined) throw new Error('no such profile');
  const world = goodWorld();
  const timed = { ...facts, timecode: { frame: 86_400, base: 24, drop: false } };
  const decided = decideOutcome({
    day: 'day-03',
    roll: 'A001',
    clip,
    facts: timed,
    profile: profile.profile,
  });
  if (decided.outcome === null || decided.outcome.kind !== 'movie') throw new Error('refused');
  const good = decided.outcome;
  const said = (outcome: Outcome): string[] => {
    const judged = judgeDeliverable(
      { clip, facts: timed, loaded: { ...profile, hash: 'hash-cut' } },
      {
        ...world.input,
        onDisk: new Map([
          [
            `${clip.id}/archive-ffv1`,
            { ...entry(world, 'A001C001/cut'), report: { ...world.first, profile: 'archive-ffv1', outcome } },
          ],
        ]),
      },
      [],
    );
    return judged.findings.filter(({ code }) => code === 'deliverable-outdated').map(({ found }) => found);
  };
  expect(said({ ...good, estimatedBytes: 1 })).toEqual([]);
  const otherwise = ['outcome decided otherwise, as with other settings'];
  expect(said({ ...good, exact: null })).toEqual(otherwise);
  expect(said({ ...good, frames: good.frames - 1 })).toEqual(otherwise);
  expect(said({ ...good, reel: 'B001' })).toEqual(otherwise);
});

test('text in the picture that nobody saw drawn is held', () => {
  const texted = (): ReturnType<typeof goodWorld> => {
    const world = goodWorld();
    world.first.outcome = {
      ...(world.first.outcome as Outcome),
      burnIn: [
        {
          text: 'clip',
          from: null,
          words: { kind: 'same', text: 'A001C001' },
          letters: { size: 16, pitch: 9, left: 8, baseline: 20 },
          box: { left: 4, top: 2, width: 80, height: 24 },
          look: { letters: 235, ground: 16, cover: { num: 3, den: 5 }, opacity: { num: 1, den: 1 } },
        },
      ],
    };
    return world;
  };
  expect(decideRoll(texted().input).verdict).toMatchObject({
    verdict: 'held',
    findings: [
      expect.objectContaining({ code: 'check-absent', found: 'no result of the check `burn-in-drawn`' }),
    ],
  });
  const seen = texted();
  seen.first.checks.push({
    check: 'burn-in-drawn',
    status: 'passed',
    measured: 'm',
    expected: 'm',
    tool: 'own comparison',
  });
  expect(decideRoll(seen.input).verdict.verdict).toBe('ready');
});

test('a picture in a larger raster, of which nobody saw what lies around it, is held', () => {
  const padded = (): ReturnType<typeof goodWorld> => {
    const world = goodWorld();
    const outcome = world.first.outcome as Outcome;
    world.first.outcome = {
      ...outcome,
      proof: {
        ...outcome.proof,
        framing: { ...outcome.proof.framing, inset: { left: 0, top: 8 } },
      },
    };
    return world;
  };
  expect(decideRoll(padded().input).verdict).toMatchObject({
    verdict: 'held',
    findings: [expect.objectContaining({ code: 'check-absent', found: 'no result of the check `bars`' })],
  });
  const seen = padded();
  const result = { status: 'passed', measured: 'm', expected: 'm', tool: 'own comparison' } as const;
  seen.first.checks.push({ check: 'bars', ...result });
  expect(decideRoll(seen.input).verdict.verdict).toBe('ready');
});

test('light that a stream states and nobody read a second time is held', () => {
  const lit = (): ReturnType<typeof goodWorld> => {
    const world = goodWorld();
    world.first.outcome = { ...(world.first.outcome as Outcome), contentLight: 'measured' };
    return world;
  };
  expect(decideRoll(lit().input).verdict).toMatchObject({
    verdict: 'held',
    findings: [
      expect.objectContaining({ code: 'check-absent', found: 'no result of the check `light-levels`' }),
    ],
  });
  const seen = lit();
  seen.first.checks.push({
    check: 'light-levels',
    status: 'passed',
    measured: 'm',
    expected: 'm',
    tool: 'own comparison',
  });
  expect(decideRoll(seen.input).verdict.verdict).toBe('ready');
});

describe('a movie that goes a colour way', () => {
  const common = {
    way: usualWay,
    display: 'bt1886-bt709',
    output: { rendering: { version: 'aces-2', peak: 100, limiting: 'bt709' }, display: 'bt1886-bt709' },
  } as const;
  const input = { name: 'slog3-sgamut3cine' } as const;
  const recorded: Shown = {
    from: 'recorded',
    matrix: 'bt709',
    range: 'limited',
    siting: 'left',
    input,
    ...common,
  };
  const developed: Shown = {
    from: 'developed',
    linearisation: {
      kind: 'coded',
      input,
      pixelFormat: 'gbrp10le',
      matrix: null,
      range: 'full',
      siting: null,
      declared: null,
      reader: null,
    },
    size: { width: 320, height: 180 },
    ...common,
  };
  const wanted: readonly [string, Shown, readonly string[]][] = [
    ['recorded', recorded, ['colour-way']],
    [
      'developed',
      developed,
      ['colour-way', 'development', 'development-spot-check', 'whole-frames', 'frames-as-decoded'],
    ],
  ];
  function shownWith(shown: Shown, results: readonly string[], failed?: string): string[] {
    const world = goodWorld();
    if (world.first.outcome.kind !== 'movie') throw new Error('a movie');
    world.first.outcome.shown = shown;
    for (const check of results)
      world.first.checks.push({
        check,
        status: check === failed ? 'failed' : 'passed',
        measured: 'm',
        expected: 'm',
        tool: 'own comparison',
      });
    return codes(world);
  }
  test.each(wanted)(
    '%s: is ready with every result, and held without any one or with a failed one',
    (_, shown, all) => {
      expect(shownWith(shown, all)).toEqual([]);
      for (const check of all) {
        expect(
          shownWith(
            shown,
            all.filter((one) => one !== check),
          ),
        ).toEqual(['check-absent']);
        expect(shownWith(shown, all, check)).toEqual(['check-failed']);
      }
    },
  );
});
