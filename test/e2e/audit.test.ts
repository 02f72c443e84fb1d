/** A delivery measured again, days later: untouched it is as the record says, and every way of touching it is reported. */
import { copyFileSync, cpSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { auditDelivery } from '../../coordinator/audit/index.ts';
import type { RollAudit } from '../../coordinator/audit/request.ts';
import { runCli } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';
import { runWords } from '../support/night.ts';
import { rememberedCheck } from '../support/remembered-check.ts';

const original = delivered.delivery;

beforeAll(makeDelivered, 240_000);

/** What is not touched is measured once for all of these. */
const check = rememberedCheck();

/** A copy of the delivery, spoiled; what the audit says of its one roll. */
async function auditOf(spoil: (roll: string) => void): Promise<RollAudit> {
  const delivery = freshFolder('audit');
  cpSync(original, delivery, { recursive: true });
  spoil(join(delivery, 'day-07', 'A005'));
  const result = await auditDelivery({ delivery, tools: await mediaTools(), check });
  expect(result.rolls).toHaveLength(1);
  return result.rolls[0] as RollAudit;
}

function edit(path: string, from: string | RegExp, to: string): void {
  const text = readFileSync(path, 'utf8');
  const edited = text.replace(from, to);
  if (edited === text) throw new Error(`nothing to edit in ${path}`);
  writeFileSync(path, edited);
}

test('untouched, the roll is ready, as the record says', async () => {
  const audit = await auditOf(() => undefined);
  expect(audit).toMatchObject({ recorded: 'ready', measured: 'ready', deliverables: 2, findings: [] });
});

test('what lies beside the rolls is named, and what operating systems leave is not', async () => {
  const delivery = freshFolder('audit');
  cpSync(original, delivery, { recursive: true });
  writeFileSync(join(delivery, 'notes.txt'), 'call the foundry');
  writeFileSync(join(delivery, '.DS_Store'), 'x');
  mkdirSync(join(delivery, 'day-07', 'stills'));
  const { rolls, findings } = await auditDelivery({ delivery, tools: await mediaTools(), check });
  expect(rolls.map(({ measured }) => measured)).toEqual(['ready']);
  expect(findings.map(({ code, file }) => [code, file])).toEqual([
    ['delivery-file-foreign', 'day-07/stills'],
    ['delivery-file-foreign', 'notes.txt'],
  ]);
});

describe('touched', () => {
  test.each<[string, (roll: string) => void, string]>([
    ['one byte of a deliverable', (roll) => flip(join(roll, 'small-vc3', 'A005C001.mov')), 'digest-differs'],
    ['a deliverable taken away', (roll) => rmSync(join(roll, 'small-vc3', 'A005C001.mov')), 'file-absent'],
    [
      'a deliverable put under the name of another',
      (roll) =>
        copyFileSync(join(roll, 'small-vc3', 'A005C002.mov'), join(roll, 'small-vc3', 'A005C001.mov')),
      'frame-count-differs',
    ],
    [
      'a file that nobody made',
      (roll) => writeFileSync(join(roll, 'small-vc3', 'final-final.mov'), 'x'),
      'file-not-listed',
    ],
    [
      'a deliverable report taken away',
      (roll) => rmSync(join(roll, 'reports', 'deliverables', 'A005C001.small-vc3.json')),
      'report-absent',
    ],
    [
      'a deliverable report torn',
      (roll) =>
        writeFileSync(join(roll, 'reports', 'deliverables', 'A005C001.small-vc3.json'), '{"version": 1,'),
      'record-damaged',
    ],
    [
      'a check edited',
      (roll) =>
        edit(
          join(roll, 'reports', 'deliverables', 'A005C001.small-vc3.json'),
          '"status": "passed"',
          '"status": "failed"',
        ),
      'record-mismatch',
    ],
    [
      'a clip report edited',
      (roll) => edit(join(roll, 'reports', 'A005C001.json'), /"verdict": "ready"/, '"verdict": "held"'),
      'record-mismatch',
    ],
    [
      'a digest edited in roll.json',
      (roll) => edit(join(roll, 'roll.json'), /"xxh128": "[0-9a-f]{32}"/, `"xxh128": "${'0'.repeat(32)}"`),
      'record-mismatch',
    ],
  ])('%s', async (_title, spoil, code) => {
    const audit = await auditOf(spoil);
    expect(audit.findings.map((item) => item.code)).toContain(code);
    expect(audit.findings.map((item) => item.code)).toContain('verdict-differs');
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
  });

  test('a copy that did not hold, in a record that says ready', async () => {
    const audit = await auditOf((roll) =>
      edit(join(roll, 'roll.json'), '"verified": true', '"verified": false'),
    );
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
    expect(audit.findings.map((item) => item.code)).toContain('copy-not-verified');
  });

  test('each difference is reported with what the record says and what is found', async () => {
    const audit = await auditOf((roll) => {
      edit(
        join(roll, 'reports', 'deliverables', 'A005C001.small-vc3.json'),
        /"check": "frames",\s+"status": "passed",\s+"measured": "[^"]*"/,
        '"check": "frames", "status": "passed", "measured": "25 frames"',
      );
      edit(join(roll, 'reports', 'A005C002.json'), '"host": "', '"host": "not ');
    });
    const reported = audit.findings.filter((item) => item.code === 'record-mismatch');
    expect(reported).toContainEqual(
      expect.objectContaining({
        clip: 'A005C001',
        profile: 'small-vc3',
        found: 'deliverable report: checks[frames].measured 25 frames',
      }),
    );
    expect(reported).toContainEqual(
      expect.objectContaining({
        roll: 'A005',
        found: expect.stringContaining(
          'roll.json: clips[A005C001].deliverables[small-vc3].checks[frames].measured',
        ),
        expected: expect.stringContaining('25 frames'),
      }),
    );
    expect(reported).toContainEqual(
      expect.objectContaining({
        clip: 'A005C002',
        found: expect.stringContaining('clip report: deliverables[small-vc3].report.host not '),
      }),
    );
  });

  test.each<[string, (outcome: Record<string, unknown>) => void, string]>([
    ['its frames', (outcome) => void (outcome.frames = 23), 'outcome.frames 23'],
    ['its timecode', (outcome) => void (outcome.timecode = null), 'outcome.timecode null'],
    ['its codec', (outcome) => void (outcome.codec = 'h264'), 'outcome.codec h264'],
  ])(
    'an outcome edited the same way in report and clip report is decided again: %s',
    async (_title, change, reported) => {
      const audit = await auditOf((roll) => {
        const report = join(roll, 'reports', 'deliverables', 'A005C001.small-vc3.json');
        const edited = JSON.parse(readFileSync(report, 'utf8')) as { outcome: Record<string, unknown> };
        change(edited.outcome);
        writeFileSync(report, JSON.stringify(edited));
        const clipReport = join(roll, 'reports', 'A005C001.json');
        const whole = JSON.parse(readFileSync(clipReport, 'utf8')) as { deliverables: { report: unknown }[] };
        writeFileSync(
          clipReport,
          JSON.stringify({
            ...whole,
            deliverables: whole.deliverables.map((entry) => ({ ...entry, report: edited })),
          }),
        );
      });
      expect(audit.measured).toBe('held');
      expect(
        audit.findings.filter((item) => item.code === 'record-mismatch').map((item) => item.found),
      ).toContain(`deliverable report: ${reported}`);
    },
  );

  test('a report of a clip that roll.json does not list', async () => {
    const audit = await auditOf((roll) =>
      copyFileSync(join(roll, 'reports', 'A005C001.json'), join(roll, 'reports', 'A005C003.json')),
    );
    expect(audit.findings).toContainEqual(
      expect.objectContaining({ code: 'clip-report-left', file: 'reports/A005C003.json' }),
    );
    expect(audit.measured).toBe('held');
  });

  test('records of an older version, without what newer ones say, are held for it and not refused', async () => {
    const audit = await auditOf((roll) => {
      const path = join(roll, 'roll.json');
      const { copiesAsked: _, ...record } = JSON.parse(readFileSync(path, 'utf8')) as {
        copiesAsked: number;
        profiles: { profile?: unknown }[];
      };
      writeFileSync(
        path,
        JSON.stringify({ ...record, profiles: record.profiles.map(({ profile: __, ...rest }) => rest) }),
      );
    });
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
    expect(audit.findings.map((item) => item.code)).toEqual(
      expect.arrayContaining(['record-incomplete', 'verification-absent']),
    );
    expect(audit.findings.map((item) => item.code)).not.toContain('record-damaged');
  });
});

describe('a held roll', () => {
  const base = join(sharedFolder, 'audit-held');
  const held = join(base, 'delivery');
  beforeAll(async () => {
    const day = await makeDay(join(base, 'day-07'), { A005: { 'A005C001.mov': { frames: 12 } } });
    writeFileSync(join(day, 'A005', 'A005C001.mov'), 'overwritten');
    const night = await runCli(runWords({ day, delivery: held, work: join(base, 'work') }));
    if (night.code !== 1) throw new Error(night.stderr + night.stdout);
  }, 240_000);

  async function heldAudit(spoil: (roll: string) => void): Promise<RollAudit> {
    const delivery = freshFolder('audit');
    cpSync(held, delivery, { recursive: true });
    spoil(join(delivery, 'day-07', 'A005'));
    return (await auditDelivery({ delivery, tools: await mediaTools(), check })).rolls[0] as RollAudit;
  }

  test('untouched is held, for the reason that was recorded', async () => {
    const audit = await heldAudit(() => undefined);
    expect(audit).toMatchObject({ recorded: 'held', measured: 'held', statement: 'absent' });
    expect(audit.findings.map((item) => item.code)).toContain('file-checksum-differs');
    expect(audit.findings.map((item) => item.code)).not.toContain('verdict-differs');
  });

  test.each<[string, (record: Record<string, unknown>) => Record<string, unknown>]>([
    ['with its verdict edited to ready', (record) => ({ ...record, verdict: 'ready' })],
    ['with its findings emptied besides', (record) => ({ ...record, verdict: 'ready', findings: [] })],
    [
      'with its copies made to hold besides',
      (record) => ({
        ...record,
        verdict: 'ready',
        findings: [],
        copies: (record.copies as object[]).map((copy) => ({ ...copy, verified: true })),
      }),
    ],
  ])('%s is held', async (_title, change) => {
    const audit = await heldAudit((roll) => {
      const path = join(roll, 'roll.json');
      writeFileSync(
        path,
        JSON.stringify(change(JSON.parse(readFileSync(path, 'utf8')) as Record<string, unknown>)),
      );
    });
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
    expect(audit.findings.map((item) => item.code)).toEqual(
      expect.arrayContaining(['verdict-differs', 'statement-absent']),
    );
  });
});

function flip(path: string): void {
  const bytes = readFileSync(path);
  const at = Math.floor(bytes.length / 2);
  bytes[at] = (bytes[at] as number) ^ 1;
  writeFileSync(path, bytes);
}
