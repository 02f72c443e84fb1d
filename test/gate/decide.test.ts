import { describe, expect, test } from 'vitest';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import { finding } from '../../findings/finding.ts';
import { KEPT_OF_A_KIND } from '../../findings/tally.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { clipReportSchema } from '../../ledger/report.ts';
import { allChecks, clip, goodWorld, loaded } from '../support/world.ts';
import { codes, editFirstCheck, intake, remeasured, spoiled } from './spoiled.ts';

describe('a roll about which everything is known and good', () => {
  test('is ready, without a finding, with every clip ready', () => {
    const decision = decideRoll(goodWorld().input);
    expect(decision.verdict.verdict).toBe('ready');
    expect(decision.verdict.findings).toEqual([]);
    expect(decision.clipReports.map((item) => [item.clip.id, item.verdict])).toEqual([
      ['A001C001', 'ready'],
      ['A001C002', 'ready'],
    ]);
    expect(decision.verdict.profiles[0]).toEqual({
      name: 'cut',
      hash: 'hash-cut',
      checks: allChecks,
      profile: loaded('cut', 'hash-cut').profile,
    });
    expect(decision.verdict.clips[0]?.deliverables[0]).toEqual({
      profile: 'cut',
      state: 'published',
      file: 'cut/A001C001.mov',
      bytes: 1234,
      xxh128: 'aa',
      sha256: 'bb',
      checks: [...allChecks, 'encoder-input'].map((check) => ({
        check,
        status: 'passed',
        measured: 'm',
        expected: 'm',
        tool: 'ffprobe 7.1',
      })),
    });
    expect(decision.verdict.copiesAsked).toBe(2);
  });

  test('gives records that the ledger takes', () => {
    const decision = decideRoll(goodWorld().input);
    expect(rollVerdictSchema.safeParse(decision.verdict).success).toBe(true);
    for (const item of decision.clipReports) expect(clipReportSchema.safeParse(item).success).toBe(true);
  });

  test('stays ready with a note, which is reported', () => {
    const world = goodWorld();
    world.input.findings = [finding('store-restarted', 'signal SIGKILL', 'a store that stays up')];
    const { verdict } = decideRoll(world.input);
    expect(verdict.verdict).toBe('ready');
    expect(verdict.findings.map((item) => item.code)).toEqual(['store-restarted']);
  });
});

test('of very many files that nobody listed the first are named and the rest counted', () => {
  const world = goodWorld();
  for (let frame = 0; frame < 200_000; frame += 1)
    intake(world).files.push({ path: `A001C009/f.${frame}.dpx`, bytes: 9, hashes: {} });
  const found = decideRoll(world.input).verdict.findings;
  expect(found.filter(({ code }) => code === 'file-unaccounted')).toHaveLength(KEPT_OF_A_KIND);
  expect(found.find(({ code }) => code === 'findings-more')?.counted).toEqual({
    code: 'file-unaccounted',
    more: 200_000 - KEPT_OF_A_KIND,
  });
});

test('a roll of which every deliverable measures the same again is ready', () => {
  const world = goodWorld();
  remeasured(world, {});
  world.input.intake = { ...intake(world), files: null };
  expect(decideRoll(world.input).verdict).toMatchObject({ verdict: 'ready', findings: [] });
});

describe('a roll is held', () => {
  test.each(spoiled)('when %s: %s', (_what, wanted, spoil) => {
    const world = goodWorld();
    spoil(world);
    const { verdict } = decideRoll(world.input);
    expect(verdict.verdict).toBe('held');
    expect([...new Set(codes(world))].sort()).toEqual([wanted].flat());
    expect(rollVerdictSchema.safeParse(verdict).success).toBe(true);
  });

  test('when a check has an outcome that nobody knows, and no record of it can be written', () => {
    const world = goodWorld();
    editFirstCheck(world, { status: 'skipped' as 'passed' });
    expect(codes(world)).toContain('check-failed');
    expect(rollVerdictSchema.safeParse(decideRoll(world.input).verdict).success).toBe(false);
  });

  test('and what is wrong with one clip leaves the other clip ready', () => {
    const world = goodWorld();
    world.first.state = 'failed';
    const decision = decideRoll(world.input);
    expect(decision.clipReports.map((item) => item.verdict)).toEqual(['held', 'ready']);
    expect(decision.verdict.verdict).toBe('held');
  });

  test('for the reason that the plan gave, not buried under what follows from it', () => {
    const world = goodWorld();
    world.disk.delete('A001C001/cut');
    world.input.clips = [
      {
        ...(world.input.clips[0] as (typeof world.input.clips)[number]),
        findings: [
          finding('profiles-absent', 'refused', 'accepted', { roll: 'A001', clip: clip.id, profile: 'cut' }),
        ],
      },
      ...world.input.clips.slice(1),
    ];
    expect(codes(world)).toEqual(['profiles-absent']);
    expect(decideRoll(world.input).verdict.verdict).toBe('held');
  });

  test('when intake failed, with no word about clips that nobody looked for', () => {
    const world = goodWorld();
    intake(world).copies[1] = { folder: '/copy/A001', files: 5, bytes: 5900, verified: false };
    world.input.clips = [];
    expect(codes(world)).toEqual(['copy-not-verified']);
  });
});
