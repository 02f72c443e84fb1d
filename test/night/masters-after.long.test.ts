/** Masters after the proxies of all rolls: two decodes of each clip, and the same bytes as of one. */
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { commandProcess } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { sharedFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { essence, runWords } from '../support/night.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'masters-after');
const day = join(base, 'day-08');
const PROXY = 'review-h264';
const MASTER = 'grading-master-exr';

async function night(masters: 'with' | 'after'): Promise<string> {
  const delivery = join(base, masters);
  const settings = join(base, `${masters}.yaml`);
  writeFileSync(settings, `version: 1\nshow: { masters: ${masters}, output: aces-2 }\n`);
  const words = runWords(
    { day, delivery, work: join(base, `work-${masters}`), profiles: [PROXY, MASTER] },
    ...['--settings', settings, '--workers', '1', '--slots', '1', '--stills', '1'],
  );
  const run = await runCommand(words);
  if (run.code !== 0) throw new Error(run.stderr + run.stdout);
  return delivery;
}

let [one, two] = ['', ''];
beforeAll(async () => {
  for (const [index, roll] of ['A008', 'B008'].entries()) {
    mkdirSync(join(day, roll), { recursive: true });
    for (const clip of [1, 2])
      await makeMovie(join(day, roll, `${roll}C00${clip}.mov`), {
        ...{ frames: 8, size: '96x54', rate: '24000/1001', codec: 'prores' },
        timecode: `0${index + 7}:${clip}0:00:00`,
      });
  }
  // A raw clip, of which both are developed.
  mkdirSync(join(day, 'C008', 'C008C001'), { recursive: true });
  for (let frame = 0; frame < 5; frame += 1)
    writeFileSync(
      join(day, 'C008', 'C008C001', `C008C001_${String(frame).padStart(6, '0')}.dng`),
      buildDng({
        ...{ width: 192, height: 108, bits: 12, jpeg: {}, rate: [24_000, 1001] },
        samples: testSamples(192, 108, 12, frame + 1),
        timecode: `09:00:00:${String(frame).padStart(2, '0')}`,
      }),
    );
  for (const roll of readdirSync(day)) writeMd5Manifest(join(day, roll));
  [one, two] = [await night('with'), await night('after')];
}, 600_000);

test('every deliverable is the same, byte for byte, whichever way it was made', () => {
  const made = (delivery: string): [string, string][] =>
    Object.entries(essence(delivery)).filter(([name]) => /\.(?:mp4|exr|png)$/.test(name));
  // 5 proxies, 37 frames of masters, 5 stills.
  expect(made(two)).toHaveLength(5 + 4 * 8 + 5 + 5);
  expect(made(two)).toEqual(made(one));
});

test('no master is begun while there are proxies to be begun, of whichever roll', () => {
  const reports = readdirSync(join(two, 'day-08')).flatMap((roll) => {
    const folder = join(two, 'day-08', roll, 'reports', 'deliverables');
    return roll === 'handover'
      ? []
      : readdirSync(folder).map(
          (name) =>
            JSON.parse(readFileSync(join(folder, name), 'utf8')) as {
              profile: string;
              startedAt: string;
              finishedAt: string;
            },
        );
  });
  const of = (profile: string) => reports.filter((report) => report.profile === profile);
  expect([of(PROXY).length, of(MASTER).length]).toEqual([5, 5]);
  // All on one machine in one place: one job after the other. Those of a roll that was still read when nothing else was left may follow a master.
  const first = of(MASTER)
    .map(({ startedAt }) => startedAt)
    .sort()[0] as string;
  const rollsBefore = of(PROXY).filter(({ finishedAt }) => finishedAt <= first);
  expect(rollsBefore.length).toBeGreaterThanOrEqual(4);
});

test('an audit finds nothing, and a second run has nothing to make', async () => {
  const audit = await runCommand(['audit', two, '--quiet']);
  expect(audit.code, audit.stdout + audit.stderr).toBe(0);
  const again = await runCommand(
    runWords(
      { day, delivery: two, work: join(base, 'work-again'), profiles: [PROXY, MASTER] },
      ...['--settings', join(base, 'after.yaml'), '--workers', '1', '--stills', '1', '--json'],
    ),
  );
  const { rolls } = JSON.parse(again.stdout) as { rolls: { made: number; kept: number; verdict: string }[] };
  expect(rolls.map(({ made, kept, verdict }) => [made, kept, verdict])).toEqual([
    [0, 4, 'ready'],
    [0, 4, 'ready'],
    [0, 2, 'ready'],
  ]);
});
