/** The demo judges itself by what the gate wrote down: each way in which a night can come out otherwise is reported. */
import { expect, test } from 'vitest';
import { rolls } from '../../coordinator/demo/script.ts';
import { surprises } from '../../coordinator/demo/verdict.ts';
import { finding } from '../../findings/finding.ts';
import type { RollVerdict } from '../../ledger/roll.ts';

const copy = (drive: string, roll: string, verified: boolean) => ({
  folder: `/demo/shoot/${drive}/day-03/${roll}`,
  files: 2,
  bytes: 10,
  verified,
});

function verdictOf(roll: string, clips: readonly string[], change: Partial<RollVerdict> = {}): RollVerdict {
  return {
    version: 0,
    kind: 'roll',
    verdict: 'ready',
    day: 'day-03',
    roll,
    decidedAt: '2026-04-17T22:00:00Z',
    toolchain: { rushlight: '0.1.0', recipe: 1, tools: [], digest: 'f' },
    manifests: [],
    copies: ['drive-a', 'drive-b', 'drive-c'].map((drive) => copy(drive, roll, true)),
    profiles: [],
    clips: clips.map((name) => ({
      clip: { id: name, name, place: { kind: 'movie', file: `${name}.mov` }, bytes: 5, contentDigest: 'd' },
      verdict: 'ready',
      deliverables: [],
    })),
    otherFiles: [],
    findings: [],
    ...change,
  };
}

const damage = finding('file-checksum-differs', 'xxh128 1', 'xxh128 2', {
  roll: 'B002',
  copy: '/demo/shoot/drive-c/day-03/B002',
  file: 'B002C001.mov',
});
const heldB002: Partial<RollVerdict> = {
  verdict: 'held',
  clips: [],
  copies: [copy('drive-a', 'B002', true), copy('drive-b', 'B002', true), copy('drive-c', 'B002', false)],
  findings: [damage],
};

function night(
  changes: Readonly<Record<string, Partial<RollVerdict> | null>> = {},
): Map<string, RollVerdict | null> {
  const clips: Record<string, string[]> = {
    A001: ['A001C001', 'A001C002'],
    A002: ['A002C001'],
    A003: ['A003C001'],
    B003: ['B003C001'],
    B001: ['B001C001'],
    B002: [],
    S001: [],
  };
  return new Map(
    Object.entries(clips).map(([roll, names]) => {
      const change = changes[roll];
      return [
        roll,
        change === null ? null : verdictOf(roll, names, { ...(roll === 'B002' ? heldB002 : {}), ...change }),
      ];
    }),
  );
}

test('a night as the script has it holds no surprise', () => {
  expect(surprises(rolls, night())).toEqual([]);
});

test.each([
  ['a roll without a verdict', { A002: null }, 'A002: no verdict, expected ready'],
  ['a good roll that is held', { A001: { verdict: 'held' } }, 'A001: held, expected ready'],
  ['a ready roll that lacks a clip', { A001: { clips: [] } }, 'A001: 0 clips ready, expected 2'],
  ['a raw roll that lacks its clip', { A003: { clips: [] } }, 'A003: 0 clips ready, expected 1'],
  ['a damaged roll that is called ready', { B002: { verdict: 'ready' } }, 'B002: ready, expected held'],
  [
    'a damaged roll that is held for something else',
    { B002: { findings: [finding('manifest-missing', 'none', 'one')] } },
    'B002: held, but not for the byte',
  ],
  [
    'damage seen in another file',
    { B002: { findings: [{ ...damage, file: 'B002.xxh128' }] } },
    'B002: held, but not for the byte',
  ],
  [
    'damage seen on another drive',
    { B002: { findings: [{ ...damage, copy: '/demo/shoot/drive-b/day-03/B002' }] } },
    'B002: held, but not for the byte',
  ],
  [
    'more than the damaged copy fails',
    {
      B002: {
        copies: [
          copy('drive-a', 'B002', true),
          copy('drive-b', 'B002', false),
          copy('drive-c', 'B002', false),
        ],
      },
    },
    'B002: held, but not for the byte',
  ],
] as [string, Record<string, Partial<RollVerdict> | null>, string][])(
  '%s is reported',
  (_title, changes, reported) => {
    const list = surprises(rolls, night(changes));
    expect(list).toHaveLength(1);
    expect(list[0]).toContain(reported);
  },
);
