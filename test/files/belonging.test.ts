/**
 * What is made takes group and permissions of its folder. Expected bits are written out, by the meaning that POSIX.1-2017 gives them
 * (sys/stat.h); what a new file in a folder with its set-group-id bit gets is the kernel's own word (inode(7)).
 */
import { execFileSync } from 'node:child_process';
import { chownSync, lstatSync, mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import type { FileHandle } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { groupNote } from '../../coordinator/night/groups.ts';
import { belongToFolder, modeIn, takeAfterFolder, takeAllAfterFolder } from '../../files/belonging.ts';
import { makeFolders } from '../../files/folders.ts';
import { writeWhole } from '../../ledger/store.ts';
import { freshFolder } from '../support/folder.ts';
import { belongings, makeFolderOfOthers, otherGroup } from '../support/groups.ts';

test.each([
  { folder: 0o2775, own: 0o644, isFolder: false, mode: 0o664, what: 'a file is never executable' },
  { folder: 0o2770, own: 0o644, isFolder: false, mode: 0o660, what: 'others lose what the umask left them' },
  { folder: 0o755, own: 0o666, isFolder: false, mode: 0o644, what: 'and a wide umask gives nothing more' },
  {
    folder: 0o1777,
    own: 0o644,
    isFolder: false,
    mode: 0o644,
    what: 'in a sticky folder nobody else may write',
  },
  { folder: 0o070, own: 0o644, isFolder: false, mode: 0o660, what: 'who made it can read and write it' },
  { folder: 0o2770, own: 0o755, isFolder: true, mode: 0o770, what: 'no set-group-id bit is given' },
  { folder: 0o2775, own: 0o2755, isFolder: true, mode: 0o2775, what: 'and none is taken away' },
])('$what', ({ folder, own, isFolder, mode }) => {
  expect(modeIn(folder, own, isFolder)).toBe(mode);
});

test('folders, records and staged files take them, whatever the umask is, and a link is left alone', async () => {
  const base = freshFolder();
  const folder = join(base, 'delivery');
  makeFolderOfOthers(folder, 0o770);
  const elsewhere = join(base, 'elsewhere');
  writeFileSync(elsewhere, 'not ours', { mode: 0o600 });
  await makeFolders(join(folder, 'day', 'A001'));
  await writeWhole(join(folder, 'day', 'A001', 'roll.json'), '{}');
  const staged = join(folder, 'day', 'A001', 'staged');
  mkdirSync(staged, { mode: 0o700 });
  writeFileSync(join(staged, 'a.0001.exr'), 'one', { mode: 0o600 });
  symlinkSync(elsewhere, join(staged, 'link'));
  await takeAllAfterFolder(staged);
  const movie = join(folder, 'day', 'A001', 'movie.mov');
  writeFileSync(movie, 'one', { mode: 0o600 });
  await takeAfterFolder(movie);
  const found = belongings(folder);
  expect(found).toHaveLength(6);
  for (const { path, isFolder, gid, mode } of found)
    expect({ path, gid, mode }).toEqual({ path, gid: otherGroup, mode: isFolder ? 0o770 : 0o660 });
  expect(lstatSync(elsewhere).mode & 0o7777).toBe(0o600);
});

test('who may not change the group has a file all the same; other troubles are told', async () => {
  const folder = join(freshFolder(), 'delivery');
  makeFolderOfOthers(folder, 0o770);
  const asked: string[] = [];
  const standIn = (code: string): FileHandle =>
    ({
      stat: async () => ({ isFile: () => true, isDirectory: () => false, gid: otherGroup + 1, mode: 0o644 }),
      chown: async () => {
        asked.push('chown');
        throw Object.assign(new Error(code), { code });
      },
      chmod: async (mode: number) => void asked.push(mode.toString(8)),
    }) as unknown as FileHandle;
  await belongToFolder(standIn('EPERM'), folder);
  expect(asked).toEqual(['chown', '660']);
  await expect(belongToFolder(standIn('EIO'), folder)).rejects.toThrow('EIO');
});

test('a night says once how many of its files have another group, and where the first lies', async () => {
  const delivery = join(freshFolder(), 'delivery');
  makeFolderOfOthers(delivery, 0o755);
  const asked = { delivery, dayName: 'day-01' };
  await writeWhole(join(delivery, 'day-01', 'A001', 'roll.json'), '{}');
  await writeWhole(join(delivery, 'day-01', 'A002', 'roll.json'), '{}');
  expect(await groupNote(asked, ['A001', 'A002'])).toBe(null);
  // The delivery gets another group: of its owner's groups, so that every user can run this.
  const was = otherGroup;
  const now = process.getuid?.() === 0 ? was + 1 : (process.getgid?.() ?? 0);
  chownSync(delivery, -1, now);
  const note = await groupNote(asked, ['A001']);
  if (now === was) return;
  expect(note).toMatchObject({
    code: 'group-not-given',
    found: `2 files and folders of another group, the first of group ${was}`,
    expected: `group ${now}, of ${delivery}`,
    file: join(delivery, 'day-01', 'A001'),
  });
  // By a program that is not ours, as the remedy says.
  execFileSync('chgrp', ['-R', String(now), join(delivery, 'day-01')]);
  expect(await groupNote(asked, ['A001', 'A002'])).toBe(null);
  expect(await groupNote({ delivery: `${delivery}-gone`, dayName: 'day-01' }, ['A001'])).toBe(null);
});
