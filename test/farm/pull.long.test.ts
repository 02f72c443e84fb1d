/** A pull on a farm with volumes, for a cut that was made with proxies that have a frame of each field: both, together, and what the cut must say for it. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { runCli, startCli } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { linesOf, startMachine } from '../support/farm.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg, makeMovie } from '../support/media.ts';
import { runWords } from '../support/night.ts';
import { sharedRedis } from '../support/redis.ts';
import { needsRoot } from '../support/root.ts';

const SPLIT = 'test/fixtures/profiles/split-rdd36.yaml';
const MASTER = 'test/fixtures/profiles/fields-exr.yaml';
const FRAMES = 10;

/** 29.97i, drop-frame, over a minute; something moves from field to field. */
async function makeWoven(path: string): Promise<void> {
  await ffmpeg(
    ...['-f', 'lavfi', '-i'],
    `testsrc2=s=320x240:r=60000/1001,format=yuv422p10le,rotate=a=n/15:c=gray,trim=end_frame=${2 * FRAMES}`,
    '-vf',
    'tinterlace=interleave_top,setfield=tff,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv',
    ...['-c:v', 'prores_ks', '-profile:v', '3', '-flags', '+ildct+ilme', '-top', '1'],
    ...['-timecode', '10:00:59;28', path],
  );
}

const startLabel = (path: string): string =>
  execFileSync(
    'ffprobe',
    [
      '-v',
      'error',
      '-select_streams',
      'v:0',
      '-show_entries',
      'stream_tags=timecode',
      '-of',
      'csv=p=0',
      path,
    ],
    { encoding: 'utf8' },
  ).trim();

interface Said {
  readonly verdict: string;
  readonly pull: { readonly ranges: readonly unknown[] };
  readonly findings: readonly { readonly code: string; readonly found: string; readonly expected: string }[];
}
const said = (stdout: string): Said => JSON.parse(stdout) as Said;

test('the fields of the cut lead to their frames, which are those of the whole master byte for byte, made on another machine', async (context) => {
  needsRoot(context);
  const folder = freshFolder('farm-pull');
  const store = await sharedRedis();
  context.onTestFinished(() => store.stop());
  const [raid, proxies] = [join(folder, 'raid'), join(folder, 'proxies')];
  const day = join(raid, 'day-07');
  mkdirSync(join(day, 'A007'), { recursive: true });
  mkdirSync(proxies);
  await makeWoven(join(day, 'A007', 'A007C001.mov'));
  // Of whole frames, on another reel: on the timeline of the fields it cannot be followed.
  mkdirSync(join(day, 'B007'));
  await makeMovie(join(day, 'B007', 'B007C001.mov'), {
    ...{ frames: FRAMES, size: '96x54', rate: '30000/1001', timecode: '10:00:59;28', audio: [] },
  });
  for (const roll of ['A007', 'B007']) writeMd5Manifest(join(day, roll));
  for (const at of [raid, proxies]) expect((await runCli(['volume', 'init', at])).code).toBe(0);
  const settings = join(folder, 'show.yaml');
  writeFileSync(settings, 'version: 1\nshow:\n  input: { name: slog3-sgamut3cine }\n');
  const delivery = join(proxies, 'delivery');
  const work = join(folder, 'work');

  const first = await runCli(
    runWords({ day, delivery, work, profiles: [SPLIT] }, '--workers', '1', '--json', '--quiet'),
  );
  expect(first.code, first.stdout).toBe(0);
  const proxy = join(delivery, 'day-07', 'A007', 'split-rdd36', 'A007C001.mov');
  // Two labels for each of the camera's: ;28 of 30 are ;56 and ;57 of 60.
  expect(startLabel(proxy)).toBe('10:00:59;56');

  // From the later field of the first frame to the earlier one of the third: ;57, ;58, ;59, 10:01:00;04 (SMPTE ST 12-1 leaves out four labels).
  const labels = '10:00:59;57 10:01:00;05';
  const list = (rate: string): string =>
    [
      'TITLE: REEL 1',
      'FCM: DROP FRAME',
      ...(rate === '' ? [] : [`* ${rate} FRAMES A SECOND`]),
      `001  A007     V     C        ${labels} ${labels}`,
    ].join('\r\n');
  const cut = join(folder, 'reel-1.edl');
  writeFileSync(cut, list('60000/1001'));
  const pulling = (command: string, file: string, ...more: string[]): string[] => [
    ...[command, day, '--deliver', delivery, '--settings', settings, '--pull', file, '--handles', '0'],
    ...['--profile', MASTER, '--json', '--quiet', ...more],
  ];

  // Our own timeline of the proxies, whole; and lists that do not say enough.
  const timeline = await runCli(pulling('plan', join(delivery, 'day-07', 'handover', 'timeline.otio')));
  expect(said(timeline.stdout).pull.ranges).toEqual([
    { roll: 'A007', clip: 'A007C001', start: 0, frames: FRAMES },
    { roll: 'B007', clip: 'B007C001', start: 0, frames: FRAMES },
  ]);
  const bare = join(folder, 'bare.edl');
  writeFileSync(bare, list(''));
  const refused = await runCli(pulling('plan', bare));
  expect(refused.code).toBe(1);
  const why = said(refused.stdout).findings.find(({ code }) => code === 'pull-not-followed');
  expect([why?.found, why?.expected]).toEqual([
    expect.stringContaining('interlaced'),
    expect.stringContaining('--cut-rate'),
  ]);
  const stated = await runCli(pulling('plan', bare, '--cut-rate', '59.94'));
  expect(said(stated.stdout).pull.ranges).toEqual([{ roll: 'A007', clip: 'A007C001', start: 0, frames: 3 }]);

  const run = startCli([
    ...pulling('run', cut, '--work', work, '--workers', '0', '--queue', store.url),
    ...['--volumes', `raid=${raid},proxies=${proxies}`],
  ]);
  const [r, p] = [join(folder, 'north-r'), join(folder, 'north-p')];
  for (const at of [r, p]) mkdirSync(at);
  const north = startMachine({
    ...{ name: 'north', queue: store.url, folder, words: ['--volumes', `raid=${r},proxies=${p}`] },
    mounts: `mount --bind ${raid} ${r}; mount --bind ${proxies} ${p}; mount -t tmpfs none ${raid}; mount -t tmpfs none ${proxies}`,
  });
  const ended = await run.done;
  expect(ended.code, ended.stderr + ended.stdout).toBe(0);
  expect(said(ended.stdout).pull.ranges).toEqual([{ roll: 'A007', clip: 'A007C001', start: 0, frames: 3 }]);
  expect(linesOf(north.log, 'done')).toHaveLength(1);

  const whole = join(folder, 'whole');
  const masters = await runCli([
    ...runWords({ day, delivery: whole, work: join(folder, 'whole-work'), profiles: [MASTER] }),
    ...['--settings', settings, '--roll', 'A007', '--workers', '1', '--json', '--quiet'],
  ]);
  expect(masters.code, masters.stdout).toBe(0);
  const pull = join(delivery, readdirSync(delivery).find((name) => name.includes('.pull-')) as string);
  const [range] = readdirSync(join(pull, 'A007', 'fields-exr'));
  const made = join(pull, 'A007', 'fields-exr', range as string);
  const there = join(whole, 'day-07', 'A007', 'fields-exr', 'A007C001');
  const names = readdirSync(there)
    .filter((name) => name.endsWith('.exr'))
    .sort();
  expect(
    readdirSync(made)
      .filter((name) => name.endsWith('.exr'))
      .sort(),
  ).toEqual(names.slice(0, 3));
  for (const name of names.slice(0, 3))
    expect(readFileSync(join(made, name)).equals(readFileSync(join(there, name)))).toBe(true);

  // The proxies of the first night are as they were, and both are proved once more.
  const audited = await runCli(['audit', delivery]);
  expect(audited.code, audited.stdout).toBe(0);
}, 400_000);
