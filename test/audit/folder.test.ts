/** A folder measured again from its bytes: every way of touching it is reported with the frame's name. */
import { copyFileSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { unlistedFiles } from '../../coordinator/audit/unlisted-files.ts';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import { readDeliverable } from '../../coordinator/gate/disk.ts';
import { listedFiles, measuredFolder } from '../../ledger/checksum-list.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import { frameName } from '../support/frames.ts';
import { type PublishedFolder, publishedFolder } from '../support/published-folder.ts';
import { goodWorld } from '../support/world.ts';

/** As coordinator/audit/measure.ts gives it to the gate: what lies there, with what was measured of its bytes. */
async function audited({ delivery, folder, report }: PublishedFolder): Promise<{
  world: ReturnType<typeof goodWorld>;
  reported: [string, string | undefined, string, string][];
}> {
  const disk = await readDeliverable(delivery, 'A001C001', 'cut');
  const digest = await digestOfFolder(folder);
  const remeasured = {
    xxh128: digest.xxh128,
    sha256: digest.sha256,
    facts: report.facts,
    checks: report.checks,
    findings: [],
  };
  const world = goodWorld();
  world.disk.set('A001C001/cut', {
    ...disk,
    remeasured,
    folder: measuredFolder(digest, await listedFiles(report, delivery)),
  });
  const { verdict } = decideRoll(world.input);
  expect(verdict.verdict).toBe(verdict.findings.length === 0 ? 'ready' : 'held');
  return {
    world,
    reported: verdict.findings.map((item) => [item.code, item.file, item.found, item.expected]),
  };
}

const second = frameName(86_401);
const third = frameName(86_402);
const at = (name: string): string => `cut/A001C001/${name}`;

test('untouched, it is ready', async () => {
  expect((await audited(await publishedFolder())).reported).toEqual([]);
});

describe('touched', () => {
  test.each<[string, (folder: string) => void, [string, string, string][]]>([
    [
      'one byte of one frame',
      (folder) => flip(join(folder, second)),
      [['folder-file-differs', at(second), expect.stringMatching(/^SHA-256 [0-9a-f]{64}$/)]],
    ],
    [
      'a frame with the bytes of another',
      (folder) => copyFileSync(join(folder, third), join(folder, second)),
      [['folder-file-differs', at(second), `the bytes of ${third}`]],
    ],
    [
      'two frames swapped',
      (folder) => swap(join(folder, second), join(folder, third)),
      [
        ['folder-file-differs', at(second), `the bytes of ${third}`],
        ['folder-file-differs', at(third), `the bytes of ${second}`],
      ],
    ],
    [
      'a frame taken away',
      (folder) => rmSync(join(folder, second)),
      [['folder-file-absent', at(second), 'no such file']],
    ],
    [
      'a frame renamed',
      (folder) => renameSync(join(folder, second), join(folder, 'final.exr')),
      [
        ['folder-file-absent', at(second), 'its bytes stand under the name final.exr'],
        ['folder-file-unexpected', at('final.exr'), `the bytes of ${second}`],
      ],
    ],
    [
      'a frame renamed to the number after the last',
      (folder) => renameSync(join(folder, second), join(folder, frameName(86_404))),
      [
        ['folder-file-absent', at(second), `its bytes stand under the name ${frameName(86_404)}`],
        ['folder-file-unexpected', at(frameName(86_404)), `the bytes of ${second}`],
      ],
    ],
    [
      'a frame added',
      (folder) => writeFileSync(join(folder, frameName(86_404)), 'an encore'),
      [['folder-file-unexpected', at(frameName(86_404)), 'a file']],
    ],
    [
      'a copy of a frame added',
      (folder) => copyFileSync(join(folder, second), join(folder, 'copy of it.exr')),
      [['folder-file-unexpected', at('copy of it.exr'), `the bytes of ${second}`]],
    ],
    [
      'a hidden file added',
      (folder) => writeFileSync(join(folder, '._second'), ''),
      [['folder-file-unexpected', at('._second'), 'a hidden file']],
    ],
    [
      'a folder added',
      (folder) => mkdirSync(join(folder, 'older')),
      [['folder-file-unexpected', at('older'), 'a folder']],
    ],
    [
      'a frame emptied',
      (folder) => writeFileSync(join(folder, second), ''),
      [['folder-file-differs', at(second), expect.stringMatching(/^SHA-256 e3b0c442/)]],
    ],
  ])('%s', async (_, spoil, lines) => {
    const published = await publishedFolder();
    spoil(published.folder);
    const { reported } = await audited(published);
    expect(
      reported
        .filter(([code]) => code.startsWith('folder-file-'))
        .map(([code, file, found]) => [code, file, found]),
    ).toEqual(lines);
    // And that the whole is not what it was, in any case.
    expect(reported.map(([code]) => code)).toContain('digest-differs');
  });

  test('with its checksum list gone, it is told that something differs, and what is not there to tell it by', async () => {
    const published = await publishedFolder();
    flip(join(published.folder, second));
    rmSync(join(published.delivery, published.report.checksumList?.path ?? ''));
    expect((await audited(published)).reported.map(([code]) => code).sort()).toEqual([
      'checksum-list-absent',
      'digest-differs',
    ]);
  });

  test('with its checksum list made to fit, it is reported for that: the digest of the report is of the checksum list', async () => {
    const published = await publishedFolder();
    const path = join(published.delivery, published.report.checksumList?.path ?? '');
    flip(join(published.folder, second));
    const { files } = await digestOfFolder(published.folder);
    writeFileSync(path, files.map(({ sha256, name }) => `${sha256}  ${name}\n`).join(''));
    expect((await audited(published)).reported.map(([code]) => code).sort()).toEqual([
      'checksum-list-damaged',
      'digest-differs',
    ]);
  });
});

describe('files that no record lists', () => {
  test('are not the frames of a published folder', async () => {
    const published = await publishedFolder();
    const { world } = await audited(published);
    const { verdict } = decideRoll(world.input);
    // Of the good world only this one deliverable lies on disk.
    expect(await unlistedFiles(published.delivery, verdict)).toEqual([]);
  });

  test.each([
    ['another folder', 'A001C001 final', 'file-not-listed'],
    ['a staging folder', '.rushlight-part-bench-1-0123456789ab', 'staging-left'],
    ['an older folder that was moved aside', '.rushlight-part-bench-1-0123456789ab.older', 'staging-left'],
  ])('are reported: %s', async (_, name, code) => {
    const published = await publishedFolder();
    const { world } = await audited(published);
    mkdirSync(join(published.delivery, 'cut', name));
    expect(
      (await unlistedFiles(published.delivery, decideRoll(world.input).verdict)).map((item) => [
        item.code,
        item.file,
      ]),
    ).toEqual([[code, `cut/${name}`]]);
  });
});

function flip(path: string): void {
  const bytes = readFileSync(path);
  bytes[0] = (bytes[0] as number) ^ 1;
  writeFileSync(path, bytes);
}

function swap(a: string, b: string): void {
  renameSync(a, `${a}.moved`);
  renameSync(b, a);
  renameSync(`${a}.moved`, b);
}
