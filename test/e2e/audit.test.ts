/** A delivery measured again, days later: untouched it is as the record says, and every way of touching it is told. */
import { copyFileSync, cpSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { auditDelivery, type RollAudit } from '../../coordinator/audit/index.ts';
import { runCli } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';

const base = join(sharedFolder, 'audit');
const original = join(base, 'delivery');

beforeAll(async () => {
  const day = await makeDay(join(base, 'day-06'), { A004: { 'A004C001.mov': { frames: 24 }, 'A004C002.mov': { frames: 12, timecode: '02:00:00:00' } } });
  const night = await runCli(['run', day, '--deliver', original, '--work', join(base, 'work'), '--profile', 'test/fixtures/profiles/small-vc3.yaml']);
  if (night.code !== 0) throw new Error(night.stderr + night.stdout);
}, 240_000);

/** A copy of the delivery, spoiled; what the audit says of its one roll. */
async function auditOf(spoil: (roll: string) => void): Promise<RollAudit> {
  const delivery = freshFolder('audit');
  cpSync(original, delivery, { recursive: true });
  spoil(join(delivery, 'day-06', 'A004'));
  const result = await auditDelivery({ delivery, tools: await mediaTools() });
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

describe('touched', () => {
  test.each<[string, (roll: string) => void, string]>([
    ['one byte of a deliverable', (roll) => flip(join(roll, 'small-vc3', 'A004C001.mov')), 'digest-differs'],
    ['a deliverable taken away', (roll) => rmSync(join(roll, 'small-vc3', 'A004C001.mov')), 'file-absent'],
    ['a deliverable put under the name of another', (roll) => copyFileSync(join(roll, 'small-vc3', 'A004C002.mov'), join(roll, 'small-vc3', 'A004C001.mov')), 'frame-count-differs'],
    ['a file that nobody made', (roll) => writeFileSync(join(roll, 'small-vc3', 'final-final.mov'), 'x'), 'file-not-listed'],
    ['a deliverable report taken away', (roll) => rmSync(join(roll, 'reports', 'deliverables', 'A004C001.small-vc3.json')), 'report-absent'],
    ['a deliverable report torn', (roll) => writeFileSync(join(roll, 'reports', 'deliverables', 'A004C001.small-vc3.json'), '{"version": 1,'), 'record-damaged'],
    ['a check edited', (roll) => edit(join(roll, 'reports', 'deliverables', 'A004C001.small-vc3.json'), '"outcome": "passed"', '"outcome": "failed"'), 'report-disagrees'],
    ['a clip report edited', (roll) => edit(join(roll, 'reports', 'A004C001.json'), /"verdict": "ready"/, '"verdict": "held"'), 'report-disagrees'],
    ['a digest edited in roll.json', (roll) => edit(join(roll, 'roll.json'), /"xxh128": "[0-9a-f]{32}"/, `"xxh128": "${'0'.repeat(32)}"`), 'report-disagrees'],
  ])('%s', async (_title, spoil, code) => {
    const audit = await auditOf(spoil);
    expect(audit.findings.map((item) => item.code)).toContain(code);
    expect(audit.findings.map((item) => item.code)).toContain('verdict-differs');
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
  });

  test('a held roll whose record was edited to ready is held', async () => {
    const audit = await auditOf((roll) => edit(join(roll, 'roll.json'), '"holds": true', '"holds": false'));
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
  });
});

function flip(path: string): void {
  const bytes = readFileSync(path);
  const at = Math.floor(bytes.length / 2);
  bytes[at] = (bytes[at] as number) ^ 1;
  writeFileSync(path, bytes);
}
