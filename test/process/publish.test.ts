import { spawn } from 'node:child_process';
import {
  chmodSync,
  existsSync,
  linkSync,
  mkdirSync,
  readFileSync,
  readdirSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { digestOfFile } from '../../files/digest.ts';
import { packageFolder } from '../../files/installation.ts';
import { type PublishRequest, StagedFileLostError, publishFile, putUnderName } from '../../files/publish.ts';
import { freshFolder } from '../support/folder.ts';

async function staged(folder: string, bytes = 'the bell is cast', name = 'staged'): Promise<PublishRequest> {
  const path = join(folder, name);
  writeFileSync(path, bytes);
  return {
    staged: path,
    final: join(folder, 'final.mov'),
    checked: await digestOfFile(path),
    isOurs: () => false,
  };
}

/** File systems stamp with the time of the last tick, at most 10 ms ago: two changes within one have one stamp. */
const pastOneTick = (): Promise<void> => new Promise((resolve) => setTimeout(resolve, 30));

const noLinks = async (): Promise<never> => {
  throw Object.assign(new Error('no links here'), { code: 'EOPNOTSUPP' });
};

test('the digests are XXH128 and SHA-256: known answers of the xxHash project, of its own program and of FIPS 180-4', async () => {
  const folder = freshFolder();
  const path = join(folder, 'bytes');
  writeFileSync(path, '');
  // XXH3_128bits of nothing, seed 0: 99aa06d3014798d86001c324468d497f (xxHash self-test).
  expect(await digestOfFile(path)).toMatchObject({ bytes: 0, xxh128: '99aa06d3014798d86001c324468d497f' });
  // SHA-256 of `abc`: the first example of FIPS 180-4 as NIST publishes it.
  writeFileSync(path, 'abc');
  expect(await digestOfFile(path)).toMatchObject({
    bytes: 3,
    sha256: 'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad',
  });
  // `printf 'hello world' | xxh128sum`, xxhsum 0.8.1.
  writeFileSync(path, 'hello world');
  expect(await digestOfFile(path)).toMatchObject({ bytes: 11, xxh128: 'df8d09e93f874900a99b8775cc15b6c7' });
});

test('a free name is taken, and nothing else is left in the folder', async () => {
  const folder = freshFolder();
  expect(await publishFile(await staged(folder))).toEqual({ kind: 'published' });
  expect(readdirSync(folder)).toEqual(['final.mov']);
  expect(readFileSync(join(folder, 'final.mov'), 'utf8')).toBe('the bell is cast');
});

test('the same bytes under the name are harmless', async () => {
  const folder = freshFolder();
  await publishFile(await staged(folder));
  expect(await publishFile(await staged(folder))).toEqual({ kind: 'already-there' });
  expect(readdirSync(folder)).toEqual(['final.mov']);
});

test('other bytes under the name are never overwritten', async () => {
  const folder = freshFolder();
  writeFileSync(join(folder, 'final.mov'), 'of somebody else');
  expect(await publishFile(await staged(folder))).toMatchObject({ kind: 'taken' });
  expect(readFileSync(join(folder, 'final.mov'), 'utf8')).toBe('of somebody else');
  expect(existsSync(join(folder, 'staged'))).toBe(true);
});

test.each([
  ['a folder', (path: string) => mkdirSync(path)],
  ['a symbolic link', (path: string) => symlinkSync('elsewhere', path)],
])('%s under the name is taken', async (what, put) => {
  const folder = freshFolder();
  put(join(folder, 'final.mov'));
  expect(await publishFile(await staged(folder))).toEqual({ kind: 'taken', found: what });
});

test('an older file of our own is replaced in one step', async () => {
  const folder = freshFolder();
  writeFileSync(join(folder, 'final.mov'), 'yesterday');
  const yesterday = (await digestOfFile(join(folder, 'final.mov'))).xxh128;
  expect(await publishFile({ ...(await staged(folder)), isOurs: (digest) => digest === yesterday })).toEqual({
    kind: 'replaced',
  });
  expect(readFileSync(join(folder, 'final.mov'), 'utf8')).toBe('the bell is cast');
  expect(readdirSync(folder)).toEqual(['final.mov']);
});

test('a name that is already this very file is published: a repeated request of a network file system', async () => {
  const folder = freshFolder();
  const request = await staged(folder);
  linkSync(request.staged, request.final);
  expect(await publishFile(request)).toEqual({ kind: 'published' });
  expect(readdirSync(folder)).toEqual(['final.mov']);
});

test('without links: free name, same bytes, other bytes, own older file', async () => {
  const folder = freshFolder();
  expect(await putUnderName(await staged(folder), noLinks)).toEqual({ kind: 'published' });
  expect(await putUnderName(await staged(folder), noLinks)).toEqual({ kind: 'already-there' });
  expect(await putUnderName(await staged(folder, 'other'), noLinks)).toMatchObject({ kind: 'taken' });
  expect(readFileSync(join(folder, 'final.mov'), 'utf8')).toBe('the bell is cast');
  expect(await putUnderName({ ...(await staged(folder, 'newer')), isOurs: () => true }, noLinks)).toEqual({
    kind: 'replaced',
  });
  expect(readFileSync(join(folder, 'final.mov'), 'utf8')).toBe('newer');
});

test.each([
  ['removed', (path: string) => rmSync(path)],
  [
    'replaced by another file of the same bytes',
    (path: string) => {
      writeFileSync(`${path}2`, 'the bell is cast');
      renameSync(`${path}2`, path);
    },
  ],
  [
    'replaced by another file of the same size, which may get the number of the one that is gone',
    (path: string) => {
      rmSync(path);
      writeFileSync(path, 'the bell is lost');
    },
  ],
  ['written into', (path: string) => writeFileSync(path, 'the bell is lost')],
  ['cut short', (path: string) => writeFileSync(path, 'the bell')],
  [
    'replaced by a folder',
    (path: string) => {
      rmSync(path);
      mkdirSync(path);
    },
  ],
])('a staged file that was %s since it was checked is not published', async (_, spoil) => {
  const folder = freshFolder();
  const request = await staged(folder);
  await pastOneTick();
  spoil(request.staged);
  await expect(publishFile(request)).rejects.toThrow(StagedFileLostError);
  expect(existsSync(request.final)).toBe(false);
});

test('a staged file that was only touched since it was checked is read again, and published', async () => {
  const folder = freshFolder();
  const request = await staged(folder);
  await pastOneTick();
  chmodSync(request.staged, 0o600);
  expect(await publishFile(request)).toEqual({ kind: 'published' });
});

test('a folder removed meanwhile is an error, not a success', async () => {
  const folder = join(freshFolder(), 'profile');
  mkdirSync(folder);
  const request = await staged(folder);
  rmSync(folder, { recursive: true });
  await expect(publishFile(request)).rejects.toThrow(StagedFileLostError);
});

async function race(folder: string, contents: readonly string[]): Promise<string[]> {
  const at = String(Date.now() + 700);
  const publishers = contents.map(async (bytes, index) => {
    const { staged: path, final } = await staged(folder, bytes, `staged-${index}`);
    const child = spawn(
      process.execPath,
      [join(packageFolder, 'test/faults/publish-once.mjs'), path, final, at],
      { stdio: ['ignore', 'pipe', 'inherit'] },
    );
    let said = '';
    for await (const chunk of child.stdout) said += String(chunk);
    return said;
  });
  return Promise.all(publishers);
}

test('of several publishers of the same bytes at once, one publishes and the others find it done', async () => {
  const folder = freshFolder();
  const said = await race(folder, ['same', 'same', 'same']);
  expect(said.toSorted()).toEqual(['already-there', 'already-there', 'published']);
  expect(readdirSync(folder)).toEqual(['final.mov']);
});

test('of several publishers of different bytes at once, exactly one wins and is whole', async () => {
  const folder = freshFolder();
  const contents = ['a'.repeat(300_000), 'b'.repeat(300_000), 'c'.repeat(300_000)];
  const said = await race(folder, contents);
  expect(said.toSorted()).toEqual(['published', 'taken', 'taken']);
  expect(contents[said.indexOf('published')]).toBe(readFileSync(join(folder, 'final.mov'), 'utf8'));
});

test('names of any bytes are published', async () => {
  const folder = freshFolder();
  const name = '-a \'b\' "c" %d: \\\n\udcff.mov';
  const request = { ...(await staged(folder)), final: join(folder, name) };
  expect(await publishFile(request)).toEqual({ kind: 'published' });
  expect(readdirSync(folder, { encoding: 'buffer' })[0]?.includes(0xff)).toBe(true);
  expect((await digestOfFile(request.final)).xxh128).toBe(request.checked.xxh128);
});
