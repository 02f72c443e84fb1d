/** A handover on disk: written with the verdicts, left alone where nothing changed, held against statement and records, never over what is somebody's. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  cpSync,
  existsSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { auditHandover } from '../../handover/audit.ts';
import { isPageFile } from '../../handover/layout.ts';
import type { PagesStatement } from '../../handover/pages-statement.ts';
import { publishHandover } from '../../handover/publish.ts';
import type { HandoverStatement } from '../../handover/statement.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { filesBelow, stateOf } from '../support/delivery.ts';
import { freshFolder } from '../support/folder.ts';

beforeAll(makeDelivered);

/** A copy of the day, with the handover that the night wrote. */
function dayCopy(): string {
  const folder = join(freshFolder('handover'), 'day-07');
  cpSync(join(delivered.delivery, 'day-07'), folder, { recursive: true });
  return folder;
}
const sha256 = (data: string | Buffer): string => createHash('sha256').update(data).digest('hex');
const codes = async (day: string): Promise<string[]> =>
  [...new Set((await auditHandover(day)).map(({ code }) => code))].sort();
const statementOf = (day: string): HandoverStatement =>
  JSON.parse(readFileSync(join(day, 'handover', 'statement.json'), 'utf8')) as HandoverStatement;

const OURS = [
  'A005/A005.23.98.edl',
  'A005/A005.otio',
  'bin.otio',
  'checksums.sha256',
  'log.csv',
  'timeline.otio',
];

test('pages, sheets and their records are named by a statement of their own; one that was changed, added or taken away is found', async () => {
  const day = dayCopy();
  const folder = join(day, 'handover');
  const bound = filesBelow(folder).filter((path) => isPageFile(path) && path !== 'pages.json');
  expect(bound).toEqual(expect.arrayContaining(['made.json', 'morning.html', 'night.json']));
  const { subject, predicate } = JSON.parse(
    readFileSync(join(folder, 'pages.json'), 'utf8'),
  ) as PagesStatement;
  expect(subject.map(({ name, digest }) => [name, digest.sha256])).toEqual(
    bound.map((name) => [name, sha256(readFileSync(join(folder, name)))]),
  );
  expect(predicate.rolls.map(({ roll, verdict }) => [roll, verdict.digest.sha256])).toEqual([
    ['A005', sha256(readFileSync(join(day, 'A005', 'roll.json')))],
  ]);
  expect(await codes(day)).toEqual([]);
  const page = join(folder, 'morning.html');
  const whole = readFileSync(page);
  writeFileSync(page, whole.toString('utf8').replace('ready', 'raedy'));
  expect(await codes(day)).toEqual(['page-differs']);
  rmSync(page);
  expect(await codes(day)).toEqual(['page-differs']);
  writeFileSync(page, whole);
  mkdirSync(join(folder, 'sheets'), { recursive: true });
  writeFileSync(join(folder, 'sheets', 'Z009.jpg'), 'a sheet of nobody');
  expect(await codes(day)).toEqual(['page-differs']);
  rmSync(join(folder, 'sheets', 'Z009.jpg'));
  // Without the statement the pages are nobody's.
  const statement = readFileSync(join(folder, 'pages.json'));
  rmSync(join(folder, 'pages.json'));
  expect(await codes(day)).toEqual(['page-differs']);
  // A later verdict: the page speaks of an earlier one, and that is a note.
  writeFileSync(join(folder, 'pages.json'), statement);
  writeFileSync(join(day, 'A005', 'roll.json'), `${readFileSync(join(day, 'A005', 'roll.json'), 'utf8')} `);
  expect(await codes(day)).toContain('page-outdated');
});

test('a night writes it: what lies there is what its statement names, and sha256sum proves all that is handed over', async () => {
  const day = join(delivered.delivery, 'day-07');
  const folder = join(day, 'handover');
  // Pages speak of held rolls as well, and are no part of it (test/handover/pages.test.ts).
  expect(filesBelow(folder).filter((path) => !isPageFile(path))).toEqual([...OURS, 'statement.json'].sort());
  const { subject, predicate } = statementOf(day);
  expect(subject.map(({ name, digest }) => [name, digest.sha256])).toEqual(
    OURS.map((name) => [name, sha256(readFileSync(join(folder, name)))]),
  );
  expect(predicate).toMatchObject({ day: 'day-07', rolls: [{ roll: 'A005', folder: 'A005' }], earlier: [] });
  // coreutils reads every file that the list names.
  const said = execFileSync('sha256sum', ['--strict', '--check', 'handover/checksums.sha256'], {
    cwd: day,
    encoding: 'utf8',
  });
  const proved = said
    .trim()
    .split('\n')
    .map((line) => line.replace(/: OK$/, ''));
  // All but the verdict, whose time is another every night, the list itself and what names it.
  expect(proved.sort()).toEqual(
    filesBelow(day).filter(
      (path) =>
        !['A005/roll.json', 'handover/checksums.sha256', 'handover/statement.json'].includes(path) &&
        !isPageFile(path.replace(/^handover\//, '')),
    ),
  );
  expect(await auditHandover(day)).toEqual([]);
});

test('written again from the same records nothing is touched', async () => {
  const day = dayCopy();
  // Staging changes the times of folders; of files nothing is touched.
  const files = (): string[] =>
    stateOf(join(day, 'handover')).filter((line) =>
      filesBelow(join(day, 'handover')).includes(line.split(' ')[0] ?? ''),
    );
  const before = files();
  // With the statement, the page, its two records and what names them.
  expect(before).toHaveLength(OURS.length + 5);
  expect(await publishHandover(day)).toEqual({ written: [], removed: [], rolls: ['A005'], findings: [] });
  expect(files()).toEqual(before);
});

describe('what is not as it should be is found', () => {
  const at = (day: string, name: string): string => join(day, 'handover', name);
  const rewritten = (day: string, change: (statement: HandoverStatement) => void): void => {
    const statement = statementOf(day);
    change(statement);
    writeFileSync(at(day, 'statement.json'), `${JSON.stringify(statement, null, 2)}\n`);
  };
  test.each<[string, (day: string) => void, string[]]>([
    [
      'a changed list',
      (day) => writeFileSync(at(day, 'A005/A005.23.98.edl'), 'TITLE: x'),
      ['handover-file-differs'],
    ],
    ['a file that is gone', (day) => rmSync(at(day, 'log.csv')), ['handover-file-absent']],
    ['a file of somebody', (day) => writeFileSync(at(day, 'notes.txt'), 'x'), ['delivery-file-foreign']],
    [
      'what a writer that was ended left',
      (day) => writeFileSync(at(day, 'A005/.rushlight-part-0000'), 'x'),
      ['staging-left'],
    ],
    [
      'a file of somebody in the folder of a roll',
      (day) => writeFileSync(at(day, 'A005/x.otio'), '{}'),
      ['delivery-file-foreign'],
    ],
    [
      'a link where a file was',
      (day) => {
        renameSync(at(day, 'bin.otio'), join(day, '..', 'bin.otio'));
        symlinkSync(join(day, '..', 'bin.otio'), at(day, 'bin.otio'));
      },
      ['handover-file-absent', 'link-in-delivery'],
    ],
    ['a torn statement', (day) => writeFileSync(at(day, 'statement.json'), '{'), ['handover-damaged']],
    ['no handover at all', (day) => rmSync(join(day, 'handover'), { recursive: true }), ['handover-absent']],
    [
      'a file that was changed together with the statement',
      (day) => {
        const text = readFileSync(at(day, 'A005/A005.23.98.edl'), 'utf8').replace(
          '01:00:00:00',
          '01:00:00:01',
        );
        writeFileSync(at(day, 'A005/A005.23.98.edl'), text);
        rewritten(day, ({ subject }) => {
          for (const one of subject) if (one.name === 'A005/A005.23.98.edl') one.digest.sha256 = sha256(text);
        });
      },
      ['handover-file-differs'],
    ],
    [
      'a file that was taken out together with its name',
      (day) => {
        rmSync(at(day, 'log.csv'));
        rewritten(
          day,
          ({ subject }) =>
            void subject.splice(
              subject.findIndex(({ name }) => name === 'log.csv'),
              1,
            ),
        );
      },
      ['handover-file-differs'],
    ],
    [
      'another verdict',
      (day) => {
        const path = join(day, 'A005', 'roll.json');
        writeFileSync(path, readFileSync(path, 'utf8').replace('"verdict": "ready"', '"verdict": "held"'));
      },
      ['handover-outdated'],
    ],
    [
      'one that was not written to its end',
      (day) =>
        rewritten(
          day,
          ({ predicate }) =>
            void predicate.earlier.push({ name: 'log.csv', digest: { sha256: 'a'.repeat(64) } }),
        ),
      ['handover-outdated'],
    ],
  ])('%s', async (_what, spoil, expected) => {
    const day = dayCopy();
    spoil(day);
    // Of another verdict the pages are outdated too, which is a note.
    expect((await codes(day)).filter((code) => code !== 'page-outdated')).toEqual(expected);
  });
});

test('a file that somebody changed is left as it is and named; moved away, it is written anew', async () => {
  const day = dayCopy();
  const log = join(day, 'handover', 'log.csv');
  writeFileSync(log, 'my own notes');
  const first = await publishHandover(day);
  expect(first.findings.map(({ code, file }) => [code, file])).toEqual([
    ['handover-name-taken', 'handover/log.csv'],
  ]);
  expect(readFileSync(log, 'utf8')).toBe('my own notes');
  renameSync(log, join(day, '..', 'mine.csv'));
  expect(await publishHandover(day)).toMatchObject({ written: ['log.csv'], findings: [] });
  expect(await auditHandover(day)).toEqual([]);
});

test('a roll that is held again takes its files along, and leaves what is not ours', async () => {
  const day = dayCopy();
  writeFileSync(join(day, 'handover', 'A005', 'notes.txt'), 'x');
  const path = join(day, 'A005', 'roll.json');
  const ready = readFileSync(path, 'utf8');
  writeFileSync(path, ready.replace('"verdict": "ready"', '"verdict": "held"'));
  const result = await publishHandover(day);
  expect(result).toMatchObject({
    rolls: [],
    removed: ['A005/A005.23.98.edl', 'A005/A005.otio'],
    findings: [],
  });
  expect(existsSync(join(day, 'handover', 'A005', 'notes.txt'))).toBe(true);
  expect(statementOf(day).predicate.rolls).toEqual([]);
  expect(await codes(day)).toEqual(['delivery-file-foreign', 'page-outdated']);
  writeFileSync(path, ready);
  expect((await publishHandover(day)).rolls).toEqual(['A005']);
  expect(statementOf(day)).toEqual(statementOf(join(delivered.delivery, 'day-07')));
});

test('a writer that ended between two names: the next one knows which files are ours', async () => {
  const day = dayCopy();
  const folder = join(day, 'handover');
  const whole = statementOf(day);
  // As it lies there after step 2, and after one file of step 3: an older log is named by the statement and stands.
  writeFileSync(join(folder, 'log.csv'), 'an older log');
  const begun = structuredClone(whole);
  begun.predicate.earlier = [
    { name: 'log.csv', digest: { sha256: sha256('an older log') } },
    { name: 'gone.edl', digest: { sha256: sha256('an older list') } },
  ];
  writeFileSync(join(folder, 'gone.edl'), 'an older list');
  writeFileSync(join(folder, 'statement.json'), `${JSON.stringify(begun, null, 2)}\n`);
  writeFileSync(join(folder, '.rushlight-part-0000'), 'unfinished');
  expect(await publishHandover(day)).toMatchObject({
    written: ['log.csv'],
    removed: ['gone.edl'],
    findings: [],
  });
  expect(statementOf(day)).toEqual(whole);
  // A run sweeps it (ledger/unfinished.ts); a writer leaves what may be another's.
  expect(await codes(day)).toEqual(['staging-left']);
});

test('a day of which nothing is ready gets no folder', async () => {
  const day = dayCopy();
  rmSync(join(day, 'handover'), { recursive: true });
  const path = join(day, 'A005', 'roll.json');
  writeFileSync(path, readFileSync(path, 'utf8').replace('"verdict": "ready"', '"verdict": "held"'));
  expect(await publishHandover(day)).toEqual({ written: [], removed: [], rolls: [], findings: [] });
  expect(existsSync(join(day, 'handover'))).toBe(false);
  expect(await auditHandover(day)).toEqual([]);
});

test('nothing is written through a link, nor into a roll of that name', async () => {
  const linked = dayCopy();
  rmSync(join(linked, 'handover'), { recursive: true });
  const elsewhere = join(linked, '..', 'elsewhere');
  mkdirSync(elsewhere);
  symlinkSync(elsewhere, join(linked, 'handover'));
  expect((await publishHandover(linked)).findings.map(({ code }) => code)).toEqual(['link-in-delivery']);
  expect(filesBelow(elsewhere)).toEqual([]);
  expect(await codes(linked)).toEqual(['link-in-delivery']);
  const named = dayCopy();
  rmSync(join(named, 'handover'), { recursive: true });
  renameSync(join(named, 'A005'), join(named, 'handover'));
  expect((await publishHandover(named)).findings.map(({ code }) => code)).toEqual(['roll-name-reserved']);
  expect(existsSync(join(named, 'handover', 'statement.json'))).toBe(true);
  expect(existsSync(join(named, 'handover', 'bin.otio'))).toBe(false);
});
