/** Records held against each other and against a second measurement; literals, one thing changed in each. */
import { describe, expect, test } from 'vitest';
import { againstMeasurement, againstReports } from '../../coordinator/audit/compare.ts';
import type { RollRecords } from '../../coordinator/audit/records.ts';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import type { DeliverableOnDisk, Remeasured } from '../../coordinator/gate/input.ts';
import type { CheckResult } from '../../ledger/report.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import { facts, goodWorld, toolchain } from '../support/world.ts';

function goodRecords(): RollRecords {
  const { input } = goodWorld();
  const { verdict, clipReports } = decideRoll(input);
  return structuredClone({
    verdict,
    profiles: input.profiles,
    clipReports: new Map(clipReports.map((report) => [report.clip.id, report])),
    clipReportDigests: new Map(),
    onDisk: input.onDisk,
    stills: new Map(),
    findings: [],
  });
}

const reported = (
  list: readonly { readonly found: string; readonly expected: string }[],
): [string, string][] => list.map((item) => [item.found, item.expected]);

describe('roll.json and clip reports against the deliverable reports', () => {
  test('say nothing else when nobody touched them, whenever it was decided', () => {
    const records = goodRecords();
    expect(
      againstReports({ ...records, verdict: { ...records.verdict, decidedAt: '1999-01-01T00:00:00Z' } }),
    ).toEqual([]);
  });

  test.each<[string, (records: RollRecords) => void, [string, string]]>([
    [
      'a clip that its reports do not bear out',
      (records) => {
        const [first] = records.verdict.clips;
        if (first) first.verdict = 'held';
      },
      ['roll.json: clips[A001C001].verdict held', 'clips[A001C001].verdict ready'],
    ],
    [
      'a digest',
      (records) => {
        const made = records.verdict.clips[0]?.deliverables[0];
        if (made) made.sha256 = '00';
      },
      [
        'roll.json: clips[A001C001].deliverables[cut].sha256 00',
        'clips[A001C001].deliverables[cut].sha256 bb',
      ],
    ],
    [
      'a required check struck out',
      (records) => void records.verdict.profiles[0]?.checks.pop(),
      [
        expect.stringMatching(/^roll\.json: profiles\[cut\]\.checks\[\d+\] nothing$/),
        expect.stringMatching(/ reel$/),
      ],
    ],
    [
      'a clip report that embeds another report',
      (records) => {
        const made = records.clipReports.get('A001C002')?.deliverables[1];
        if (made?.report) made.report = { ...made.report, attempt: 7 };
      },
      ['clip report: deliverables[look].report.attempt 7', 'deliverables[look].report.attempt 1'],
    ],
  ])('%s', (_, change, line) => {
    const records = goodRecords();
    change(records);
    expect(reported(againstReports(records))).toContainEqual(line);
  });
});

describe('a second measurement', () => {
  const others: Toolchain = { ...toolchain, digest: 'fingerprint-of-others' };

  function measured(change: (remeasured: { checks: CheckResult[]; facts: Remeasured['facts'] }) => void): {
    records: RollRecords;
    onDisk: Map<string, DeliverableOnDisk>;
  } {
    const records = goodRecords();
    const disk = records.onDisk.get('A001C001/cut') as DeliverableOnDisk;
    const remeasured = structuredClone({ checks: disk.report?.checks ?? [], facts });
    change(remeasured);
    return {
      records,
      onDisk: new Map([
        ...records.onDisk,
        [
          'A001C001/cut',
          { ...disk, remeasured: { xxh128: 'aa', sha256: 'bb', findings: [], ...remeasured } },
        ],
      ]),
    };
  }
  const first = (remeasured: { checks: CheckResult[] }): CheckResult => remeasured.checks[0] as CheckResult;

  test.each<[string, Toolchain, Parameters<typeof measured>[0], [string, string][]]>([
    ['that is the same', toolchain, () => undefined, []],
    [
      'that measures something else by the same tools',
      toolchain,
      (remeasured) => void (first(remeasured).measured = 'n'),
      [['deliverable report: checks[frames].measured m', 'checks[frames].measured n']],
    ],
    [
      'that says it otherwise by other tools',
      others,
      (remeasured) => {
        first(remeasured).measured = 'n';
        first(remeasured).tool = 'ffprobe 8';
      },
      [],
    ],
    [
      'that fails by other tools',
      others,
      (remeasured) => void (first(remeasured).status = 'failed'),
      [['deliverable report: checks[frames].status passed', 'checks[frames].status failed']],
    ],
    [
      'with other facts by the same tools',
      toolchain,
      (remeasured) => void (remeasured.facts = { ...facts, reel: 'A001' }),
      [['deliverable report: facts.reel null', 'facts.reel A001']],
    ],
    [
      'with other facts by other tools',
      others,
      (remeasured) => void (remeasured.facts = { ...facts, reel: 'A001' }),
      [],
    ],
    [
      'of another version of this program',
      { ...toolchain, rushlight: '9.9.9' },
      (remeasured) => void (first(remeasured).measured = 'n'),
      [],
    ],
  ])('%s', (_, tools, change, lines) => {
    const { records, onDisk } = measured(change);
    expect(reported(againstMeasurement(records, onDisk, tools))).toEqual(lines);
  });
});
