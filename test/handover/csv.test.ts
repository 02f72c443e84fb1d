/** The log: RFC 4180, nothing that a spreadsheet would take for a formula, every row whole. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { csvCell, logColumns, logPieces } from '../../handover/csv.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { modelRoll } from '../support/day-model.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { mixedDay } from '../support/mixed-day.ts';

/** By the grammar of RFC 4180, section 2, character by character. Throws for what does not fit it. */
function readCsv(text: string): string[][] {
  const rows: string[][] = [[]];
  let at = 0;
  while (at < text.length) {
    let cell = '';
    if (text[at] === '"') {
      at += 1;
      while (text[at] !== '"' || text[at + 1] === '"') {
        if (at >= text.length) throw new Error('a quote that does not end');
        cell += text[at];
        at += text[at] === '"' ? 2 : 1;
      }
      at += 1;
    } else
      while (at < text.length && text[at] !== ',' && text[at] !== '\r') {
        if (text[at] === '"' || text[at] === '\n') throw new Error(`a bare ${text[at]}`);
        cell += text[at];
        at += 1;
      }
    rows.at(-1)?.push(cell);
    if (text[at] === ',') at += 1;
    else if (text.slice(at, at + 2) === '\r\n') {
      at += 2;
      if (at < text.length) rows.push([]);
    } else throw new Error(`neither comma nor line end at ${at}`);
  }
  return rows;
}

const notes = { amf: () => 'none' };

test('every row has every column, whatever its names hold', async () => {
  const evil = [
    '=1+1',
    '+SUM(A1)',
    '-2',
    '@x',
    '"quoted", with comma',
    'two\r\nlines',
    "'already",
    '＝1',
    '\u202eright',
  ];
  const roll = await modelRoll(
    'A001',
    evil.map((name, at) => ({
      clip: clipNamed(name, `clip-${at}`),
      facts: clipFacts({ metadata: { scene: name, take: '1' }, timecode: parseTimecode('01:00:00:00', 24) }),
      profiles: ['editorial-vc3'],
    })),
  );
  const text = [...logPieces([...(await mixedDay()), roll], notes)].join('');
  const [head, ...rows] = readCsv(text);
  expect(head).toEqual(logColumns.map(({ name }) => name));
  expect(rows).toHaveLength(6 + evil.length);
  expect(rows.filter((row) => row.length !== head?.length)).toEqual([]);
  // Characters that begin a formula in common spreadsheets.
  expect(rows.flat().filter((cell) => /^[=+\-@\t\r＝＋－＠]/.test(cell))).toEqual([]);
  const column = (name: string): number => head?.indexOf(name) ?? -1;
  const scenes = rows.slice(6).map((row) => row[column('scene')]);
  expect(scenes.slice(0, 5)).toEqual(["'=1+1", "'+SUM(A1)", "'-2", "'@x", '"quoted", with comma']);
  expect(rows[2]?.[column('slower')]).toBe('2');
  expect(rows[0]?.slice(column('start'), column('end') + 1)).toEqual(['01:00:50;00', '01:01:10;02']);
});

test('docs/handover.md has the columns, in their order and words', () => {
  const page = readFileSync(join(packageFolder, 'docs', 'handover.md'), 'utf8');
  const table = (page.split('| column | what it is |')[1] ?? '').split('\n\n')[0] ?? '';
  const rows = [...table.matchAll(/^\| `([a-z_]+)` \| (.+) \|$/gm)].map(([, name, says]) => ({ name, says }));
  expect(rows).toEqual(logColumns);
});

test.each([
  ['', ''],
  ['plain', 'plain'],
  ['a,b', '"a,b"'],
  ['say "a"', '"say ""a"""'],
  ['=a,b', '"\'=a,b"'],
])('cell %j', (text, cell) => {
  expect(csvCell(text)).toBe(cell);
});
