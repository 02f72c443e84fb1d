/** Checksum files as the programs themselves write them, and lines that they refuse. */
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  type Algorithm,
  algorithmOf,
  type FileFamily,
  familyOfFileName,
} from '../../files/manifest/algorithms.ts';
import { checksumLine, readChecksumFile } from '../../files/manifest/checksum-file.ts';
import { hashBytes } from '../../files/manifest/digest.ts';
import { fsPath, nameFromBytes, nameToBytes } from '../../files/names.ts';
import { freshFolder } from '../support/folder.ts';

const raw = nameFromBytes(Buffer.from([0x67, 0x6c, 0x6f, 0x63, 0x6b, 0xe9]));
const names = [
  'bell.mov',
  'two words.mov',
  ' \'quoted\' "twice"',
  '100%.mov',
  'a:b.mov',
  'back\\slash',
  '-leading',
  'new\nline',
  'return\r',
  '(x) = y',
  '*star',
  '#hash',
  '\u202eright-to-left',
  'e\u0301',
  'ü'.repeat(127),
  raw,
];

/** The names as `program` lists them; file contents are the numbers of the names. */
function listed(
  program: string,
  args: readonly string[],
  wanted: readonly string[],
): { bytes: Buffer; contents: Map<string, Buffer> } {
  const folder = freshFolder('list');
  const contents = new Map(wanted.map((name, index) => [name, Buffer.from(String(index))]));
  for (const [name, bytes] of contents) writeFileSync(fsPath(`${folder}/${name}`), bytes);
  // Names go in by a pipe: a command line cannot carry them all from here.
  const input = Buffer.concat(wanted.flatMap((name) => [nameToBytes(name), Buffer.from([0])]));
  return {
    bytes: execFileSync('xargs', ['-0', program, ...args, '--'], {
      cwd: folder,
      input,
      stdio: ['pipe', 'pipe', 'ignore'],
    }),
    contents,
  };
}

const programs: [program: string, args: string[], family: FileFamily, algorithm: Algorithm][] = [
  ['md5sum', [], 'md5', 'md5'],
  ['md5sum', ['--binary'], 'md5', 'md5'],
  ['md5sum', ['--tag'], 'md5', 'md5'],
  ['sha1sum', [], 'sha1', 'sha1'],
  ['sha224sum', [], 'sha224', 'sha224'],
  ['sha256sum', ['--tag'], 'sha256', 'sha256'],
  ['sha384sum', [], 'sha384', 'sha384'],
  ['sha512sum', [], 'sha512', 'sha512'],
  ['b2sum', [], 'blake2b', 'blake2b'],
  ['b2sum', ['--tag'], 'blake2b', 'blake2b'],
];

describe('coreutils', () => {
  test.each(programs)('%s %j: every name comes back, with its value', (program, args, family, algorithm) => {
    const { bytes, contents } = listed(program, args, names);
    const reading = readChecksumFile(bytes, family, 'm');
    expect(reading.findings).toEqual([]);
    expect(reading.statements).toEqual(
      names.map((path) => ({
        path,
        bytes: null,
        hashes: [{ algorithm, value: hashBytes(contents.get(path) as Buffer, [algorithm])[algorithm] }],
      })),
    );
  });

  test('our own lines are taken by md5sum -c', () => {
    const folder = freshFolder('own');
    const lines = names.map((name, index) => {
      writeFileSync(fsPath(`${folder}/${name}`), String(index));
      return checksumLine(hashBytes(Buffer.from(String(index)), ['md5']).md5 as string, name);
    });
    writeFileSync(join(folder, '.list'), Buffer.concat(lines));
    execFileSync('md5sum', ['-c', '--strict', '--quiet', '.list'], { cwd: folder, stdio: 'pipe' });
    expect(readFileSync(join(folder, '.list')).length).toBeGreaterThan(names.length * 34);
  });

  test('carriage returns at the line ends and capital digits are taken, as md5sum takes them', () => {
    const folder = freshFolder('crlf');
    writeFileSync(join(folder, 'bell.mov'), 'abc');
    const text = '900150983CD24FB0D6963F7D28E17F72  bell.mov\r\n';
    writeFileSync(join(folder, 'list'), text);
    execFileSync('md5sum', ['-c', '--strict', 'list'], { cwd: folder, stdio: 'pipe' });
    const reading = readChecksumFile(Buffer.from(text), 'md5', 'm');
    expect(reading).toEqual({
      statements: [
        {
          path: 'bell.mov',
          bytes: null,
          hashes: [{ algorithm: 'md5', value: '900150983cd24fb0d6963f7d28e17f72' }],
        },
      ],
      ignore: [],
      findings: [],
    });
  });
});

describe('xxhsum', () => {
  // It escapes nothing: a name with a line end cannot be told from two lines.
  const plain = names.filter((name) => !/[\n\r]/.test(name));
  const kinds: [args: string[], family: FileFamily, algorithm: Algorithm][] = [
    [['-H0'], 'xxh', 'xxh32'],
    [['-H1'], 'xxh', 'xxh64'],
    [['-H2'], 'xxh', 'xxh128'],
    [['-H2'], 'xxh128', 'xxh128'],
    [['-H3'], 'xxh3', 'xxh3'],
    [['-H3'], 'xxh', 'xxh3'],
    [['-H1', '--tag'], 'xxh64', 'xxh64'],
    [['-H1', '--tag', '--little-endian'], 'xxh64', 'xxh64'],
    [['-H2', '--tag', '--little-endian'], 'xxh', 'xxh128'],
  ];
  test.each(kinds)('%j in a file of family %s states %s', (args, family, algorithm) => {
    const { bytes, contents } = listed('xxhsum', args, plain);
    const reading = readChecksumFile(bytes, family, 'm');
    expect(reading.findings).toEqual([]);
    expect(reading.statements).toEqual(
      plain.map((path) => ({
        path,
        bytes: null,
        hashes: [{ algorithm, value: hashBytes(contents.get(path) as Buffer, [algorithm])[algorithm] }],
      })),
    );
  });
});

const MD5 = '900150983cd24fb0d6963f7d28e17f72';
const good = `${MD5}  good.mov\n`;

describe('what the programs refuse', () => {
  const lines: [what: string, line: string, code: string][] = [
    ['one space between checksum and name', `${MD5} bell.mov`, 'manifest-line-malformed'],
    ['a digit too few', `${MD5.slice(1)}  bell.mov`, 'manifest-line-malformed'],
    ['another letter than a digit', `${MD5.slice(1)}g  bell.mov`, 'manifest-line-malformed'],
    ['no name', `${MD5}  `, 'manifest-line-malformed'],
    ['an escape that is none', `\\${MD5}  a\\tb`, 'manifest-line-malformed'],
    ['words', 'these are the bells', 'manifest-line-malformed'],
    ['a tag with the value of another kind', `SHA1 (bell.mov) = ${MD5}`, 'manifest-line-malformed'],
  ];
  test.each(lines)('%s: the line is reported, the others count', (_, line, code) => {
    const bytes = Buffer.from(`${line}\n${good}`);
    const folder = freshFolder('refused');
    writeFileSync(join(folder, 'list'), bytes);
    writeFileSync(join(folder, 'good.mov'), 'abc');
    writeFileSync(join(folder, 'bell.mov'), 'abc');
    expect(() =>
      execFileSync('md5sum', ['-c', '--strict', 'list'], { cwd: folder, stdio: 'pipe' }),
    ).toThrow();
    const reading = readChecksumFile(bytes, 'md5', 'm');
    expect(reading.statements.map(({ path }) => path)).toEqual(['good.mov']);
    expect(reading.findings.map((item) => [item.code, item.found.startsWith('line 1: '), item.file])).toEqual(
      [[code, true, 'm']],
    );
  });

  test('a kind that is not computed here is reported as such', () => {
    const { bytes } = listed('b2sum', ['--tag', '-l', '256'], ['bell.mov']);
    expect(
      readChecksumFile(
        Buffer.concat([bytes, Buffer.from(`BLAKE2b (good.mov) = ${'0'.repeat(128)}\n`)]),
        'blake2b',
        'm',
      ).findings.map(({ code }) => code),
    ).toEqual(['manifest-algorithm-unknown']);
  });

  test.each([
    ['../other/bell.mov', 'manifest-path-outside'],
    ['Clips/../../bell.mov', 'manifest-path-outside'],
    ['/etc/passwd', 'manifest-path-absolute'],
    ['Clips/', 'manifest-path-outside'],
    ['.', 'manifest-path-outside'],
  ])('the path %s is refused', (path, code) => {
    const reading = readChecksumFile(Buffer.from(`${MD5}  ${path}\n${good}`), 'md5', 'm');
    expect(reading.findings.map(({ code }) => code)).toEqual([code]);
    expect(reading.statements.map((statement) => statement.path)).toEqual(['good.mov']);
  });

  test('two values for one file are a contradiction, the same value twice is none', () => {
    const twice = (second: string): string[] =>
      readChecksumFile(Buffer.from(`${MD5}  ./bell.mov\n${second}  bell.mov\n`), 'md5', 'm').findings.map(
        ({ code }) => code,
      );
    expect(twice(MD5)).toEqual([]);
    expect(twice('0'.repeat(32))).toEqual(['manifest-contradiction']);
  });
});

describe('the algorithm is told by the name, never by the length alone', () => {
  test.each([
    ['A001.md5', 'md5'],
    ['A001.SHA256', 'sha256'],
    ['A001.b2', 'blake2b'],
    ['A001.xxh3', 'xxh3'],
    ['A001.xxh128', 'xxh128'],
    ['A001.xxh', 'xxh'],
    ['MD5SUMS', 'md5'],
    ['sha512sums.txt', 'sha512'],
    ['B2SUMS', 'blake2b'],
    ['XXH128SUMS', 'xxh128'],
    ['md5sum.txt', 'md5'],
    ['A001.mov', null],
    ['notes.txt', null],
    ['SUMS', null],
    ['md5', null],
  ])('%s: %s', (name, family) => {
    expect(familyOfFileName(name)).toBe(family);
  });

  test('32 digits are md5 or xxh128, 16 are xxh64 or xxh3', () => {
    const [long, short] = ['a'.repeat(32), 'a'.repeat(16)];
    expect([algorithmOf('md5', long), algorithmOf('xxh', long), algorithmOf('xxh128', long)]).toEqual([
      'md5',
      'xxh128',
      'xxh128',
    ]);
    expect([algorithmOf('xxh', short), algorithmOf('xxh3', short), algorithmOf('md5', short)]).toEqual([
      'xxh64',
      'xxh3',
      null,
    ]);
  });
});

test('a line says what it was made of, whatever the name', () => {
  const name = fc
    .uint8Array({ minLength: 1, maxLength: 40 })
    .map((bytes) => Buffer.from(bytes.map((byte) => (byte === 0 || byte === 0x2f ? 0x5c : byte))))
    .filter((bytes) => !['.', '..'].includes(bytes.toString('latin1')));
  fc.assert(
    fc.property(
      fc.uniqueArray(name, { maxLength: 6, minLength: 1, selector: (bytes) => bytes.toString('hex') }),
      (all) => {
        const wanted = all.map(nameFromBytes);
        const reading = readChecksumFile(
          Buffer.concat(wanted.map((text) => checksumLine(MD5, text))),
          'md5',
          'm',
        );
        expect(reading.findings).toEqual([]);
        expect(reading.statements.map(({ path }) => nameToBytes(path).toString('hex'))).toEqual(
          all.map((bytes) => bytes.toString('hex')),
        );
      },
    ),
  );
});
