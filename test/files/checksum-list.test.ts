/** The checksum list of a folder and its digest, against sha256sum (GNU coreutils), which reads the same checksum lists. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, symlinkSync, unlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  aFewAtOnce,
  digestOfDeliverable,
  digestOfFolder,
  folderDigestOf,
  isFolderDigest,
} from '../../files/folder-digest.ts';
import {
  compareChecksumLists,
  compareNames,
  type ListedFile,
  ChecksumListError,
  checksumListText,
  readChecksumList,
} from '../../files/checksum-list.ts';
import { nameFromBytes } from '../../files/names.ts';
import { freshFolder } from '../support/folder.ts';
import { bell, frameName, makeFrames } from '../support/frames.ts';

const sha = (text: string): string => createHash('sha256').update(text).digest('hex');
const file = (name: string, content: string): ListedFile => ({ name, sha256: sha(content) });

describe('the text', () => {
  test('is what sha256sum writes of the folder, and takes', async () => {
    const folder = makeFrames(join(freshFolder(), 'A001C001'), bell);
    const text = checksumListText((await digestOfFolder(folder)).files);
    expect(text.toString()).toBe(
      execFileSync('sh', ['-c', 'LC_ALL=C sha256sum *'], { cwd: folder, encoding: 'utf8' }),
    );
    expect(
      execFileSync('sha256sum', ['-c', '--strict', '--quiet', '-'], {
        cwd: folder,
        input: text,
        encoding: 'utf8',
      }),
    ).toBe('');
  });

  test('is what sha256sum writes of names that need care too', async () => {
    const folder = freshFolder();
    for (const name of ['a b', 'back\\slash', 'line\nbreak', 'return\r', 'ä', '*', '#1', 'Z', 'a'])
      writeFileSync(join(folder, name), name);
    writeFileSync(Buffer.concat([Buffer.from(`${folder}/`), Buffer.from([0x66, 0xff])]), 'bytes');
    const text = checksumListText((await digestOfFolder(folder)).files);
    expect(text.toString('latin1')).toBe(
      execFileSync('sh', ['-c', 'LC_ALL=C sha256sum *'], { cwd: folder, encoding: 'latin1' }),
    );
  });

  test('reads back as it was written, whatever the names', () => {
    const name = fc
      .uint8Array({ minLength: 1, maxLength: 12 })
      .filter((bytes) => !bytes.includes(0) && !bytes.includes(0x2f))
      .map((bytes) => nameFromBytes(Buffer.from(bytes)))
      .filter((text) => text !== '.' && text !== '..');
    fc.assert(
      fc.property(fc.uniqueArray(name, { maxLength: 6 }), (names) => {
        const text = checksumListText(names.map((one) => file(one, one)));
        const read = readChecksumList(text);
        expect(read.map((one) => one.name).sort()).toEqual([...names].sort());
        expect(checksumListText(read).equals(text)).toBe(true);
      }),
    );
  });

  test.each<[string, (text: string) => string]>([
    ['cut off within a line', (text) => text.slice(0, -3)],
    ['without its last line end', (text) => text.slice(0, -1)],
    ['with a line that is none', (text) => `${text}frames\n`],
    [
      'with two lines changed for each other',
      (text) => text.split('\n').slice(0, -1).reverse().join('\n').concat('\n'),
    ],
    ['with a file twice', (text) => `${text}${text.split('\n')[0]}\n`],
    ['with a remark', (text) => `# of the roll\n${text}`],
    ['in capitals', (text) => text.toUpperCase()],
  ])('is refused %s', (_, spoil) => {
    const text = checksumListText([file('a', 'b'), file('c', 'd')]).toString();
    expect(() => readChecksumList(Buffer.from(spoil(text)))).toThrow(ChecksumListError);
  });
});

describe('the digest of a folder', () => {
  test('is that of its checksum list, with the bytes of all files', async () => {
    const folder = makeFrames(join(freshFolder(), 'A001C001'), bell);
    const digest = await digestOfFolder(folder);
    const [said] = execFileSync('sh', ['-c', 'LC_ALL=C sha256sum * | sha256sum'], {
      cwd: folder,
      encoding: 'utf8',
    }).split(' ');
    expect(digest.sha256).toBe(said);
    const [quick] = execFileSync('sh', ['-c', 'LC_ALL=C sha256sum * | xxh128sum'], {
      cwd: folder,
      encoding: 'utf8',
    }).split(' ');
    expect(digest.xxh128).toBe(quick);
    expect(digest).toMatchObject({ bytes: bell.join('').length, strange: [] });
    expect(digest.files.map(({ name }) => name)).toEqual(
      [0, 1, 2, 3].map((index) => frameName(86_400 + index)),
    );
  });

  test('does not ask in which order the files were read', async () => {
    const { files, strange, device, inode, sha256 } = await digestOfFolder(
      makeFrames(join(freshFolder(), 'A001C001'), bell),
    );
    expect(folderDigestOf([...files].reverse(), strange, { device, inode }).sha256).toBe(sha256);
  });

  test.each<[string, (path: string) => void]>([
    ['a folder', (path) => mkdirSync(path)],
    ['a symbolic link', (path) => symlinkSync(frameName(86_400), path)],
    ['something that is no file', (path) => void execFileSync('mkfifo', [path])],
  ])("tells %s in it, and is no checksum list's", async (what, put) => {
    const folder = makeFrames(join(freshFolder(), 'A001C001'), bell);
    const before = await digestOfFolder(folder);
    put(join(folder, 'odd'));
    const digest = await digestOfFolder(folder);
    expect(digest.strange).toEqual([{ name: 'odd', what }]);
    expect(digest.files).toEqual(before.files);
    expect(digest.sha256).not.toBe(before.sha256);
    expect(digest.xxh128).not.toBe(before.xxh128);
  });

  test.each(['.DS_Store', '.rushlight-part-left'])('tells a hidden file: %s', async (name) => {
    const folder = makeFrames(join(freshFolder(), 'A001C001'), bell);
    const { sha256 } = await digestOfFolder(folder);
    writeFileSync(join(folder, name), '');
    expect(await digestOfFolder(folder)).toMatchObject({
      strange: [{ name, what: 'a hidden file' }],
      sha256: expect.not.stringMatching(sha256),
    });
  });

  test('a folder that is a link is not followed', async () => {
    const folder = freshFolder();
    makeFrames(join(folder, 'there'), bell);
    symlinkSync('there', join(folder, 'here'));
    await expect(digestOfFolder(join(folder, 'here'))).rejects.toMatchObject({ code: 'ENOTDIR' });
    await expect(digestOfDeliverable(join(folder, 'here'))).rejects.toMatchObject({ code: 'EISDIR' });
  });

  test('ends when it is stopped', async () => {
    const folder = makeFrames(join(freshFolder(), 'A001C001'), bell);
    await expect(digestOfFolder(folder, AbortSignal.abort(new Error('enough')))).rejects.toThrow('enough');
  });

  test('a single file is taken as a file, a folder as a folder', async () => {
    const folder = freshFolder();
    writeFileSync(join(folder, 'a.mov'), 'a');
    makeFrames(join(folder, 'a'), bell);
    expect([
      isFolderDigest(await digestOfDeliverable(join(folder, 'a.mov'))),
      isFolderDigest(await digestOfDeliverable(join(folder, 'a'))),
    ]).toEqual([false, true]);
  });
});

test('after a failure no further work begins, and what ran has ended', async () => {
  const ended: number[] = [];
  const running = aFewAtOnce(
    [1, 2, 3, 4, 5, 6],
    async (item) => {
      await new Promise((resolve) => setTimeout(resolve, item * 10));
      if (item === 1) throw new Error('the first');
      ended.push(item);
    },
    3,
  );
  await expect(running).rejects.toThrow('the first');
  expect(ended).toEqual([2, 3]);
});

describe('a checksum list and a folder', () => {
  const listed = [file('a', '1'), file('b', '2'), file('c', '3')];
  test.each<[string, ListedFile[], object[]]>([
    ['the same', listed, []],
    [
      'one with other bytes',
      [file('a', '1'), file('b', '0'), file('c', '3')],
      [{ kind: 'differs', name: 'b', sha256: sha('0'), listed: sha('2'), of: null }],
    ],
    ['one missing', [file('a', '1'), file('c', '3')], [{ kind: 'absent', name: 'b', now: null }]],
    ['one more', [...listed, file('bb', '4')], [{ kind: 'strange', name: 'bb', what: 'a file', was: null }]],
    [
      'one under another name',
      [file('a', '1'), file('x', '2'), file('c', '3')],
      [
        { kind: 'absent', name: 'b', now: 'x' },
        { kind: 'strange', name: 'x', what: 'a file', was: 'b' },
      ],
    ],
    [
      'two swapped',
      [file('a', '2'), file('b', '1'), file('c', '3')],
      [
        { kind: 'differs', name: 'a', of: 'b' },
        { kind: 'differs', name: 'b', of: 'a' },
      ],
    ],
    [
      'one twice',
      [file('a', '1'), file('b', '1'), file('c', '3')],
      [{ kind: 'differs', name: 'b', of: 'a' }],
    ],
  ])('%s', (_, onDisk, differences) => {
    expect(compareChecksumLists(listed, onDisk, [])).toMatchObject(differences);
    expect(compareChecksumLists(listed, onDisk, [])).toHaveLength(differences.length);
  });

  test('files that are alike are not told as moved', () => {
    const black = [file('a', 'black'), file('b', 'black'), file('c', '3')];
    expect(
      compareChecksumLists(black, [file('a', 'black'), file('c', 'black'), file('d', 'black')], []),
    ).toMatchObject([
      { kind: 'absent', name: 'b', now: null },
      { kind: 'differs', name: 'c', of: null },
      { kind: 'strange', name: 'd', was: null },
    ]);
  });

  test('by names alone, what is missing and what is too many is reported, and nothing of bytes', () => {
    expect(compareNames(listed, ['a', 'c', 'd'], [{ name: '.DS_Store', what: 'a hidden file' }])).toEqual([
      { kind: 'strange', name: '.DS_Store', what: 'a hidden file', was: null },
      { kind: 'absent', name: 'b', now: null },
      { kind: 'strange', name: 'd', what: 'a file', was: null },
    ]);
    expect(compareNames(listed, ['a', 'b', 'c'], [])).toEqual([]);
  });
});

test('a file that is gone between the look and the reading is an error, and no digest', async () => {
  const folder = makeFrames(join(freshFolder(), 'A001C001'), bell);
  const running = digestOfFolder(folder);
  unlinkSync(join(folder, frameName(86_403)));
  // Either it was seen and could not be opened, or it was not seen and is not listed.
  const result = await running.then(
    ({ files }) => files.length,
    (error: NodeJS.ErrnoException) => error.code,
  );
  expect([3, 'ENOENT']).toContain(result);
});
