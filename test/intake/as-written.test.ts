/** Lists as programs and systems really write them: each is read, or named for what it is. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { intakeRoll } from '../../coordinator/intake/index.ts';
import { findingsText } from '../../coordinator/show/words.ts';
import type { Finding } from '../../findings/finding.ts';
import { finding } from '../../findings/finding.ts';
import { KEPT_OF_A_KIND, tallied } from '../../findings/tally.ts';
import { noDayManifests } from '../../files/manifest/day.ts';
import { foldGenerations } from '../../files/manifest/fold.ts';
import { readXmlList } from '../../files/manifest/xml-list.ts';
import type { IntakeResult } from '../../ledger/roll.ts';
import { freshFolder } from '../support/folder.ts';

function makeRoll(): string {
  const roll = join(freshFolder('as-written'), 'day', 'A001');
  mkdirSync(join(roll, 'Clips'), { recursive: true });
  writeFileSync(join(roll, 'Clips/foundry-1.mov'), 'molten bronze');
  writeFileSync(join(roll, 'Clips/gießen.mov'), 'the mould');
  return roll;
}

const intake = (folder: string): Promise<IntakeResult> =>
  intakeRoll({
    day: 'day',
    roll: 'A001',
    folder,
    copies: [],
    manifests: [],
    dayManifests: noDayManifests,
    readers: 1,
  });

const list = (roll: string, program = 'md5sum'): string =>
  execFileSync('sh', ['-c', `find Clips -type f | sort | xargs ${program} 2>/dev/null`], {
    cwd: roll,
    encoding: 'utf8',
  });

const codes = (result: IntakeResult): string[] => [...new Set(result.findings.map(({ code }) => code))];

describe('a checksum list', () => {
  const forms: [what: string, written: (text: string) => Buffer, codes: string[]][] = [
    ['with CR LF', (text) => Buffer.from(text.replaceAll('\n', '\r\n')), []],
    ['with CR alone', (text) => Buffer.from(text.replaceAll('\n', '\r')), []],
    ['with a byte order mark and CR LF', (text) => Buffer.from(`\ufeff${text.replaceAll('\n', '\r\n')}`), []],
    ['in UTF-16, with a mark', (text) => Buffer.from(`\ufeff${text}`, 'utf16le'), []],
    ['in UTF-16, without a mark', (text) => Buffer.from(text, 'utf16le'), []],
    ['in UTF-16 of the other order', (text) => Buffer.from(`\ufeff${text}`, 'utf16le').swap16(), []],
    ['with backslashes', (text) => Buffer.from(text.replaceAll('/', '\\')), ['manifest-path-separators']],
    [
      'with backslashes from the folder above',
      (text) => Buffer.from(text.replaceAll('Clips/', '.\\A001\\Clips\\')),
      ['manifest-path-separators'],
    ],
  ];
  test.each(forms)('%s is read', async (_, written, wanted) => {
    const roll = makeRoll();
    writeFileSync(join(roll, 'A001.md5'), written(list(roll)));
    const result = await intake(roll);
    expect(codes(result)).toEqual(wanted);
    expect(result.copies[0]?.verified).toBe(true);
    writeFileSync(join(roll, 'Clips/foundry-1.mov'), 'Molten bronze');
    expect(codes(await intake(roll))).toContain('file-checksum-differs');
  });

  test('with a backslash in a name that a file has means that name', async () => {
    const roll = makeRoll();
    writeFileSync(join(roll, 'Clips\\foundry-1.mov'), 'another');
    writeFileSync(
      join(roll, 'A001.xxh64'),
      execFileSync(
        'sh',
        ['-c', 'find . -type f ! -name "*.xxh64" | sort | xargs -d "\\n" xxhsum -H64 2>/dev/null'],
        { cwd: roll },
      ),
    );
    expect(codes(await intake(roll))).toEqual([]);
  });

  test.each([
    ['with a drive letter', (text: string) => text.replaceAll('Clips/', 'D:\\day\\A001\\Clips\\')],
    ['from the root', (text: string) => text.replaceAll('Clips/', '/mnt/card/A001/Clips/')],
  ])('of whole paths, %s, is named for that', async (_, written) => {
    const roll = makeRoll();
    writeFileSync(join(roll, 'A001.md5'), written(list(roll)));
    expect(codes(await intake(roll))).toContain('manifest-path-absolute');
    expect(codes(await intake(roll))).not.toContain('roll-file-absent');
  });

  test.each(['32', '64', '128'])(
    'of xxhsum -H%s --little-endian proves the roll, with a note',
    async (width) => {
      const roll = makeRoll();
      writeFileSync(join(roll, `A001.xxh${width}`), list(roll, `xxhsum -H${width} --little-endian`));
      const result = await intake(roll);
      expect(codes(result)).toEqual(['manifest-byte-order']);
      expect(result.findings[0]?.expected).toContain('the same bytes, last one first');
      expect(result.copies[0]?.verified).toBe(true);
    },
  );

  test('that was cut off says so', async () => {
    const roll = makeRoll();
    writeFileSync(join(roll, 'A001.md5'), list(roll).slice(0, -45));
    expect((await intake(roll)).findings.map(({ found }) => found)).toContainEqual(
      expect.stringContaining('the list ends in the middle of it'),
    );
  });

  test('that is a link is named as one', async () => {
    const roll = makeRoll();
    writeFileSync(join(roll, '../../list.md5'), list(roll));
    symlinkSync('../../list.md5', join(roll, 'A001.md5'));
    const result = await intake(roll);
    expect(codes(result).sort()).toEqual(['link-leaves-roll', 'manifest-missing', 'manifest-not-used']);
    expect(result.findings.find(({ code }) => code === 'manifest-missing')?.found).toContain(
      'the notes say why',
    );
  });
});

test('XML that was cut off says before what', async () => {
  const roll = makeRoll();
  for (const [text, end] of [
    ['<hashlist version="1.1"><hash><file>a.mov</file><si', '</hash>'],
    ['<hashlist version="1.1"><hash><file>a.m', '</file>'],
  ] as const) {
    writeFileSync(join(roll, 'A001.mhl'), text);
    expect((await intake(roll)).findings[0]).toMatchObject({
      code: 'manifest-unreadable',
      found: `it ends before ${end}`,
    });
  }
});

describe('long lists', () => {
  const absent = (count: number): Finding[] =>
    Array.from({ length: count }, (_, index) =>
      finding('roll-file-absent', 'not there', '1 bytes', { roll: 'A001', copy: '/a', file: `${index}.dng` }),
    );

  test('of files that are not there end in a count, in the record and in text', async () => {
    const roll = makeRoll();
    const lines = Array.from({ length: 200_000 }, (_, index) => `${'0'.repeat(32)}  raw/${index}.dng\n`);
    writeFileSync(join(roll, 'A001.md5'), list(roll) + lines.join(''));
    const result = await intake(roll);
    expect(result.findings.length).toBe(KEPT_OF_A_KIND + 1);
    expect(result.findings.at(-1)).toMatchObject({
      code: 'findings-more',
      counted: { code: 'roll-file-absent', more: 200_000 - KEPT_OF_A_KIND },
    });
    expect(result.copies[0]?.verified).toBe(false);
    expect(findingsText(result.findings)).toContain('[roll-file-absent], 200000 times');
  });

  test('a tally of tallies counts the same', () => {
    const all = absent(1000);
    expect(tallied([...tallied(all.slice(0, 700)), ...tallied(all.slice(700))])).toEqual([
      ...absent(KEPT_OF_A_KIND),
      expect.objectContaining({ counted: { code: 'roll-file-absent', more: 1000 - KEPT_OF_A_KIND } }),
    ]);
  });

  /** Reads of the list's items: work that is counted, not timed. */
  test('of findings are put into words in one pass', () => {
    const reads = (count: number): number => {
      let seen = 0;
      const items = absent(count).map(
        (item) =>
          new Proxy(item, {
            get: (target, key) => {
              seen += 1;
              return Reflect.get(target, key);
            },
          }),
      );
      findingsText(items);
      return seen;
    };
    expect(reads(4000) / reads(1000)).toBeLessThan(4.5);
  });

  test('in XML are not kept as a tree: entries beyond the bound are refused in words', () => {
    const entry = (index: number): string =>
      `<hash><file>${index}.dng</file><size>1</size><md5>${'0'.repeat(32)}</md5></hash>`;
    const text = `<hashlist version="1.1">${Array.from({ length: 3 }, (_, index) => entry(index)).join('')}</hashlist>`;
    const read = readXmlList(Buffer.from(text), 'm');
    expect(read.kind === 'hash-list-1' && read.reading.statements.map(({ path }) => path)).toEqual([
      '0.dng',
      '1.dng',
      '2.dng',
    ]);
  });

  test('of renamed folders move every file with its innermost one', () => {
    const file = (path: string): object => ({
      path,
      bytes: 1,
      hashes: [{ algorithm: 'xxh64', value: '0'.repeat(16), action: 'original' }],
      previousPath: null,
    });
    const generation = (files: object[], folders: object[]): never =>
      ({ files, folders, references: [], ignore: [], findings: [] }) as never;
    const { statements } = foldGenerations([
      { generation: generation([file('a/b/c.mov'), file('a/d.mov')], []), manifest: '1' },
      {
        generation: generation(
          [],
          [
            { path: 'x', previousPath: 'a' },
            { path: 'y', previousPath: 'a/b' },
          ],
        ),
        manifest: '2',
      },
    ]);
    expect(statements.map(({ path }) => path)).toEqual(['y/c.mov', 'x/d.mov']);
  });
});
