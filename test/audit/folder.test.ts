/** A folder measured again from its bytes: every way of touching it is reported with the frame's name. */
import { copyFileSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { createHash } from 'node:crypto';
import { dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { deliveryContents } from '../../coordinator/gate/delivery-contents.ts';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import { readDeliverable } from '../../coordinator/gate/disk.ts';
import { listedFiles, measuredFolder } from '../../ledger/checksum-list.ts';
import { digestOfFile } from '../../files/digest.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import { blocks } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { writeRecord } from '../../ledger/store.ts';
import { frameName } from '../support/frames.ts';
import { type PublishedFolder, publishedFolder } from '../support/published-folder.ts';
import { clip, goodWorld } from '../support/world.ts';

/** As coordinator/audit/measure.ts gives it to the gate: what lies there, with what was measured of its bytes. */
async function audited({ delivery, folder, report }: PublishedFolder): Promise<{
  world: ReturnType<typeof goodWorld>;
  reported: [string, string | undefined, string, string][];
}> {
  const disk = await readDeliverable(delivery, 'A001C001', 'cut', 'leave');
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

describe('what else lies in the delivery of a roll', () => {
  /** Of the good world only this one deliverable lies on disk. */
  async function contents(published: PublishedFolder, otherFiles: readonly string[] = []) {
    const disk = await readDeliverable(published.delivery, 'A001C001', 'cut', 'leave');
    const found = await deliveryContents({
      rollFolder: published.delivery,
      roll: 'A001',
      clips: [{ clip, due: ['cut'], stillsDue: false }],
      stills: new Map(),
      onDisk: new Map([['A001C001/cut', disk]]),
      otherFiles,
    });
    return found.map((item) => [item.code, item.file ?? item.profile, item.found]);
  }

  test('nothing is said of what reports name', async () => {
    expect(await contents(await publishedFolder())).toEqual([]);
  });

  test.each<[string, string, string | null, string, string?]>([
    ['another folder', 'cut/A001C001 final', null, 'file-not-listed'],
    ['a staging folder', 'cut/.rushlight-part-bench-1-0123456789ab', null, 'staging-left'],
    [
      'an older folder that was moved aside',
      'cut/.rushlight-part-bench-1-0123456789ab.older',
      null,
      'staging-left',
    ],
    ['a file beside the deliverables', 'cut/A001C001.mov', 'x', 'file-not-listed'],
    ['a movie by its name elsewhere', 'A001C001.mov', 'x', 'delivery-file-unexplained'],
    [
      'a movie by its bytes, in a folder of its own',
      'old/best take',
      `\x1a\x45\xdf\xa3 webm`,
      'delivery-file-unexplained',
    ],
    ['another roll.json', 'roll (1).json', '{}', 'delivery-file-unexplained'],
    [
      'a fingerprint file of no report',
      'reports/fingerprints/x.0123.fingerprints',
      'x',
      'delivery-file-unexplained',
    ],
    ['a clip report of another clip', 'reports/A001C009.json', '{}', 'clip-report-left'],
    ['a torn deliverable report', 'reports/deliverables/A001C009.cut.json', '{', 'record-damaged'],
    [
      'a movie behind the name of a companion file',
      '._notes',
      `\x1a\x45\xdf\xa3 webm`,
      'delivery-file-unexplained',
    ],
    ['a letter', 'notes.txt', 'x', 'delivery-file-foreign'],
    ['what a system leaves', '.Spotlight-V100/store.db', 'x', 'system-files-left'],
    ['what a system leaves among deliverables', 'cut/.DS_Store', 'x', 'system-files-left'],
  ])('%s is reported', async (_, path, content, code) => {
    const published = await publishedFolder();
    const at = join(published.delivery, path);
    if (content === null) mkdirSync(at);
    else {
      mkdirSync(dirname(at), { recursive: true });
      writeFileSync(at, content, 'latin1');
    }
    const found = await contents(published);
    expect(found.map((item) => item[0])).toEqual([code]);
    if (code !== 'system-files-left') expect(found[0]?.[1]).toBe(path);
  });

  test('a record that fits its name is of an earlier decode, and needs no word', async () => {
    const published = await publishedFolder();
    const text = 'a list';
    const sha256 = createHash('sha256').update(text).digest('hex');
    mkdirSync(join(published.delivery, 'reports', 'checksums'), { recursive: true });
    writeFileSync(join(published.delivery, layout.checksumList('A001C001', 'cut', sha256)), text);
    expect(await contents(published)).toEqual([]);
  });

  describe('a deliverable of another profile', () => {
    async function withEarlier(): Promise<PublishedFolder & { file: string }> {
      const published = await publishedFolder();
      const file = join(published.delivery, 'older', 'A001C001.mov');
      mkdirSync(dirname(file));
      writeFileSync(file, 'the first cast');
      const { bytes, xxh128, sha256 } = await digestOfFile(file);
      const { checksumList: _, ...report } = published.report;
      await writeRecord(
        layout.deliverableReport(published.delivery, 'A001C001', 'older'),
        deliverableReportSchema,
        { ...report, profile: 'older', file: { path: 'older/A001C001.mov', bytes, xxh128, sha256 } },
      );
      return { ...published, file };
    }

    test('is named, with its bytes measured', async () => {
      expect(await contents(await withEarlier())).toEqual([
        ['deliverable-earlier', 'older', '1 made with profile older by an earlier run; measured: unchanged'],
      ]);
    });

    test('holds when a byte differs from its report', async () => {
      const published = await withEarlier();
      writeFileSync(published.file, 'the worst cast');
      const found = await contents(published);
      expect(found.map(([code, file]) => [code, file])).toEqual([
        ['deliverable-earlier-differs', 'older/A001C001.mov'],
      ]);
      expect(blocks({ code: 'deliverable-earlier-differs' })).toBe(true);
    });

    test('holds when a file lies beside it that no report names', async () => {
      const published = await withEarlier();
      writeFileSync(join(dirname(published.file), 'final.mov'), 'x');
      expect((await contents(published)).map(([code, file]) => [code, file])).toEqual([
        ['deliverable-earlier', 'older'],
        ['file-not-listed', 'older/final.mov'],
      ]);
    });

    test('is named when it was taken away', async () => {
      const published = await withEarlier();
      rmSync(published.file);
      expect(await contents(published)).toEqual([
        ['deliverable-earlier', 'older', '1 made with profile older by an earlier run; no longer there'],
      ]);
    });
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
