/** A deliverable that is a folder of frames: the gate tells by name what is missing or too many, before and after its bytes were read. */
import { mkdirSync, readdirSync, renameSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import type { DeliverableOnDisk } from '../../coordinator/gate/input.ts';
import { readDeliverable } from '../../coordinator/gate/disk.ts';
import { expectedOf, isComplete } from '../../coordinator/night/complete.ts';
import type { Job } from '../../ledger/job.ts';
import { completeRecords, completionOf } from '../../ledger/completion.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import { bell, frameName, makeFrames } from '../support/frames.ts';
import { type PublishedFolder, publishedFolder, wanted, write } from '../support/published-folder.ts';
import { goodWorld } from '../support/world.ts';

async function disk({ delivery }: PublishedFolder): Promise<DeliverableOnDisk> {
  return await readDeliverable(delivery, 'A001C001', 'cut', 'leave');
}

/** What the gate says of the roll with this for the first clip's `cut`: code, file, found. */
function reported(onDisk: DeliverableOnDisk): [code: string, file: string | undefined, found: string][] {
  const world = goodWorld();
  world.disk.set('A001C001/cut', onDisk);
  const { verdict } = decideRoll(world.input);
  expect(verdict.verdict).toBe(verdict.findings.length === 0 ? 'ready' : 'held');
  return verdict.findings.map((item) => [item.code, item.file, item.found]);
}

const frame = frameName(86_401);
const first = frameName(86_400);
const inFolder = (name: string): string => `cut/A001C001/${name}`;

test('a published folder is ready, and roll.json says of how many files it is', async () => {
  const published = await publishedFolder();
  const world = goodWorld();
  world.disk.set('A001C001/cut', await disk(published));
  const { verdict } = decideRoll(world.input);
  expect(verdict).toMatchObject({ verdict: 'ready', findings: [] });
  expect(verdict.clips[0]?.deliverables[0]).toMatchObject({
    file: 'cut/A001C001',
    bytes: bell.join('').length,
    files: 4,
    sha256: published.report.file?.sha256,
  });
  expect(verdict.clips[0]?.deliverables[1]).not.toHaveProperty('files');
});

describe('without reading a byte', () => {
  test.each<[string, (published: PublishedFolder) => void, [string, string | undefined, string][]]>([
    [
      'a frame is missing',
      ({ folder }) => rmSync(join(folder, frame)),
      [
        ['file-size-differs', 'cut/A001C001', `${bell.join('').length - bell[1].length} bytes in 3 files`],
        ['folder-file-absent', inFolder(frame), 'no such file'],
      ],
    ],
    [
      'a frame is too many',
      ({ folder }) => writeFileSync(join(folder, 'encore.exr'), 'x'),
      [['folder-file-unexpected', inFolder('encore.exr'), 'a file']],
    ],
    [
      'a frame is shorter',
      ({ folder }) => writeFileSync(join(folder, frame), 'the'),
      [
        [
          'file-size-differs',
          'cut/A001C001',
          `${bell.join('').length - bell[1].length + 3} bytes in 4 files`,
        ],
      ],
    ],
    [
      'a frame has another name',
      ({ folder }) => renameSync(join(folder, frame), join(folder, 'x.exr')),
      [
        ['file-size-differs', 'cut/A001C001', expect.stringContaining('3 files')],
        ['folder-file-absent', inFolder(frame), 'no such file'],
        ['folder-file-unexpected', inFolder('x.exr'), 'a file'],
      ],
    ],
    [
      'a frame is a link',
      ({ folder }) => {
        rmSync(join(folder, frame));
        symlinkSync(first, join(folder, frame));
      },
      [
        ['file-size-differs', 'cut/A001C001', expect.stringContaining('3 files')],
        ['folder-file-absent', inFolder(frame), 'no such file'],
        ['folder-file-unexpected', inFolder(frame), 'a symbolic link'],
      ],
    ],
    [
      'a hidden file lies in it',
      ({ folder }) => writeFileSync(join(folder, '.DS_Store'), 'x'),
      [['folder-file-unexpected', inFolder('.DS_Store'), 'a hidden file']],
    ],
    [
      'a folder lies in it',
      ({ folder }) => mkdirSync(join(folder, 'more')),
      [['folder-file-unexpected', inFolder('more'), 'a folder']],
    ],
    [
      'it is gone',
      ({ folder }) => rmSync(folder, { recursive: true }),
      [['file-absent', 'cut/A001C001', 'no such file']],
    ],
    [
      'it is a file',
      ({ folder }) => {
        rmSync(folder, { recursive: true });
        writeFileSync(folder, 'x');
      },
      [['file-absent', 'cut/A001C001', 'no such file']],
    ],
    [
      'it is a link to it',
      ({ folder }) => {
        renameSync(folder, `${folder}-moved`);
        symlinkSync('A001C001-moved', folder);
      },
      [['file-absent', 'cut/A001C001', 'no such file']],
    ],
    [
      'the checksum list is gone',
      ({ delivery, report }) => rmSync(join(delivery, report.checksumList?.path ?? '')),
      [
        [
          'checksum-list-absent',
          expect.stringMatching(/^reports\/checksums\/A001C001\.cut\.[0-9a-f]{16}\.sha256$/),
          'no such file',
        ],
      ],
    ],
    [
      'the checksum list is another',
      ({ delivery, report }) => writeFileSync(join(delivery, report.checksumList?.path ?? ''), ''),
      [
        [
          'checksum-list-damaged',
          expect.stringContaining('checksums'),
          expect.stringMatching(/^SHA-256 e3b0c442/),
        ],
      ],
    ],
  ])('it is told that %s', async (_, spoil, lines) => {
    const published = await publishedFolder();
    spoil(published);
    expect(reported(await disk(published))).toEqual(lines);
  });

  test('of many files a few are reported by name, and how many more', async () => {
    const published = await publishedFolder(Array.from({ length: 40 }, (_, index) => `stroke ${index}`));
    for (const name of readdirSync(published.folder)) rmSync(join(published.folder, name));
    const lines = reported(await disk(published)).filter(([code]) => code === 'folder-file-absent');
    expect(lines).toHaveLength(13);
    expect(lines.at(-1)).toEqual([
      'folder-file-absent',
      'cut/A001C001',
      '28 more files that are not as listed',
    ]);
  });
});

describe('a report', () => {
  test.each<[string, (report: PublishedFolder['report']) => void, [string, string]]>([
    [
      'that names no checksum list',
      (report) => void delete report.checksumList,
      ['checksum-list-absent', 'the report names no checksum list'],
    ],
    [
      'whose checksum list is of another folder',
      (report) =>
        void (report.checksumList = { path: report.checksumList?.path ?? '', sha256: 'f'.repeat(64) }),
      ['record-contradictory', `a checksum list of SHA-256 ${'f'.repeat(64)}`],
    ],
    [
      'of another number of files',
      (report) => void Object.assign(report.file as object, { files: 5 }),
      ['file-size-differs', expect.stringContaining('in 4 files')],
    ],
    [
      'that calls the folder a file',
      (report) => void delete (report.file as { files?: number }).files,
      ['file-absent', 'no such file'],
    ],
    [
      'of a file with a checksum list',
      (report) => void delete (report.file as { files?: number }).files,
      ['record-contradictory', 'a single file with a checksum list'],
    ],
  ])('%s holds', async (_, edit, line) => {
    const published = await publishedFolder();
    edit(published.report);
    await write(published.delivery, published.report);
    expect(reported(await disk(published)).map(([code, __, found]) => [code, found])).toContainEqual(line);
  });
});

describe('what the night takes for done', () => {
  const settle = async ({ delivery }: PublishedFolder) => {
    const { report } = await readDeliverable(delivery, 'A001C001', 'cut', 'leave');
    if (report === null) throw new Error('no report');
    return await completionOf(report, delivery, wanted);
  };
  const job = {
    clip: goodWorld().input.clips[0]?.clip,
    toolchain: wanted.toolchain,
    deliverables: [
      { kind: 'movie', profile: { name: 'cut' }, profileHash: wanted.profileHash, outcome: wanted.outcome },
    ],
  } as unknown as Job;
  const expected = expectedOf({ ...job, run: 'run', deliveryFolder: '' });

  test('is the folder with the digest that its report names', async () => {
    const published = await publishedFolder();
    expect(await settle(published)).toMatchObject({ state: 'finished', rewrite: false, relist: null });
    expect(isComplete(expected, [await disk(published)])).toBe(true);
  });

  test.each<[string, (folder: string) => void, boolean]>([
    ['one byte differs', (folder) => writeFileSync(join(folder, frame), 'the brOnze'), true],
    [
      'two frames are swapped',
      (folder) => {
        renameSync(join(folder, first), join(folder, 'x'));
        renameSync(join(folder, frame), join(folder, first));
        renameSync(join(folder, 'x'), join(folder, frame));
      },
      true,
    ],
    ['a frame is missing', (folder) => rmSync(join(folder, frame)), false],
    ['a frame has another name', (folder) => renameSync(join(folder, frame), join(folder, 'x.exr')), false],
    ['it is gone', (folder) => rmSync(folder, { recursive: true }), false],
    [
      'a file stands there',
      (folder) => {
        rmSync(folder, { recursive: true });
        writeFileSync(folder, 'x');
      },
      false,
    ],
  ])('is not one of which %s', async (_, spoil, looksRight) => {
    const published = await publishedFolder();
    spoil(published.folder);
    expect((await settle(published)).state).toBe('unfinished');
    // By names and sizes alone: whoever has just published it does not read it again.
    expect(isComplete(expected, [await disk(published)])).toBe(looksRight);
  });

  test('is one in which something else lies besides: it is not made again, and held until that is taken away', async () => {
    const published = await publishedFolder();
    writeFileSync(join(published.folder, '.DS_Store'), 'x');
    writeFileSync(join(published.folder, 'encore.exr'), 'x');
    expect(await settle(published)).toMatchObject({ state: 'finished', rewrite: false, relist: null });
    expect(isComplete(expected, [await disk(published)])).toBe(true);
    expect(reported(await disk(published)).map(([code, file]) => [code, file])).toEqual([
      ['folder-file-unexpected', inFolder('.DS_Store')],
      ['folder-file-unexpected', inFolder('encore.exr')],
    ]);
  });

  test('but not where the checksum list does not say what belongs there', async () => {
    const published = await publishedFolder();
    writeFileSync(join(published.folder, 'encore.exr'), 'x');
    rmSync(join(published.delivery, published.report.checksumList?.path ?? ''));
    expect((await settle(published)).state).toBe('unfinished');
  });

  test.each<[string, (published: PublishedFolder) => void]>([
    ['is gone', ({ delivery, report }) => rmSync(join(delivery, report.checksumList?.path ?? ''))],
    [
      'is damaged',
      ({ delivery, report }) => writeFileSync(join(delivery, report.checksumList?.path ?? ''), 'torn'),
    ],
  ])('and a checksum list that %s is written again from what stands', async (_, spoil) => {
    const published = await publishedFolder();
    spoil(published);
    const completion = await settle(published);
    if (completion.state !== 'finished') throw new Error(completion.why);
    await completeRecords(completion, published.delivery);
    expect(reported(await disk(published))).toEqual([]);
  });

  test('a report left at `publishing` is completed when the folder stands, and no longer says where it was staged', async () => {
    const published = await publishedFolder();
    await write(published.delivery, {
      ...published.report,
      state: 'publishing',
      staged: '.rushlight-part-x',
    });
    const completion = await settle(published);
    if (completion.state !== 'finished') throw new Error(completion.why);
    await completeRecords(completion, published.delivery);
    const { report } = await disk(published);
    expect(report).toEqual(published.report);
  });

  test('a single file where its report says a folder, and the other way round', async () => {
    const published = await publishedFolder();
    const { xxh128, sha256, bytes } = await digestOfFolder(published.folder);
    await write(published.delivery, {
      ...published.report,
      file: { path: 'cut/A001C001', bytes, xxh128, sha256 },
    });
    expect(await settle(published)).toEqual({ state: 'unfinished', why: 'a folder stands under its name' });
    await write(published.delivery, published.report);
    rmSync(published.folder, { recursive: true });
    writeFileSync(published.folder, 'x');
    expect(await settle(published)).toEqual({
      state: 'unfinished',
      why: 'a file stands under its name, and no folder',
    });
  });
});

test('two folders of one name in two profiles are two deliverables', async () => {
  const published = await publishedFolder();
  makeFrames(join(published.delivery, 'look', 'A001C001'), bell);
  expect(reported(await disk(published))).toEqual([]);
});
