/** A locked cut pulled from a day, as the user does it: only its frames, under the names of whole masters, in a folder of their own; audited, handed over, attacked. */
import { execFileSync } from 'node:child_process';
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { commandProcess } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { faultsIn } from '../support/schemas.ts';

const command = commandProcess();
const base = join(sharedFolder, 'pull');
const day = join(base, 'day-07');
const original = join(base, 'delivery');
const cut = join(base, 'reel 2.edl');

const event = (number: number, reel: string, from: string, to: string): string =>
  `00${number}  ${reel}     V     C        ${from} ${to} ${from} ${to}`;
const CUT = [
  'TITLE: REEL 2',
  'FCM: NON-DROP FRAME',
  event(1, 'A007', '07:00:00:02', '07:00:00:04'),
  event(2, 'B007', '07:00:00:05', '07:00:00:07'),
  // Of another day.
  event(3, 'D001', '07:00:00:02', '07:00:00:04'),
].join('\r\n');

const words = (name: 'run' | 'plan', delivery: string, ...more: string[]): string[] => [
  ...[
    name,
    day,
    '--deliver',
    delivery,
    '--settings',
    join(base, 'show.yaml'),
    '--pull',
    cut,
    '--handles',
    '1',
  ],
  ...(name === 'run' ? ['--work', join(base, 'work')] : []),
  ...['--workers', '1', '--json', '--quiet', ...more],
];
interface Said {
  readonly verdict: string;
  readonly rolls: readonly {
    roll: string;
    made: number;
    kept: number;
    findings: readonly { code: string }[];
  }[];
  readonly findings: readonly { code: string; found: string }[];
  readonly pull: { readonly ranges: readonly unknown[]; readonly text: string };
}
const said = ({ stdout }: { readonly stdout: string }): Said => JSON.parse(stdout) as Said;
const codes = ({ stdout }: { readonly stdout: string }): string[] =>
  [...new Set([...stdout.matchAll(/"code": "([a-z-]+)"/g)].map(([, code]) => code as string))].sort();
const pullOf = (delivery: string): string =>
  join(delivery, readdirSync(delivery).find((name) => name.startsWith('day-07.pull-')) as string);
const frames = (delivery: string, roll: string): string[] => {
  const folder = join(pullOf(delivery), roll, 'grading-master-exr');
  return readdirSync(folder).flatMap((clip) =>
    readdirSync(join(folder, clip))
      .filter((name) => name.endsWith('.exr'))
      .sort()
      .map((name) => `${clip}/${name}`),
  );
};
const copied = (): string => {
  const delivery = freshFolder('pulled');
  cpSync(original, delivery, { recursive: true });
  return delivery;
};

beforeAll(async () => {
  mkdirSync(join(day, 'A007', 'A007C001'), { recursive: true });
  for (let frame = 0; frame < 8; frame += 1)
    writeFileSync(
      join(day, 'A007', 'A007C001', `A007C001_${String(frame).padStart(6, '0')}.dng`),
      buildDng({
        ...{ width: 64, height: 48, samples: testSamples(64, 48, 12, frame + 1), bits: 12, jpeg: {} },
        ...{ rate: [24, 1], timecode: `07:00:00:${String(frame).padStart(2, '0')}` },
      }),
    );
  for (const roll of ['B007', 'C007']) {
    mkdirSync(join(day, roll), { recursive: true });
    for (const [clip, timecode] of [
      // Equal timecode on other reels.
      ['C001', '07:00:00:00'],
      ['C002', '07:10:00:00'],
    ] as const)
      await makeMovie(join(day, roll, `${roll}${clip}.mov`), {
        ...{ frames: 12, size: '96x54', rate: '24', timecode, codec: 'h264', tagged: false, audio: [] },
        picture: roll === 'B007' ? 'testsrc2' : 'testsrc',
      });
  }
  for (const roll of ['A007', 'B007', 'C007']) writeMd5Manifest(join(day, roll));
  writeFileSync(join(base, 'show.yaml'), 'version: 1\nshow:\n  input: { name: slog3-sgamut3cine }\n');
  writeFileSync(cut, CUT);
  const night = await command(words('run', original));
  if (night.code !== 0) throw new Error(night.stderr + night.stdout);
  writeFileSync(join(base, 'said.json'), night.stdout);
}, 240_000);

test('of each use its frames and one before and behind, numbered as in the whole clip; of other rolls nothing', () => {
  const night = said({ stdout: readFileSync(join(base, 'said.json'), 'utf8') });
  expect([night.verdict, night.rolls.map(({ roll }) => roll)]).toEqual(['ready', ['A007', 'B007']]);
  expect(night.pull.ranges).toEqual([
    { roll: 'A007', clip: 'A007C001', start: 1, frames: 4 },
    { roll: 'B007', clip: 'B007C001', start: 4, frames: 4 },
  ]);
  expect(night.findings.map(({ code }) => code)).toContain('pull-clip-absent');
  // 07:00:00:00 at 24 is frame 604 800.
  expect(frames(original, 'A007')).toEqual(
    [1, 2, 3, 4].map((frame) => `A007C001.0604801-0604804/A007C001.060480${frame}.exr`),
  );
  expect(frames(original, 'B007')).toEqual(
    [4, 5, 6, 7].map((frame) => `B007C001.0604804-0604807/B007C001.060480${frame}.exr`),
  );
  expect(existsSync(join(pullOf(original), 'C007'))).toBe(false);
  const record: unknown = JSON.parse(readFileSync(join(pullOf(original), 'pull.json'), 'utf8'));
  expect(faultsIn('pull', record)).toEqual([]);
  expect(readFileSync(join(pullOf(original), 'pull.edl'), 'utf8')).toBe(CUT);
});

test('what a frame says of itself is read by another program: label, number, file and frame of the source', () => {
  const file = join(
    pullOf(original),
    'B007',
    'grading-master-exr',
    'B007C001.0604804-0604807',
    'B007C001.0604806.exr',
  );
  // ffprobe reads the time code of OpenEXR since 4.4.
  const text = execFileSync(
    'ffprobe',
    ['-v', 'error', '-show_entries', 'frame_tags:stream_tags:format_tags', file],
    {
      encoding: 'utf8',
    },
  );
  const bytes = readFileSync(file).toString('latin1');
  expect(`${text}${bytes}`).toMatch(
    /sourceFrame\0string\0[\s\S]{4}06imageCounter|sourceFrame\0string\0[\s\S]{4}06/,
  );
});

test('again, nothing is made; other handles are another folder, and a plan writes nothing', async () => {
  const delivery = copied();
  const again = await command(words('run', delivery));
  expect([again.code, said(again).rolls.map(({ made, kept }) => [made, kept])]).toEqual([
    0,
    [
      [0, 1],
      [0, 1],
    ],
  ]);
  const before = readdirSync(delivery);
  const plan = await command(words('plan', delivery, '--handles', '0'));
  expect([plan.code, said(plan).pull.ranges]).toEqual([
    0,
    [
      { roll: 'A007', clip: 'A007C001', start: 2, frames: 2 },
      { roll: 'B007', clip: 'B007C001', start: 5, frames: 2 },
    ],
  ]);
  expect(readdirSync(delivery)).toEqual(before);
  // What was pulled of a clip before, under another name of the day, is no second card that holds it.
  expect(codes(plan)).not.toContain('roll-repeated');
});

test('a day and pulls of it lie on one delivery, whichever came first', async () => {
  const delivery = copied();
  const whole = words('plan', delivery, '--profile', 'grading-master-exr');
  whole.splice(whole.indexOf('--pull'), 4);
  expect(codes(await command(whole))).not.toContain('roll-repeated');
});

describe('an audit', () => {
  const audit = (delivery: string) => command(['audit', delivery, '--json', '--quiet']);
  test('follows the cut again and finds nothing', async () => {
    const result = await audit(original);
    expect([result.code, codes(result)]).toEqual([0, ['colour-assumed', 'pull-clip-absent']]);
  });

  test.each<[string, (pull: string) => void, string]>([
    [
      'a range that the cut does not have',
      (pull) => {
        const path = join(pull, 'pull.json');
        const record = JSON.parse(readFileSync(path, 'utf8')) as { ranges: { start: number }[] };
        (record.ranges[0] as { start: number }).start += 1;
        writeFileSync(path, JSON.stringify(record));
      },
      'pull-record-differs',
    ],
    [
      'a clip that begins a frame later',
      (pull) => {
        const path = join(pull, 'pull.json');
        const record = JSON.parse(readFileSync(path, 'utf8')) as { clips: { start: { frame: number } }[] };
        for (const { start } of record.clips) start.frame += 1;
        writeFileSync(path, JSON.stringify(record));
      },
      'pull-record-differs',
    ],
    [
      'a clip of whole frames that the record says is of fields, by which a cut would count otherwise',
      (pull) => {
        const path = join(pull, 'pull.json');
        const record = JSON.parse(readFileSync(path, 'utf8')) as { clips: { fields?: boolean }[] };
        for (const clip of record.clips) clip.fields = true;
        writeFileSync(path, JSON.stringify(record));
      },
      'pull-record-differs',
    ],
    [
      'a cut that was written in',
      (pull) => appendFileSync(join(pull, 'pull.edl'), '\n'),
      'pull-record-absent',
    ],
    ['no record', (pull) => rmSync(join(pull, 'pull.json')), 'pull-record-absent'],
    ['a roll that is gone', (pull) => rmSync(join(pull, 'B007'), { recursive: true }), 'pull-record-differs'],
  ])('names %s', async (_, spoil, code) => {
    const delivery = copied();
    spoil(pullOf(delivery));
    const result = await audit(delivery);
    expect(result.code).toBe(1);
    expect(codes(result)).toContain(code);
  });
});

test('the drive has the pull with its cut and its record, and a list that another program proves', async () => {
  const drive = freshFolder('drive');
  const handed = await command(['handover', original, '--to', drive, '--json', '--quiet']);
  expect([handed.code, handed.stderr]).toEqual([0, '']);
  expect(existsSync(join(pullOf(drive), 'pull.edl')) && existsSync(join(pullOf(drive), 'pull.json'))).toBe(
    true,
  );
  execFileSync('sha256sum', ['--check', '--quiet', 'handover/checksums.sha256'], { cwd: pullOf(drive) });
  const bin = readFileSync(join(pullOf(drive), 'handover', 'bin.otio'), 'utf8');
  expect([...bin.matchAll(/"first_source_frame": (\d+)/g)].map(([, frame]) => Number(frame)).sort()).toEqual([
    1, 1, 4, 4,
  ]);
});

test('a late copy is added to the rolls of a pull too', async () => {
  const delivery = copied();
  const copy = join(freshFolder('copy'), 'day-07');
  cpSync(day, copy, { recursive: true });
  const late = await command(['check', day, '--copy', copy, '--deliver', delivery, '--json', '--quiet']);
  const { verdicts } = JSON.parse(late.stdout) as { verdicts: { roll: string; copies: number }[] };
  expect([late.code, verdicts.map(({ roll, copies }) => [roll.split('/').at(-1), copies])]).toEqual([
    0,
    [
      ['A007', 2],
      ['B007', 2],
    ],
  ]);
});

test('a clip whose source changed is held, and its frames stay', async () => {
  const delivery = copied();
  const changed = freshFolder('changed');
  const other = join(changed, 'day-07');
  cpSync(day, other, { recursive: true });
  await makeMovie(join(other, 'B007', 'B007C001.mov'), {
    ...{
      frames: 12,
      size: '96x54',
      rate: '24',
      timecode: '07:00:00:00',
      codec: 'h264',
      tagged: false,
      audio: [],
    },
    picture: 'testsrc',
  });
  const again = words('run', delivery);
  again[1] = other;
  const before = readFileSync(join(pullOf(delivery), 'B007', 'roll.json'));
  // Against the manifest of the card.
  const unlike = await command(again);
  expect([unlike.code, codes(unlike).includes('file-checksum-differs')]).toEqual([1, true]);
  // A manifest that says it is so: the pull that is ready is of other pictures.
  cpSync(original, delivery, { recursive: true });
  writeMd5Manifest(join(other, 'B007'));
  const differs = await command(again);
  expect([differs.code, said(differs).rolls.map(({ made }) => made)]).toEqual([1, [0, 0]]);
  expect(codes(differs)).toContain('pull-source-changed');
  expect(readFileSync(join(pullOf(delivery), 'B007', 'roll.json')).equals(before)).toBe(true);
});

describe('what cannot be begun says so', () => {
  test.each<[string, string, string[], string]>([
    ['a list with a broken line', `${CUT}\r\n004  A007 V C 07:00:00:0`, [], 'line 6'],
    ['a timeline that is cut off', '{"OTIO_SCHEMA": "Timeline.1",\n"tracks": {', [], 'line 2'],
    ['a profile of movies', CUT, ['--profile', 'editorial-vc3'], 'pull-profile'],
    [
      'a cut that nothing of the day is in',
      event(1, 'D001', '07:00:00:02', '07:00:00:04'),
      [],
      'pull-nothing',
    ],
  ])('%s', async (_, text, more, wanted) => {
    const file = join(freshFolder('cut'), 'cut.edl');
    writeFileSync(file, text);
    const delivery = join(freshFolder('none'), 'delivery');
    const plan = words('plan', delivery, ...more);
    plan[plan.indexOf(cut)] = file;
    const result = await command(plan);
    expect([result.code === 0, `${result.stdout}${result.stderr}`]).toEqual([
      false,
      expect.stringContaining(wanted),
    ]);
    expect(existsSync(delivery)).toBe(false);
  });
});
