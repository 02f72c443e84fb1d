/** One long clip on two workers, each with a core of its own, against one worker: how much sooner a clip is ready that is cut into segments. */
import { type ChildProcess, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { digestOfFile } from '../../files/digest.ts';
import { programFile } from '../../files/installation.ts';
import { freePort } from '../support/redis.ts';
import { ffmpeg } from '../support/media.ts';
import { runCli } from '../support/cli.ts';
import type { BenchLine } from './line.ts';

const SECONDS = 180;
const SEGMENTS = 4;
/** Until a worker has asked its machine and waits for jobs. */
const READY_MILLISECONDS = 10_000;

interface Kind {
  readonly name: string;
  readonly profile: string;
  readonly least: number;
}
const KINDS: readonly Kind[] = [
  { name: 'VC-3', profile: 'editorial-vc3', least: 1.6 },
  { name: 'FFV1', profile: 'archive-ffv1', least: 1.8 },
];

/** taskset(1) of util-linux, which gives a program one core and all that it starts with it. */
function onCore(
  core: number,
  command: readonly string[],
  env: Readonly<Record<string, string>> = {},
): ChildProcess {
  return spawn('taskset', ['-c', String(core), ...command], {
    env: { ...process.env, ...env },
    stdio: 'ignore',
  });
}

const ended = (child: ChildProcess): Promise<number | null> =>
  new Promise((resolve, reject) => {
    child.once('error', reject);
    child.once('close', (code) => resolve(code));
  });

const wait = (milliseconds: number): Promise<void> =>
  new Promise((resolve) => setTimeout(resolve, milliseconds));

interface Night {
  readonly seconds: number;
  readonly delivery: string;
}

/** Coordinator and Redis on the first core, a worker on each of `cores`. */
async function night(
  base: string,
  {
    day,
    profile,
    cores,
    segments,
  }: { day: string; profile: string; cores: readonly number[]; segments: string },
): Promise<Night> {
  mkdirSync(base);
  const port = await freePort();
  const queue = `redis://127.0.0.1:${port}/0`;
  const cli = [process.execPath, programFile('coordinator/cli.js')];
  const redis = onCore(0, [
    'redis-server',
    ...['--port', String(port), '--bind', '127.0.0.1', '--dir', base, '--save', '', '--appendonly', 'no'],
    ...['--maxmemory-policy', 'noeviction'],
  ]);
  await wait(1_000);
  const workers = cores.map((core) =>
    onCore(core, [...cli, 'worker', '--queue', queue, '--workers', '1', '--slots', '1', '--quiet'], {
      // Each is a machine of its own.
      XDG_STATE_HOME: join(base, `machine-${core}`),
    }),
  );
  try {
    await wait(READY_MILLISECONDS);
    const began = performance.now();
    const delivery = join(base, 'delivery');
    const code = await ended(
      onCore(0, [
        ...[...cli, 'run', day, '--deliver', delivery, '--work', join(base, 'work'), '--profile', profile],
        ...[
          '--manifests',
          join(dirname(day), 'manifests'),
          '--stills',
          '0',
          '--queue',
          queue,
          '--workers',
          '0',
          '--segments',
          segments,
          '--quiet',
        ],
      ]),
    );
    const seconds = (performance.now() - began) / 1000;
    if (code !== 0) throw new Error(`the night ended with ${code}`);
    return { seconds, delivery };
  } finally {
    for (const child of [...workers, redis]) {
      const over = ended(child);
      child.kill('SIGTERM');
      await over;
    }
  }
}

function theOneIn(folder: string): string {
  const [name, ...others] = readdirSync(folder);
  if (name === undefined || others.length > 0) throw new Error(`${folder} holds ${others.length + 1} files`);
  return join(folder, name);
}

/** A clip of three minutes, long GOP with open groups, to both codecs; the joined file must be the whole one. */
export async function benchSegments(): Promise<BenchLine[]> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-segments-'));
  try {
    const day = join(base, 'day-01');
    const roll = join(day, 'A001');
    mkdirSync(roll, { recursive: true });
    await ffmpeg(
      ...['-f', 'lavfi', '-i', `testsrc2=s=1280x720:r=24:d=${SECONDS},noise=alls=8:allf=t,format=yuv420p`],
      ...['-f', 'lavfi', '-i', `sine=r=48000:d=${SECONDS}`, '-c:v', 'libx264', '-preset', 'ultrafast'],
      ...['-bf', '2', '-g', '48', '-x264-params', 'open-gop=1', '-c:a', 'pcm_s24le'],
      ...['-color_primaries', 'bt709', '-color_trc', 'bt709', '-colorspace', 'bt709'],
      ...['-timecode', '01:00:00:00', join(roll, 'A001C001.mov')],
    );
    const manifests = join(base, 'manifests');
    const manifest = await runCli(['manifest', roll, '--to', manifests]);
    if (manifest.code !== 0) throw new Error(manifest.stderr);
    const lines: BenchLine[] = [];
    for (const { name, profile, least } of KINDS) {
      const one = await night(join(base, `${profile}-one`), { day, profile, cores: [0], segments: 'never' });
      const two = await night(join(base, `${profile}-two`), {
        ...{ day, profile, cores: [0, 1] },
        segments: String(SEGMENTS),
      });
      // Lossless files are too large for one buffer.
      const [whole, joined] = await Promise.all(
        [one, two].map(({ delivery }) => digestOfFile(theOneIn(join(delivery, 'day-01', 'A001', profile)))),
      );
      if (whole?.sha256 !== joined?.sha256) throw new Error(`${name}: the joined file is not the whole one`);
      const ratio = one.seconds / two.seconds;
      lines.push({
        name: `a clip of ${SECONDS} s in ${SEGMENTS} segments on two workers, ${name}`,
        measured: `${ratio.toFixed(2)} times as fast as on one (${one.seconds.toFixed(0)} s, ${two.seconds.toFixed(0)} s)`,
        target: `at least ${least}`,
        passed: ratio >= least,
      });
    }
    return lines;
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}
