/** A whole night against its own commands run bare, and how soon a night begins to encode. */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { noDayManifests } from '../../files/manifest/day.ts';
import { intakeRoll } from '../../coordinator/intake/index.ts';
import type { NightResult } from '../../coordinator/night/request.ts';
import { runCli } from '../support/cli.ts';
import { makeBenchDay, ROLL } from './day.ts';
import type { BenchLine } from './line.ts';
import { median } from './median.ts';
import { bare, madeBy, type RecordedCommand, recorder } from './recorded.ts';

const CLIPS = 40;
const CLIP_SECONDS = 2;
const FIRST_FRAME_REPETITIONS = 5;
const NIGHT_REPETITIONS = 3;
const READERS = 4;

interface Night {
  /** From the start of the command to its end. */
  readonly seconds: number;
  /** Milliseconds since the epoch. */
  readonly startedAt: number;
  readonly commands: readonly RecordedCommand[];
}

/** One night on one worker into a fresh delivery below `base`. Throws unless every clip was published and the roll is ready. */
async function night(base: string, day: string, clips: number, slots?: number): Promise<Night> {
  mkdirSync(base);
  const record = await recorder(base);
  const startedAt = performance.timeOrigin + performance.now();
  const run = await runCli([
    'run',
    day,
    '--deliver',
    join(base, 'delivery'),
    '--work',
    join(base, 'work'),
    '--profile',
    'editorial-vc3',
    '--stills',
    '0',
    '--workers',
    '1',
    ...(slots === undefined ? [] : ['--slots', String(slots)]),
    '--ffmpeg',
    record.ffmpeg,
    '--ffprobe',
    record.ffprobe,
    '--json',
    '--quiet',
  ]);
  const seconds = (performance.timeOrigin + performance.now() - startedAt) / 1000;
  const commands = record.read();
  const makes = commands.filter(({ part }) => part === 'make').length;
  const verdict = run.code === 0 ? (JSON.parse(run.stdout) as NightResult).verdict : null;
  if (verdict !== 'ready' || makes !== clips)
    throw new Error(
      `the night ended with ${run.code}, ${verdict}, ${makes} makes: ${run.stderr}${run.stdout.slice(0, 2000)}`,
    );
  return { seconds, startedAt, commands };
}

async function withFolder<Value>(act: (base: string) => Promise<Value>): Promise<Value> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    return await act(base);
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}

/** In the night's order, each alone; seconds by part. The files that were being made stand again, since the makes run too. */
async function replay(
  commands: readonly RecordedCommand[],
): Promise<Record<RecordedCommand['part'], number>> {
  const seconds = { make: 0, check: 0, other: 0 };
  for (const command of commands) {
    for (const path of madeBy(command.args)) mkdirSync(dirname(path), { recursive: true });
    seconds[command.part] += await bare(command);
  }
  return seconds;
}

interface Ratios {
  readonly both: number;
  readonly makes: number;
  readonly all: number;
  readonly checks: number;
  readonly others: number;
}

/** Night and replay in turn, so that a machine that slows down slows both. `slots`: as many as the worker takes by itself when undefined. */
async function ratiosOf(slots?: number): Promise<Ratios[]> {
  const ratios: Ratios[] = [];
  for (let turn = 0; turn < NIGHT_REPETITIONS; turn += 1) {
    await withFolder(async (base) => {
      const whole = await night(
        join(base, 'night'),
        await makeBenchDay(base, CLIPS, CLIP_SECONDS),
        CLIPS,
        slots,
      );
      const alone = await replay(whole.commands);
      const both = alone.make + alone.check;
      ratios.push({
        both: whole.seconds / both,
        makes: whole.seconds / alone.make,
        all: whole.seconds / (both + alone.other),
        checks: alone.check / alone.make,
        others: alone.other / both,
      });
    });
  }
  return ratios;
}

function linesOf(ratios: readonly Ratios[], what: string, target: number | null): BenchLine[] {
  const of = (key: keyof Ratios): number => median(ratios.map((one) => one[key]));
  const spread = ratios.map((one) => one.both.toFixed(3)).join(', ');
  return [
    {
      name: `night of ${CLIPS} clips of ${CLIP_SECONDS} s, ${what}`,
      measured: `${of('both').toFixed(3)} of its makes and checks run bare (${spread})`,
      target: target === null ? 'reported' : `at most ${target}`,
      passed: target === null ? null : of('both') <= target,
    },
    {
      name: 'the same against its makes alone',
      measured: `${of('makes').toFixed(2)} of the makes; checks are ${of('checks').toFixed(2)} of them`,
      target: 'reported',
      passed: null,
    },
    {
      name: 'the same against all its commands',
      measured: `${of('all').toFixed(3)}; the survey's and others are ${of('others').toFixed(3)} of makes and checks`,
      target: 'reported',
      passed: null,
    },
  ];
}

/** One job at a time shows what Rushlight itself costs; side by side, what a night takes. The commands of both are run one after the other. */
export async function benchNight(): Promise<BenchLine[]> {
  return [
    ...linesOf(await ratiosOf(), 'one worker', 1.05),
    ...linesOf(await ratiosOf(1), 'one worker, one job at a time', null),
  ];
}

/** The first encoder's command again, ended by its first frame: the program's own start, which the night does not see. */
async function firstFrameSeconds(base: string, make: RecordedCommand): Promise<number> {
  const output = join(base, 'first-frame.mov');
  return await bare({ ...make, args: ['-y', ...make.args.slice(0, -1), '-frames:v', '1', output] });
}

export async function benchFirstFrame(): Promise<BenchLine> {
  return await withFolder(async (base) => {
    const day = await makeBenchDay(base, 1, CLIP_SECONDS);
    const beyond: number[] = [];
    for (let turn = 0; turn < FIRST_FRAME_REPETITIONS; turn += 1) {
      const intakeStarted = performance.now();
      const intake = await intakeRoll({
        day: 'day',
        roll: ROLL,
        folder: join(day, ROLL),
        copies: [],
        manifests: [],
        dayManifests: noDayManifests,
        readers: READERS,
      });
      const intakeSeconds = (performance.now() - intakeStarted) / 1000;
      if (intake.copies[0]?.verified !== true) throw new Error('intake did not prove the roll');
      const one = await night(join(base, `night-${turn}`), day, 1);
      const make = one.commands.find(({ part }) => part === 'make') as RecordedCommand;
      beyond.push(
        (make.startedAt - one.startedAt) / 1000 - intakeSeconds + (await firstFrameSeconds(base, make)),
      );
    }
    const seconds = median(beyond);
    return {
      name: 'from the command to the first frame, beyond intake',
      measured: `${seconds.toFixed(2)} s`,
      target: 'at most 2 s',
      passed: seconds <= 2,
    };
  });
}
