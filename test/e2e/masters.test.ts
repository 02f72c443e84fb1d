/** A day of two cameras, one raw and one log, as the user takes it through the night for the finishing house, and audited later. */
import {
  copyFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { auditDelivery } from '../../coordinator/audit/index.ts';
import type { RollAudit } from '../../coordinator/audit/request.ts';
import { packageFolder } from '../../files/installation.ts';
import { commandProcess } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { belongings, makeFolderOfOthers, otherGroup } from '../support/groups.ts';
import { mediaTools } from '../support/make.ts';
import { everyRow } from '../support/lane.ts';
import { makeMovie } from '../support/media.ts';
import { runWords } from '../support/night.ts';
import { recordsIn } from '../support/schemas.ts';

const runCommand = commandProcess();

const base = join(sharedFolder, 'masters');
const day = join(base, 'day-07');
const original = join(base, 'delivery');
const settings = join(base, 'show.yaml');
const run = (delivery: string, ...more: string[]): ReturnType<typeof runCommand> =>
  runCommand(
    runWords(
      { day, delivery, work: join(base, 'work'), profiles: ['grading-master-exr', 'dpx-10'] },
      ...['--settings', settings, '--workers', '1', ...more],
    ),
  );

beforeAll(async () => {
  mkdirSync(join(day, 'A007', 'A007C001'), { recursive: true });
  mkdirSync(join(day, 'B007'), { recursive: true });
  for (let frame = 0; frame < 5; frame += 1) {
    writeFileSync(
      join(day, 'A007', 'A007C001', `A007C001_${String(frame).padStart(6, '0')}.dng`),
      buildDng({
        width: 64,
        height: 48,
        samples: testSamples(64, 48, 12, frame + 1),
        bits: 12,
        jpeg: {},
        rate: [24_000, 1001],
        timecode: `07:00:00:${String(frame).padStart(2, '0')}`,
      }),
    );
  }
  await makeMovie(join(day, 'B007', 'B007C001.mov'), {
    frames: 8,
    size: '96x54',
    rate: '24000/1001',
    timecode: '07:10:00:00',
    codec: 'prores',
    tagged: false,
  });
  for (const roll of ['A007', 'B007']) writeMd5Manifest(join(day, roll));
  // A table of the project's fixtures: two entries a side, which lead elsewhere than any curve.
  copyFileSync(join(packageFolder, 'test/fixtures/colour/3d-2x2x2.cube'), join(base, 'look.cube'));
  writeFileSync(
    settings,
    "version: 1\nshow: { owner: Bell foundry film }\ncameras:\n  - { name: B, known_by: { rolls: ['B###'] }, input: { file: look.cube, gives: acescg } }\n",
  );
  makeFolderOfOthers(original, 0o2770);
  const night = await run(original);
  if (night.code !== 0) throw new Error(night.stderr + night.stdout);
}, 240_000);

const rollOf = (delivery: string, roll: string): string => join(delivery, 'day-07', roll);

test('both rolls are ready: raw frames by their own tags, the log movie by the table that the settings name', () => {
  for (const [roll, clip, first] of [
    ['A007', 'A007C001', '0604800'],
    ['B007', 'B007C001', '0619200'],
  ] as const) {
    const verdict = JSON.parse(readFileSync(join(rollOf(original, roll), 'roll.json'), 'utf8')) as {
      verdict: string;
      findings: { code: string }[];
    };
    expect(verdict.verdict).toBe('ready');
    expect(readdirSync(join(rollOf(original, roll), 'grading-master-exr', clip)).sort()[0]).toBe(
      `${clip}.${first}.exr`,
    );
  }
  expect(readdirSync(join(rollOf(original, 'B007'), 'reports', 'transforms'))).toHaveLength(1);
});

test('frames, records, pages and the handover have the group of the delivery and its permissions', () => {
  const found = belongings(original);
  for (const part of ['.exr', '.dpx', 'roll.json', 'handover', 'reports', '.html'])
    expect(found.some(({ path }) => path.includes(part))).toBe(true);
  // The kernel hands the set-group-id bit of a folder on to folders in it (inode(7)); no file has it.
  const others = found.filter(
    ({ gid, mode, isFolder }) => gid !== otherGroup || mode !== (isFolder ? 0o2770 : 0o660),
  );
  expect(others).toEqual([]);
});

test('every record of masters fits its JSON Schema', () => {
  expect(recordsIn(original)).toEqual({
    kinds: [
      'clip-report',
      'deliverable-report',
      'handover-predicate',
      'pages-predicate',
      'roll',
      'statement-predicate',
    ],
    faults: [],
  });
});

test('run again with other settings, the camera that they are about is made again, and all else is done already', async () => {
  const delivery = freshFolder('again');
  cpSync(original, delivery, { recursive: true });
  const before = readFileSync(
    join(rollOf(delivery, 'B007'), 'grading-master-exr', 'B007C001', 'B007C001.0619200.exr'),
  );
  const other = join(freshFolder('other'), 'show.yaml');
  writeFileSync(
    other,
    "version: 1\nshow: { owner: Bell foundry film }\ncameras:\n  - { name: B, known_by: { rolls: ['B*'] }, input: { name: vlog-vgamut } }\n",
  );
  const night = await run(delivery, '--settings', other, '--replace');
  expect(night.code, night.stdout).toBe(0);
  expect(night.stderr).toMatch(/A007: 1 clip, 0 to make, 2 already done/);
  expect(night.stderr).toMatch(/B007: 1 clip, 2 to make/);
  expect(
    readFileSync(
      join(rollOf(delivery, 'B007'), 'grading-master-exr', 'B007C001', 'B007C001.0619200.exr'),
    ).equals(before),
  ).toBe(false);
});

// That without settings the log clip is held: test/worker/masters.test.ts; that a held roll keeps no other one back: bad-tools.test.ts.
const withoutSettings = async (): Promise<void> => {
  const delivery = join(freshFolder('unsaid'), 'delivery');
  const night = await runCommand(
    runWords(
      { day, delivery, work: join(base, 'work-unsaid'), profiles: ['grading-master-exr'] },
      ...['--workers', '1', '--quiet'],
    ),
  );
  expect(night.code).toBe(1);
  expect(night.stdout).toContain('[input-unknown]');
  expect(night.stdout).toMatch(/^ready \(1 copy\) +A007/m);
  expect(night.stdout).toMatch(/^HELD +B007/m);
};
if (everyRow)
  test('without settings the log roll is held with the remedy, and the raw one is made', withoutSettings);

test('a movie of raw frames is refused by a profile without a display before anything is made, and planned by one that has it', async () => {
  const delivery = join(freshFolder('proxy'), 'delivery');
  const plan = (profile: string): ReturnType<typeof runCommand> =>
    runCommand(['plan', day, '--deliver', delivery, '--settings', settings, '--profile', profile, '--quiet']);
  const without = await plan('archive-ffv1');
  expect(without.code).toBe(1);
  expect(without.stdout).toContain('[raw-not-developed]');
  expect(without.stdout).toContain('editorial-vc3');
  const shown = await plan('editorial-vc3');
  expect(shown.code, shown.stdout).toBe(0);
  expect(shown.stdout).toContain('shown from raw frames, developed (fine), ACES 2, for bt1886-bt709');
  expect(existsSync(delivery)).toBe(false);
});

test('a plan foretells the frames of uncompressed masters within 2 per cent of what is made', async () => {
  const delivery = join(freshFolder('size'), 'delivery');
  const args = [
    ...[day, '--deliver', delivery, '--settings', settings],
    ...['--profile', 'dpx-10', '--stills', '0', '--json'],
  ];
  const plan = JSON.parse((await runCommand(['plan', ...args])).stdout) as {
    jobs: { clip: string; bytes: number; bytesRange: { least: number; most: number } }[];
  };
  expect(plan.jobs.map(({ clip }) => clip).sort()).toEqual(['A007C001', 'B007C001']);
  for (const { clip, bytes, bytesRange } of plan.jobs) {
    const folder = join(rollOf(original, clip.slice(0, 4)), 'dpx-10', clip);
    // Room for their metadata is taken besides (coordinator/plan/room.ts).
    const frames = readdirSync(folder).filter((name) => name.endsWith('.dpx'));
    const made = frames.reduce((sum, name) => sum + statSync(join(folder, name)).size, 0);
    expect(Math.abs(bytes / made - 1)).toBeLessThan(0.02);
    expect(bytesRange).toEqual({ least: bytes, most: bytes });
  }
});

describe('audited without the sources', () => {
  async function auditOf(roll: 'A007' | 'B007', spoil: (folder: string) => void): Promise<RollAudit> {
    const delivery = freshFolder('audit');
    // The other roll would be measured as well.
    cpSync(rollOf(original, roll), rollOf(delivery, roll), { recursive: true });
    spoil(rollOf(delivery, roll));
    const { rolls } = await auditDelivery({ delivery, tools: await mediaTools() });
    expect(rolls.map((one) => one.roll)).toEqual([roll]);
    return rolls[0] as RollAudit;
  }
  const frame = (folder: string, clip: string, number: string): string =>
    join(folder, 'grading-master-exr', clip, `${clip}.${number}.exr`);

  test.each(['A007', 'B007'] as const)('untouched, %s is ready', async (roll) => {
    const audit = await auditOf(roll, () => undefined);
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'ready' });
    // The movie has no tags; that something was assumed of it stays said.
    expect(audit.findings.map((item) => item.code)).toEqual(
      roll === 'A007' ? [] : ['colour-assumed', 'colour-assumed'],
    );
  });

  test.each<[string, 'A007' | 'B007', (folder: string) => void, string, string]>([
    [
      'one byte of one frame',
      'A007',
      (folder) => flip(frame(folder, 'A007C001', '0604802')),
      'folder-file-differs',
      'A007C001.0604802.exr',
    ],
    [
      'a frame taken away',
      'A007',
      (folder) => rmSync(frame(folder, 'A007C001', '0604803')),
      'folder-file-absent',
      'A007C001.0604803.exr',
    ],
    [
      'a frame that nobody made',
      'B007',
      (folder) =>
        copyFileSync(
          frame(folder, 'B007C001', '0619203'),
          join(folder, 'grading-master-exr', 'B007C001', 'B007C001.0619299.exr'),
        ),
      'folder-file-unexpected',
      'B007C001.0619299.exr',
    ],
    [
      'two frames that changed places',
      'B007',
      (folder) => {
        const [one, other] = [frame(folder, 'B007C001', '0619201'), frame(folder, 'B007C001', '0619204')];
        renameSync(one, `${one}.x`);
        renameSync(other, one);
        renameSync(`${one}.x`, other);
      },
      'timecode-differs',
      'B007C001.0619201.exr',
    ],
    [
      'the table of the transform edited',
      'B007',
      (folder) => {
        const [name] = readdirSync(join(folder, 'reports', 'transforms'));
        const path = join(folder, 'reports', 'transforms', name as string);
        writeFileSync(path, readFileSync(path, 'utf8').replace('\n2.0 0.0 0.0', '\n1.9 0.0 0.0'));
      },
      'colour-file-changed',
      '',
    ],
    [
      'the pixel samples taken away',
      'A007',
      (folder) => rmSync(join(folder, 'reports', 'samples'), { recursive: true }),
      'fingerprints-absent',
      '',
    ],
  ])('%s', async (_title, roll, spoil, code, named) => {
    const audit = await auditOf(roll, spoil);
    expect(audit).toMatchObject({ recorded: 'ready', measured: 'held' });
    const found = audit.findings.filter((item) => item.code === code);
    expect(found, JSON.stringify(audit.findings.map((item) => item.code))).not.toEqual([]);
    expect(found.some((item) => JSON.stringify(item).includes(named))).toBe(true);
  });

  function flip(path: string): void {
    const bytes = readFileSync(path);
    bytes[bytes.length - 60] = (bytes[bytes.length - 60] as number) ^ 0x10;
    writeFileSync(path, bytes);
  }
});
