/** Whether a night ends when it said it would: 40 short jobs of four lengths on two workers, the forecast made after the first ten of them. */
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { execFileSync } from 'node:child_process';
import { loadavg, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { progressRecordSchema, type ProgressRecord } from '../../coordinator/progress/record.ts';
import { runCli } from '../support/cli.ts';
import { makeBenchDay, ROLL } from './day.ts';
import type { BenchLine } from './line.ts';

/** Seconds of the clips; of each length ten. */
const LENGTHS = [1, 2, 3, 4] as const;
const CLIPS = 40;
const LEARNED = 10;
const LOOK_MILLISECONDS = 200;
const ALLOWED = 0.1;

interface Said {
  readonly at: number;
  readonly least: number;
  readonly most: number;
}

function recordIn(work: string): ProgressRecord | null {
  const place = join(work, 'progress.json');
  if (!existsSync(place)) return null;
  try {
    return progressRecordSchema.parse(JSON.parse(readFileSync(place, 'utf8')));
  } catch {
    // It is being replaced.
    return null;
  }
}

/** Clips of all lengths in turn, under one roll. */
async function mixedDay(base: string): Promise<string> {
  const roll = join(base, 'day', ROLL);
  mkdirSync(roll, { recursive: true });
  const names = Array.from(
    { length: CLIPS },
    (_, clip) => `${ROLL}C${String(clip + 1).padStart(3, '0')}.mov`,
  );
  for (const [index, length] of LENGTHS.entries()) {
    const made = await makeBenchDay(join(base, `of-${length}`), 1, length, '1280x720');
    for (const [clip, name] of names.entries())
      if (clip % LENGTHS.length === index)
        copyFileSync(join(made, ROLL, `${ROLL}C001.mov`), join(roll, name));
  }
  const list = execFileSync('xxhsum', ['-H1', ...names], { cwd: roll, stdio: ['ignore', 'pipe', 'ignore'] });
  writeFileSync(join(roll, 'checksums.xxh64'), list);
  return join(base, 'day');
}

export async function benchForecast(): Promise<BenchLine[]> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  const { XDG_STATE_HOME: before } = process.env;
  // Nothing is known of this machine.
  process.env.XDG_STATE_HOME = join(base, 'state');
  try {
    const day = await mixedDay(base);
    const work = join(base, 'work');
    let over = false;
    const night = runCli([
      ...['run', day, '--deliver', join(base, 'delivery'), '--work', work],
      ...[
        '--profile',
        'editorial-vc3',
        '--stills',
        '0',
        '--workers',
        '2',
        '--slots',
        '1',
        '--json',
        '--quiet',
      ],
    ]).finally(() => {
      over = true;
    });
    let said: Said | null = null;
    let begin = 0;
    const seen = { written: '' };
    while (!over) {
      await wait(LOOK_MILLISECONDS);
      const record = recordIn(work);
      const [roll] = record?.rolls ?? [];
      if (record === null || roll === undefined || record.at === seen.written) continue;
      seen.written = record.at;
      if (begin === 0 && roll.phase === 'making') begin = performance.now();
      const range = record.forecast?.whole ?? null;
      if (said === null && roll.jobsOver >= LEARNED && range !== null)
        said = { at: performance.now(), ...range };
    }
    const ended = performance.now();
    const run = await night;
    if (run.code !== 0)
      throw new Error(`the night ended with ${run.code}: ${run.stderr}${run.stdout.slice(0, 2000)}`);
    if (said === null) throw new Error('nothing was ever said');
    const took = (ended - begin) / 1000;
    const middle = (said.least + said.most) / 2;
    // Of the whole making: what was done by then, and what was still expected.
    const predicted = (said.at - begin) / 1000 + middle;
    const off = Math.abs(predicted - took) / took;
    const left = (ended - said.at) / 1000;
    return [
      {
        name: `end of a night of ${CLIPS} short jobs on two workers, said after ${LEARNED} or a few more`,
        measured: `${(100 * off).toFixed(1)} % off (load ${loadavg()[0]?.toFixed(1)}, ${(predicted / took).toFixed(2)} of the time it took)`,
        target: `within ${100 * ALLOWED} %`,
        passed: off <= ALLOWED,
      },
      {
        name: 'what was still left, beside the range that was said',
        measured: `${(left / said.least).toFixed(2)} of its lower end, ${(left / said.most).toFixed(2)} of its upper`,
        target: 'inside in eight nights of ten',
        passed: null,
      },
    ];
  } finally {
    if (before === undefined) delete process.env.XDG_STATE_HOME;
    else process.env.XDG_STATE_HOME = before;
    rmSync(base, { recursive: true, force: true });
  }
}
