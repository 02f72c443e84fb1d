/** To drives: only what is ready, every byte read back, nothing of anybody written over, and again from where it stopped. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  appendFileSync,
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { copyFile } from '../../coordinator/handover/copy.ts';
import { deliver } from '../../coordinator/handover/deliver.ts';
import { auditDriveHistory } from '../../coordinator/handover/history-audit.ts';
import { digestOfFile } from '../../files/digest.ts';
import { packageFolder } from '../../files/installation.ts';
import { FindingError } from '../../findings/finding.ts';
import { auditHandover } from '../../handover/audit.ts';
import { isPageFile } from '../../handover/layout.ts';
import { publishHandover } from '../../handover/publish.ts';
import { commandProcess } from '../support/cli.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { filesBelow, stateOf } from '../support/delivery.ts';
import { freshFolder } from '../support/folder.ts';
import { needsRoot } from '../support/root.ts';

beforeAll(makeDelivered);
const runCommand = commandProcess();
const never = new AbortController().signal;

interface World {
  readonly delivery: string;
  readonly drives: readonly [string, string];
}

function world(): World {
  const folder = freshFolder('deliver');
  const delivery = join(folder, 'delivery');
  cpSync(delivered.delivery, delivery, { recursive: true });
  const drives = [join(folder, 'drive-1'), join(folder, 'drive-2')] as const;
  for (const drive of drives) mkdirSync(drive);
  return { delivery, drives };
}
const handed = ({ delivery, drives }: World, signal = never) => deliver({ delivery, drives, signal });
const codes = (list: readonly { readonly code: string }[]): string[] => list.map(({ code }) => code);
/** Without the history, which is the drive's alone. */
const contents = (folder: string): string[] =>
  filesBelow(folder).filter((path) => !path.startsWith('ascmhl/'));
const MOVIE = 'day-07/A005/small-vc3/A005C001.mov';

test('two drives get all of it, equal to the delivery byte by byte, and a history that others can verify', async () => {
  const there = world();
  const result = await handed(there);
  expect(result).toMatchObject({
    verdict: 'handed-over',
    days: [{ day: 'day-07', rolls: ['A005'], held: [] }],
    findings: [],
  });
  for (const [at, drive] of there.drives.entries()) {
    const day = join(drive, 'day-07');
    expect(contents(day)).toEqual(
      filesBelow(join(there.delivery, 'day-07')).filter(
        (path) => !isPageFile(path.replace(/^handover\//, '')),
      ),
    );
    for (const path of contents(day))
      expect(readFileSync(join(day, path)).equals(readFileSync(join(there.delivery, 'day-07', path)))).toBe(
        true,
      );
    expect(result.drives[at]).toMatchObject({
      verdict: 'handed-over',
      copied: { files: contents(day).length },
      there: { files: 0 },
      findings: [],
    });
    const [generation] = result.drives[at]?.manifests ?? [];
    // The published schema, by libxml2.
    execFileSync(
      'xmllint',
      [
        '--nonet',
        '--noout',
        '--schema',
        join(packageFolder, 'test/fixtures/manifests/ASCMHL.xsd'),
        generation ?? '',
      ],
      { stdio: 'pipe' },
    );
    expect(readFileSync(generation ?? '', 'utf8')).toContain('<path size=');
    expect(await auditHandover(day)).toEqual([]);
    expect(await auditDriveHistory(day)).toEqual([]);
  }
});

test('again, nothing is copied and all is read; a changed file of the drive is found, and left', async () => {
  const there = world();
  await handed(there);
  const before = stateOf(there.drives[0]);
  const again = await handed(there);
  expect(again.drives[0]).toMatchObject({ verdict: 'handed-over', copied: { files: 0 }, manifests: [] });
  expect(stateOf(there.drives[0]).filter((line) => line.includes('.mov'))).toEqual(
    before.filter((line) => line.includes('.mov')),
  );
  appendFileSync(join(there.drives[0], MOVIE), 'x');
  const spoiled = readFileSync(join(there.drives[0], MOVIE));
  const third = await handed(there);
  expect(third.verdict).toBe('held');
  expect(third.drives.map(({ verdict, findings }) => [verdict, codes(findings)])).toEqual([
    ['held', ['handover-target-taken']],
    ['handed-over', []],
  ]);
  expect(readFileSync(join(there.drives[0], MOVIE)).equals(spoiled)).toBe(true);
  rmSync(join(there.drives[0], MOVIE));
  expect((await handed(there)).drives[0]).toMatchObject({ verdict: 'handed-over', copied: { files: 1 } });
});

test('stopped in the middle no file is half there, and the same command goes on', async () => {
  const there = world();
  const stop = new AbortController();
  let seen = 0;
  await expect(
    deliver({
      ...there,
      signal: stop.signal,
      onProgress: () => {
        seen += 1;
        // Within a file and behind it in turn: the fourth is behind the second file, the fifth within the third.
        if (seen === 5) stop.abort(new Error('stopped'));
      },
    }),
  ).rejects.toThrow('stopped');
  const half = contents(join(there.drives[0], 'day-07'));
  expect(half).toHaveLength(2);
  for (const path of half)
    expect(
      readFileSync(join(there.drives[0], 'day-07', path)).equals(
        readFileSync(join(there.delivery, 'day-07', path)),
      ),
    ).toBe(true);
  expect(filesBelow(there.drives[0]).filter((path) => path.includes('.rushlight-'))).toEqual([]);
  expect(existsSync(join(there.drives[0], 'day-07', 'handover', 'statement.json'))).toBe(false);
  const result = await handed(there);
  expect(result.drives[0]).toMatchObject({ verdict: 'handed-over', there: { files: 2 } });
});

test('records of an earlier handover give way to newer ones; those of somebody do not', async () => {
  const there = world();
  await handed(there);
  const day = join(there.delivery, 'day-07');
  // Decided again at another time: the verdict is the same, and its record another one.
  const verdict = join(day, 'A005', 'roll.json');
  writeFileSync(
    verdict,
    readFileSync(verdict, 'utf8').replace(/"decidedAt": "[^"]+"/, '"decidedAt": "2031-03-04T05:06:07Z"'),
  );
  expect(codes((await publishHandover(day)).findings)).toEqual([]);
  writeFileSync(join(there.drives[1], 'day-07', 'A005', 'roll.json'), '{"mine": true}');
  const again = await handed(there);
  expect(
    again.drives.map(({ verdict: one, copied, findings }) => [one, copied.files, codes(findings)]),
  ).toEqual([
    ['handed-over', 1, []],
    ['held', 0, ['handover-target-taken']],
  ]);
  expect(readFileSync(join(there.drives[1], 'day-07', 'A005', 'roll.json'), 'utf8')).toBe('{"mine": true}');
});

describe('what is wrong with the delivery is found before anything is copied', () => {
  const day = ({ delivery }: World): string => join(delivery, 'day-07');
  test.each<[string, (there: World) => void, string[]]>([
    [
      'a changed bin',
      (there) => appendFileSync(join(day(there), 'handover', 'bin.otio'), ' '),
      ['handover-file-differs'],
    ],
    ['a deliverable that is gone', (there) => rmSync(join(there.delivery, MOVIE)), ['handover-read-differs']],
    [
      'no handover',
      (there) => rmSync(join(day(there), 'handover'), { recursive: true }),
      ['handover-outdated'],
    ],
    [
      'nothing ready',
      (there) => {
        const path = join(day(there), 'A005', 'roll.json');
        writeFileSync(path, readFileSync(path, 'utf8').replace('"verdict": "ready"', '"verdict": "held"'));
      },
      ['handover-roll-left', 'handover-nothing-ready'],
    ],
  ])('%s', async (_what, spoil, expected) => {
    const there = world();
    spoil(there);
    const result = await handed(there);
    expect(result.verdict).toBe('held');
    expect(codes(result.findings)).toEqual(expected);
    expect(readdirSync(there.drives[0])).toEqual([]);
  });

  test('a deliverable with other bytes of the same length: it is read while it is copied, and gets no name', async () => {
    const there = world();
    const bytes = readFileSync(join(there.delivery, MOVIE));
    bytes[bytes.length - 1] = (bytes.at(-1) ?? 0) ^ 1;
    writeFileSync(join(there.delivery, MOVIE), bytes);
    const result = await handed(there);
    expect(result.drives.map(({ verdict, findings }) => [verdict, codes(findings)])).toEqual([
      ['held', ['handover-read-differs']],
      ['held', ['handover-read-differs']],
    ]);
    expect(existsSync(join(there.drives[0], MOVIE))).toBe(false);
    // The statement comes last, and not to a drive that lacks something.
    expect(existsSync(join(there.drives[0], 'day-07', 'handover', 'statement.json'))).toBe(false);
  });
});

describe('drives that are none', () => {
  test.each<[string, (there: World) => string]>([
    ['one that is not mounted', ({ drives }) => join(drives[0], 'gone')],
    ['the delivery itself', ({ delivery }) => delivery],
    ['a folder of the delivery', ({ delivery }) => join(delivery, 'day-07')],
    ['a file', ({ delivery }) => join(delivery, MOVIE)],
  ])('%s', async (_what, of) => {
    const there = world();
    await expect(deliver({ delivery: there.delivery, drives: [of(there)], signal: never })).rejects.toThrow(
      FindingError,
    );
  });

  test('a link where the day should be, and a folder that takes no writing: the other drive gets all of it', async () => {
    const there = world();
    symlinkSync(there.drives[1], join(there.drives[0], 'day-07'));
    const linked = await handed(there);
    expect(linked.drives.map(({ verdict }) => verdict)).toEqual(['held', 'handed-over']);
    if (process.getuid?.() === 0) return;
    const other = world();
    chmodSync(other.drives[0], 0o555);
    const closed = await handed(other);
    expect(closed.drives.map(({ verdict, findings }) => [verdict, codes(findings)])).toEqual([
      ['held', ['handover-copy-failed']],
      ['handed-over', []],
    ]);
  });
});

test('a drive with too little room is said so before anything is written to it, and the other gets all', async (context) => {
  needsRoot(context);
  const there = world();
  execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=64k', 'rushlight-test', there.drives[0]]);
  try {
    const result = await handed(there);
    expect(result.drives.map(({ verdict, findings }) => [verdict, codes(findings)])).toEqual([
      ['held', ['handover-drive-full']],
      ['handed-over', []],
    ]);
    expect(readdirSync(there.drives[0])).toEqual([]);
  } finally {
    execFileSync('umount', ['-l', there.drives[0]]);
  }
});

test('a drive that gives back other bytes than it was given: the copy gets no name', async () => {
  const there = world();
  const day = join(there.delivery, 'day-07');
  const path = 'handover/log.csv';
  const bytes = readFileSync(join(day, path));
  const file = { path, bytes: bytes.length, sha256: createHash('sha256').update(bytes).digest('hex') };
  const drives = there.drives.map((drive) => ({ dayFolder: join(drive, 'day-07'), isOurs: () => false }));
  const results = await copyFile(day, file, drives, {
    signal: never,
    readBack: async (staged) => {
      const read = await digestOfFile(staged);
      return staged.startsWith(there.drives[0]) ? { ...read, sha256: 'f'.repeat(64) } : read;
    },
  });
  expect(results.map((one) => (one.kind === 'refused' ? one.found.code : one.kind))).toEqual([
    'handover-copy-differs',
    'copied',
  ]);
  expect(filesBelow(there.drives[0])).toEqual([]);
  expect(readFileSync(join(there.drives[1], 'day-07', path)).equals(bytes)).toBe(true);
});

test('the command: one line for whoever carries the drive; audit of the drive finds it whole, and a spoiled history', async () => {
  const there = world();
  const result = await runCommand([
    'handover',
    there.delivery,
    '--to',
    there.drives[0],
    '--to',
    there.drives[1],
  ]);
  expect(result.code, result.stdout).toBe(0);
  expect(result.stdout).toMatch(
    /^carries {6}\S+drive-1 {2}day-07: A005\. \d+ files, .+, every byte read back and the same\.\n/,
  );
  const audit = await runCommand(['audit', there.drives[0], '--json', '--quiet']);
  expect(audit.code, audit.stdout).toBe(0);
  expect((JSON.parse(audit.stdout) as { findings: unknown[] }).findings).toEqual([]);
  const [generation] = readdirSync(join(there.drives[0], 'day-07', 'ascmhl')).filter((name) =>
    name.endsWith('.mhl'),
  );
  appendFileSync(join(there.drives[0], 'day-07', 'ascmhl', generation ?? ''), '\n');
  expect(codes(await auditDriveHistory(join(there.drives[0], 'day-07')))).toContain('manifest-chain-broken');
});
