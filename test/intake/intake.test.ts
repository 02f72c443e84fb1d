/** Intake of rolls whose manifests were made by programs outside the project: md5sum, xxhsum, and the ASC MHL reference scenario. */
import { execFileSync } from 'node:child_process';
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { noDayManifests } from '../../files/manifest/day.ts';
import { discoverRolls, intakeRoll } from '../../coordinator/intake/index.ts';
import { judgeCopy } from '../../coordinator/intake/judge.ts';
import { readCopy, walkCopy } from '../../coordinator/intake/read.ts';
import type { IntakeResult } from '../../ledger/roll.ts';
import type { FileRead } from '../../files/manifest/hash.ts';
import { fsPath, nameFromBytes } from '../../files/names.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';

const ROLL = 'A001';

/** A day with one roll of two clips and a sheet, its manifest by md5sum, and a second copy of the day. */
function makeShootDay(extra: Readonly<Record<string, string>> = {}): {
  day: string;
  roll: string;
  copy: string;
  base: string;
} {
  const base = freshFolder('intake');
  if (Object.keys(extra).length === 0) {
    if (!existsSync(plain)) fill(plain, {});
    execFileSync('cp', ['-a', `${plain}/.`, base]);
  } else fill(base, extra);
  const day = join(base, 'day');
  return { base, day, roll: join(day, ROLL), copy: join(base, 'copy') };
}

/** The day that most tests begin with, made once and copied. */
const plain = join(sharedFolder, `intake-plain-${process.pid}`);

function fill(base: string, extra: Readonly<Record<string, string>>): void {
  const day = join(base, 'day');
  const roll = join(day, ROLL);
  mkdirSync(join(roll, 'Clips'), { recursive: true });
  const files = {
    'Clips/foundry-1.mov': 'molten bronze',
    'Clips/foundry-2.mov': 'the mould',
    'sheet.txt': 'bell, first casting',
    ...extra,
  };
  for (const [name, text] of Object.entries(files)) writeFileSync(fsPath(`${roll}/${name}`), text);
  writeMd5Manifest(roll);
  // cp itself: node's cpSync loses names that are not UTF-8.
  execFileSync('cp', ['-a', day, join(base, 'copy')]);
}

function intake(
  at: { roll: string; copy?: string },
  more: { manifests?: string[]; copies?: string[] } = {},
): Promise<IntakeResult> {
  return intakeRoll({
    day: 'day',
    roll: ROLL,
    folder: at.roll,
    copies: more.copies ?? (at.copy === undefined ? [] : [at.copy]),
    manifests: more.manifests ?? [],
    dayManifests: noDayManifests,
    // A thread for each reader: starting one takes longer than all that is read here. Two: below, where progress is counted.
    readers: 1,
  });
}

/** But for the note that all copies of these tests lie on one drive, which `copies.test.ts` looks at. */
const besidesDrive = ({ findings }: IntakeResult): IntakeResult['findings'] =>
  findings.filter(({ code }) => code !== 'copy-same-drive');

const reported = (result: IntakeResult): string[] =>
  besidesDrive(result)
    .map(({ code, file }) => (file === undefined ? code : `${code} ${file}`))
    .sort();

describe('a roll and a copy that equal the manifest', () => {
  test('hold, and every file is read whole with the checksum that the xxhsum program gives', async () => {
    const at = makeShootDay();
    const result = await intake(at);
    expect(besidesDrive(result)).toEqual([]);
    expect(result.copies.map(({ verified, files }) => ({ verified, files }))).toEqual([
      { verified: true, files: 4 },
      { verified: true, files: 4 },
    ]);
    const sha256 = (file: string): string =>
      execFileSync('sha256sum', [file], { encoding: 'utf8' }).slice(0, 64);
    expect(result.manifests).toEqual(
      [at.roll, `${at.copy}/${ROLL}`].map((folder) => ({
        file: `${folder}/checksums.md5`,
        kind: 'checksum-file',
        files: 3,
        digests: [{ file: 'checksums.md5', sha256: sha256(`${folder}/checksums.md5`) }],
      })),
    );
    const clip = result.files.find(({ path }) => path === 'Clips/foundry-1.mov');
    const outside = execFileSync('xxhsum', ['-H3', '--tag', join(at.roll, 'Clips/foundry-1.mov')], {
      encoding: 'utf8',
    })
      .trim()
      .split(' = ')[1];
    expect(clip?.hashes.xxh3).toBe(outside);
    expect(clip?.bytes).toBe('molten bronze'.length);
  });

  test('names with a newline, a backslash and bytes that are not UTF-8 are found under the names md5sum wrote', async () => {
    const raw = nameFromBytes(Buffer.from([0x62, 0xe9, 0x6c, 0x6c, 0x2e, 0x6d, 0x6f, 0x76]));
    const at = makeShootDay({ 'first\nsecond.mov': 'a', 'back\\slash.mov': 'b', [raw]: 'c' });
    const result = await intake({ roll: at.roll });
    expect(result.findings).toEqual([]);
    expect(result.files.map(({ path }) => path)).toEqual(
      expect.arrayContaining(['first\nsecond.mov', 'back\\slash.mov', raw]),
    );
    writeFileSync(fsPath(`${at.roll}/${raw}`), 'd');
    expect(reported(await intake({ roll: at.roll }))).toEqual([`file-checksum-differs ${raw}`]);
  });

  test('a file of zero bytes is reported by a note, and the roll holds', async () => {
    const result = await intake(makeShootDay({ 'empty.mov': '' }));
    expect(reported(result)).toEqual(['file-empty empty.mov']);
    expect(result.copies.map(({ verified }) => verified)).toEqual([true, true]);
  });
});

describe('one fault in the working copy', () => {
  const faults: [what: string, spoil: (roll: string) => void, expected: string[]][] = [
    [
      'a changed byte',
      (roll) => writeFileSync(join(roll, 'sheet.txt'), 'bell, First casting'),
      ['file-checksum-differs sheet.txt'],
    ],
    [
      'a byte too many',
      (roll) => appendFileSync(join(roll, 'sheet.txt'), '!'),
      ['file-checksum-differs sheet.txt'],
    ],
    ['a lost file', (roll) => rmSync(join(roll, 'sheet.txt')), ['roll-file-absent sheet.txt']],
    [
      'a renamed file',
      (roll) => renameSync(join(roll, 'sheet.txt'), join(roll, 'Sheet.txt')),
      ['file-unlisted Sheet.txt', 'roll-file-absent sheet.txt'],
    ],
    [
      'a file that nobody listed',
      (roll) => writeFileSync(join(roll, 'extra.mov'), 'x'),
      ['file-unlisted extra.mov'],
    ],
    ['no manifest', (roll) => rmSync(join(roll, 'checksums.md5')), ['manifest-missing']],
    [
      'a link out of the roll',
      (roll) => symlinkSync('../../elsewhere', join(roll, 'out')),
      ['link-leaves-roll out'],
    ],
    ['an absolute link', (roll) => symlinkSync('/etc', join(roll, 'out')), ['link-leaves-roll out']],
    [
      'a link within the roll',
      (roll) => symlinkSync('../sheet.txt', join(roll, 'Clips/in')),
      ['link-inside-roll Clips/in'],
    ],
    ['a pipe', (roll) => execFileSync('mkfifo', [join(roll, 'pipe')]), ['file-not-regular pipe']],
    [
      'a listed file replaced by a link to its equal',
      (roll) => {
        renameSync(join(roll, 'sheet.txt'), join(roll, '..', 'moved.txt'));
        symlinkSync('../moved.txt', join(roll, 'sheet.txt'));
      },
      ['link-leaves-roll sheet.txt', 'roll-file-absent sheet.txt'],
    ],
  ];
  test.each(faults)(
    '%s is reported by its code and holds the roll, unless it is a note',
    async (_, spoil, expected) => {
      const { roll } = makeShootDay();
      spoil(roll);
      const result = await intake({ roll });
      expect(reported(result)).toEqual(expected);
      expect(result.copies.map(({ verified }) => verified)).toEqual([
        expected[0]?.startsWith('link-inside') ?? false,
      ]);
    },
  );

  const broken: [what: string, text: string, code: string][] = [
    ['garbage', 'no checksum here\n', 'manifest-unreadable'],
    ['an empty file', '', 'manifest-unreadable'],
    ['a path that climbs out', `${'0'.repeat(32)}  ../../other.mov\n`, 'manifest-path-outside'],
  ];
  test.each(broken)('a manifest of %s holds the roll', async (_, text, code) => {
    const { roll } = makeShootDay();
    writeFileSync(join(roll, 'checksums.md5'), text);
    const result = await intake({ roll });
    expect(result.findings.map((item) => item.code)).toContain(code);
    expect(result.copies[0]?.verified).toBe(false);
  });

  test('a roll with nothing but a manifest is empty', async () => {
    const { roll } = makeShootDay();
    rmSync(join(roll, 'Clips'), { recursive: true });
    rmSync(join(roll, 'sheet.txt'));
    expect((await intake({ roll })).findings.map(({ code }) => code)).toContain('roll-empty');
  });

  test('a folder that is not there is a finding, not a throw', async () => {
    const result = await intake({ roll: join(makeShootDay().base, 'nowhere') });
    expect(result.findings.map(({ code }) => code)).toContain('file-unreadable');
    expect(result.copies[0]?.verified).toBe(false);
  });

  // A stand-in for the disk: root reads everything, so permissions cannot make a file unreadable everywhere.
  const reads: [read: FileRead, code: string][] = [
    [{ state: 'unreadable', code: 'EIO', detail: 'EIO: i/o error, read' }, 'file-unreadable'],
    [{ state: 'changed', detail: '5 bytes when opened, 6 bytes read' }, 'file-changed-while-read'],
  ];
  test.each(reads)(
    'a reading that ends as %o is reported, and the file is neither absent nor good',
    async (read, code) => {
      const { roll } = makeShootDay();
      const walked = await walkCopy(roll, ROLL, undefined);
      if (!('walked' in walked)) throw new Error('the roll cannot be listed');
      const statements = new Map([
        [
          'sheet.txt',
          { path: 'sheet.txt', bytes: null, hashes: [{ algorithm: 'md5' as const, value: '0'.repeat(32) }] },
        ],
      ]);
      const pool = { hash: async () => read, close: async () => {} };
      const copy = await readCopy(walked.walked, {
        roll: ROLL,
        statements,
        pool,
        onBytes: () => {},
        signal: undefined,
      });
      expect(copy.findings.filter(({ file }) => file === 'sheet.txt').map((item) => item.code)).toEqual([
        code,
      ]);
      expect(copy.files.size).toBe(0);
      expect(judgeCopy(copy, { statements, ignore: [] }, ROLL)).toEqual([]);
    },
  );
});

describe('copies', () => {
  test('a copy that differs is reported, and only that copy does not hold', async () => {
    const at = makeShootDay();
    writeFileSync(join(at.copy, ROLL, 'Clips/foundry-2.mov'), 'the Mould');
    const result = await intake(at);
    expect(reported(result)).toEqual([
      'copy-differs Clips/foundry-2.mov',
      'file-checksum-differs Clips/foundry-2.mov',
    ]);
    expect(result.findings.every(({ copy }) => copy === `${at.copy}/${ROLL}`)).toBe(true);
    expect(result.copies.map(({ verified }) => verified)).toEqual([true, false]);
  });

  test('a copy of the day without the roll is reported', async () => {
    const at = makeShootDay();
    rmSync(join(at.copy, ROLL), { recursive: true });
    const result = await intake(at);
    expect(reported(result)).toEqual(['copy-lacks-roll']);
    expect(result.copies.map(({ verified }) => verified)).toEqual([true, false]);
  });

  test('the same folder named twice is not two copies', async () => {
    const at = makeShootDay();
    const result = await intake(at, { copies: [at.day] });
    expect(reported(result)).toEqual(['copy-same-place']);
  });

  test("another copy's manifest that says otherwise is a contradiction", async () => {
    const at = makeShootDay();
    writeFileSync(join(at.copy, ROLL, 'sheet.txt'), 'another sheet');
    writeMd5Manifest(join(at.copy, ROLL));
    expect((await intake(at)).findings.map(({ code }) => code)).toContain('manifest-contradiction');
  });
});

describe('one name in two Unicode spellings', () => {
  const COMPOSED = 'Gie\u00dferei \u00e9.mov';
  const DECOMPOSED = COMPOSED.normalize('NFD');

  /** The manifest lists the composed spelling, the files have `names`. */
  function spelled(...names: string[]): { roll: string } {
    const at = makeShootDay({ [COMPOSED]: 'pour' });
    rmSync(join(at.roll, COMPOSED));
    for (const name of names) writeFileSync(join(at.roll, name), 'pour');
    return { roll: at.roll };
  }

  test('is found and compared, and told by a note', async () => {
    const at = spelled(DECOMPOSED);
    const result = await intake(at);
    expect(reported(result)).toEqual([`file-name-spelling ${DECOMPOSED}`]);
    expect(result.copies[0]?.verified).toBe(true);
    writeFileSync(join(at.roll, DECOMPOSED), 'Pour');
    expect(reported(await intake(at))).toEqual([
      `file-checksum-differs ${DECOMPOSED}`,
      `file-name-spelling ${DECOMPOSED}`,
    ]);
  });

  test('is two files when both are there', async () => {
    expect(reported(await intake(spelled(COMPOSED, DECOMPOSED)))).toEqual([`file-unlisted ${DECOMPOSED}`]);
  });

  test('may differ from copy to copy', async () => {
    const at = makeShootDay({ [COMPOSED]: 'pour' });
    renameSync(join(at.copy, ROLL, COMPOSED), join(at.copy, ROLL, DECOMPOSED));
    const result = await intake(at);
    expect(reported(result)).toEqual([`file-name-spelling ${DECOMPOSED}`]);
    writeFileSync(join(at.copy, ROLL, DECOMPOSED), 'Pour');
    expect(reported(await intake(at))).toEqual([
      `copy-differs ${DECOMPOSED}`,
      `file-checksum-differs ${DECOMPOSED}`,
      `file-name-spelling ${DECOMPOSED}`,
    ]);
  });
});

describe('manifests within the roll and beside it', () => {
  const places: [what: string, folder: string, list: (at: { day: string; roll: string }) => string][] = [
    ['in a folder of the roll, made there', 'Clips', ({ roll }) => join(roll, 'Clips/list.sha256')],
    ['in a folder of the roll, made from the roll', '.', ({ roll }) => join(roll, 'Clips/list.sha256')],
    ['in the roll, made from the day', '..', ({ roll }) => join(roll, 'SHA256SUMS')],
    ['beside the roll, named after it, made from the day', '..', ({ day }) => join(day, `${ROLL}.sha256`)],
    [
      'beside the roll, named after it and dated, made from the roll',
      '.',
      ({ day }) => join(day, `${ROLL}_2026-01-02_030405Z.sha256`),
    ],
  ];
  test.each(places)('count: %s', async (_, from, list) => {
    const at = makeShootDay();
    rmSync(join(at.roll, 'checksums.md5'));
    const what = from === '..' ? ROLL : '.';
    const lines = execFileSync('sh', ['-c', `find ${what} -type f | sort | xargs sha256sum`], {
      cwd: join(at.roll, from),
    });
    writeFileSync(list(at), lines);
    if (from === 'Clips') rmSync(join(at.roll, 'sheet.txt'));
    expect(reported(await intake({ roll: at.roll }))).toEqual([]);
    appendFileSync(join(at.roll, 'Clips/foundry-1.mov'), '!');
    expect(reported(await intake({ roll: at.roll }))).toEqual(['file-checksum-differs Clips/foundry-1.mov']);
  });

  test('a list beside the roll that is named after another one does not count', async () => {
    const at = makeShootDay();
    writeFileSync(join(at.day, `${ROLL}_B.md5`), `${'0'.repeat(32)}  sheet.txt\n`);
    expect(reported(await intake({ roll: at.roll }))).toEqual([]);
  });

  test('every algorithm that any of them states is verified', async () => {
    const at = makeShootDay();
    writeFileSync(join(at.roll, 'list.sha1'), `${'0'.repeat(40)}  sheet.txt\n`);
    expect(reported(await intake({ roll: at.roll }))).toEqual(['file-checksum-differs sheet.txt']);
  });
});

describe('manifests kept apart', () => {
  const places: [place: string, algorithm: string, program: string, from: 'roll' | 'day'][] = [
    [`${ROLL}.sha256`, 'sha256', 'sha256sum', 'roll'],
    [`${ROLL}.b2`, 'blake2b', 'b2sum', 'day'],
    [`${ROLL}/list.sha1`, 'sha1', 'sha1sum', 'roll'],
    [`${ROLL}/list.xxh64`, 'xxh64', 'xxhsum', 'day'],
  ];
  test.each(places)(
    '%s is found and proves every file by %s (%s, from the folder of the %s)',
    async (place, algorithm, program, from) => {
      const at = makeShootDay();
      rmSync(join(at.roll, 'checksums.md5'));
      const folder = join(at.base, 'manifests');
      mkdirSync(join(folder, ROLL), { recursive: true });
      const list = execFileSync(
        'sh',
        ['-c', `find ${from === 'roll' ? '.' : ROLL} -type f | sort | xargs ${program}`],
        { cwd: from === 'roll' ? at.roll : at.day },
      );
      writeFileSync(join(folder, place), list);
      const good = await intake({ roll: at.roll }, { manifests: [folder] });
      expect(good.findings).toEqual([]);
      expect(good.manifests.map(({ files }) => files)).toEqual([3]);
      expect(Object.keys(good.files[0]?.hashes ?? {}).sort()).toEqual([algorithm, 'xxh3'].sort());
      writeFileSync(join(at.roll, 'sheet.txt'), 'forged');
      expect(reported(await intake({ roll: at.roll }, { manifests: [folder] }))).toEqual([
        'file-checksum-differs sheet.txt',
      ]);
    },
  );
});

describe('a hash list of version 1.1', () => {
  /** md5 and sha1 by coreutils, XXH32 and XXH64 by xxhsum: values of programs outside the project. */
  const by = (command: string, path: string): string =>
    /^\\?([0-9a-f]+) /.exec(
      execFileSync('sh', ['-c', `${command} < "$1" 2>/dev/null`, 'sh', path], { encoding: 'utf8' }),
    )?.[1] ?? 'none';
  const kinds: [kind: string, element: (path: string) => string, algorithm: string][] = [
    [
      'xxhash, a decimal number',
      (path) => `<xxhash>${Number.parseInt(by('xxhsum -H32', path), 16)}</xxhash>`,
      'xxh32',
    ],
    [
      'xxhash64, bytes in little-endian order',
      (path) => `<xxhash64>${by('xxhsum -H64 --little-endian', path)}</xxhash64>`,
      'xxh64',
    ],
    ['xxhash64be', (path) => `<xxhash64be>${by('xxhsum -H64', path)}</xxhash64be>`, 'xxh64'],
    ['md5', (path) => `<md5>${by('md5sum', path)}</md5>`, 'md5'],
    ['sha1', (path) => `<sha1>${by('sha1sum', path)}</sha1>`, 'sha1'],
  ];
  const listed = (at: { roll: string }, element: (path: string) => string): string => {
    const entries = ['Clips/foundry-1.mov', 'Clips/foundry-2.mov', 'sheet.txt'].map(
      (file) =>
        `<hash><file>${file}</file><size>${statSync(join(at.roll, file)).size}</size>${element(join(at.roll, file))}</hash>`,
    );
    return `<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="1.1">${entries.join('')}</hashlist>\n`;
  };

  test.each(kinds)(
    'of %s proves the roll, and tells a byte that is another',
    async (_, element, algorithm) => {
      const at = makeShootDay();
      writeFileSync(join(at.roll, `${ROLL}_2026-01-02_030405.mhl`), listed(at, element));
      rmSync(join(at.roll, 'checksums.md5'));
      const good = await intake({ roll: at.roll });
      expect(good.findings).toEqual([]);
      expect(good.copies.map(({ verified }) => verified)).toEqual([true]);
      expect(
        good.files.every(({ hashes, path }) => path.endsWith('.mhl') || hashes[algorithm] !== undefined),
      ).toBe(true);
      writeFileSync(join(at.roll, 'Clips/foundry-1.mov'), 'molten bronzE');
      expect(reported(await intake({ roll: at.roll }))).toEqual([
        'file-checksum-differs Clips/foundry-1.mov',
      ]);
    },
  );

  test('whose xxhash64 is right in the other byte order holds, and the order is reported', async () => {
    const at = makeShootDay();
    writeFileSync(
      join(at.roll, `${ROLL}_2026-01-02_030405.mhl`),
      listed(at, (path) => `<xxhash64>${by('xxhsum -H64', path)}</xxhash64>`),
    );
    rmSync(join(at.roll, 'checksums.md5'));
    const result = await intake({ roll: at.roll });
    expect([...new Set(result.findings.map(({ code }) => code))]).toEqual(['manifest-byte-order']);
    expect(result.copies.map(({ verified }) => verified)).toEqual([true]);
  });
});

describe('an ASC MHL history (reference scenario 01, see SOURCES.md)', () => {
  function scenario(): string {
    const roll = join(freshFolder('mhl'), 'A002R2EC');
    cpSync(join(import.meta.dirname, '../fixtures/manifests/scenario_01/A002R2EC'), roll, {
      recursive: true,
    });
    return roll;
  }
  const GENERATION = 'ascmhl/0001_A002R2EC_2020-01-16_091500Z.mhl';
  const read = (folder: string): Promise<IntakeResult> =>
    intakeRoll({
      day: 'day',
      roll: 'A002R2EC',
      folder,
      copies: [],
      manifests: [],
      dayManifests: noDayManifests,
      readers: 1,
    });

  test('proves its files', async () => {
    const roll = scenario();
    const result = await read(roll);
    expect(result.findings).toEqual([]);
    expect(result.manifests).toMatchObject([
      {
        file: `${roll}/ascmhl`,
        kind: 'asc-mhl',
        files: 3,
        digests: [{ file: '0001_A002R2EC_2020-01-16_091500Z.mhl' }, { file: 'ascmhl_chain.xml' }],
      },
    ]);
    expect(result.files.find(({ path }) => path === 'Sidecar.txt')?.hashes.xxh64).toBe('3ab5a4166b9bde44');
  });

  const faults: [what: string, spoil: (roll: string) => void, codes: string[]][] = [
    [
      'a file of another size',
      (roll) => appendFileSync(join(roll, 'Sidecar.txt'), '!'),
      ['roll-file-size-differs'],
    ],
    [
      'a file of other bytes',
      (roll) => writeFileSync(join(roll, 'Clips/A002C007_141024_R2EC.mov'), 'abcx'),
      ['file-checksum-differs'],
    ],
    [
      'a generation changed after it was recorded',
      (roll) => appendFileSync(join(roll, GENERATION), '\n'),
      ['manifest-chain-broken'],
    ],
    ['a generation taken away', (roll) => rmSync(join(roll, GENERATION)), ['manifest-chain-broken']],
    [
      'a chain taken away',
      (roll) => rmSync(join(roll, 'ascmhl/ascmhl_chain.xml')),
      ['manifest-chain-broken'],
    ],
    [
      'a generation cut short',
      (roll) => writeFileSync(join(roll, GENERATION), readFileSync(join(roll, GENERATION)).subarray(0, 900)),
      ['manifest-chain-broken', 'manifest-unreadable'],
    ],
  ];
  test.each(faults)('%s holds the roll', async (_, spoil, codes) => {
    const roll = scenario();
    spoil(roll);
    const result = await read(roll);
    expect([...new Set(result.findings.map(({ code }) => code))].sort()).toEqual(codes);
    expect(result.copies[0]?.verified).toBe(false);
  });
});

describe('the rolls of a day', () => {
  function dayOf(...folders: string[]): string {
    const day = freshFolder('day');
    for (const folder of folders) mkdirSync(join(day, folder), { recursive: true });
    return day;
  }
  test('are its folders; hidden ones are left out', async () => {
    const day = dayOf('B001', 'A001', '.cache', 'audio');
    expect(await discoverRolls(day)).toEqual({
      rolls: ['A001', 'B001', 'audio'].map((name) => ({ name, folder: `${day}/${name}` })),
      findings: [],
    });
  });
  test('may lie one step down', async () => {
    const day = dayOf('cards/A001', 'cards/A002');
    expect((await discoverRolls(day)).rolls.map(({ folder }) => folder)).toEqual([
      `${day}/cards/A001`,
      `${day}/cards/A002`,
    ]);
  });
  test('may lie two steps down, beside folders that are named otherwise', async () => {
    const day = dayOf('unit-1/cam-a/A001', 'unit-1/cam-b/B001', 'unit-1/sound', 'A002/A001');
    expect((await discoverRolls(day)).rolls.map(({ folder }) => folder.slice(day.length + 1))).toEqual([
      'A002',
      'unit-1/cam-a/A001',
      'unit-1/cam-b/B001',
      'unit-1/sound',
    ]);
  });

  test('lie no deeper: the folder above is the roll', async () => {
    const day = dayOf('a/b/c/A001');
    expect((await discoverRolls(day)).rolls.map(({ name }) => name)).toEqual(['a']);
  });

  test('of names that some file systems take for one are reported', async () => {
    const { rolls, findings } = await discoverRolls(dayOf('cam-1/A001', 'cam-2/a001'));
    expect(rolls.map(({ name }) => name)).toEqual(['A001']);
    expect(findings.map(({ code, roll }) => [code, roll])).toEqual([['roll-twice', 'a001']]);
  });

  test('are not sought below a folder that has a manifest', async () => {
    const day = dayOf('cards/A001');
    writeFileSync(join(day, 'cards/cards.md5'), '');
    expect((await discoverRolls(day)).rolls.map(({ name }) => name)).toEqual(['cards']);
  });
  test('loose media, links and a name used twice are reported', async () => {
    const day = dayOf('A001', 'cards/A001');
    writeFileSync(join(day, 'loose.mov'), 'x');
    writeFileSync(join(day, 'notes.txt'), 'x');
    symlinkSync('A001', join(day, 'A009'));
    expect((await discoverRolls(day)).findings.map(({ code }) => code).sort()).toEqual([
      'file-outside-rolls',
      'link-in-day',
      'roll-twice',
    ]);
  });
});

test('an abort ends the reading with its own reason', async () => {
  const { roll } = makeShootDay();
  const reason = new Error('enough');
  await expect(
    intakeRoll({
      day: 'day',
      roll: ROLL,
      folder: roll,
      copies: [],
      manifests: [],
      dayManifests: noDayManifests,
      readers: 1,
      signal: AbortSignal.abort(reason),
    }),
  ).rejects.toBe(reason);
});

test('progress ends at the bytes of all copies', async () => {
  const { roll, copy } = makeShootDay();
  let last = { readBytes: 0, totalBytes: -1 };
  const result = await intakeRoll({
    day: 'day',
    roll: ROLL,
    folder: roll,
    copies: [copy],
    manifests: [],
    dayManifests: noDayManifests,
    readers: 2,
    onProgress: (progress) => (last = progress),
  });
  expect(last.readBytes).toBe(result.copies.reduce((sum, item) => sum + item.bytes, 0));
  expect(last.totalBytes).toBe(last.readBytes);
});
