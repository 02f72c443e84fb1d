/** A run on one screen: every line fits, what matters stays in sight, and the record that it is drawn from comes and goes with the run. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, vi } from 'vitest';
import { keepProgress, readProgress } from '../../coordinator/night/keep-progress.ts';
import type { ProgressRecord } from '../../coordinator/progress/record.ts';
import { newRunProgress } from '../../coordinator/progress/run-progress.ts';
import { plainLines, watchLines } from '../../coordinator/show/watch-text.ts';
import { freshFolder } from '../support/folder.ts';

type Roll = ProgressRecord['rolls'][number];
const roll = (name: string, phase: Roll['phase'], over: Partial<Roll> = {}): Roll => ({
  ...{ roll: name, phase, bytesRead: 0, bytesTotal: 0, clips: 4, clipsMeasured: 4 },
  ...{ jobs: 4, jobsOver: 1, frames: 400, framesMade: 100, afterwards: [] },
  ...over,
});
const record = (rolls: readonly Roll[], working = 0): ProgressRecord => ({
  ...({ version: 0, kind: 'progress' } as const),
  ...{
    run: 'r1',
    day: 'day-03',
    since: '2026-05-03T20:00:00.000Z',
    at: '2026-05-03T21:00:00.000Z',
    timeZone: 'Europe/Berlin',
  },
  ...{ framesPerSecond: 10, freeBytes: 812_000_000_000, rolls: [...rolls] },
  forecast: null,
  working: Array.from({ length: working }, (_, at) => ({
    ...({ roll: 'A001', clip: `A001C${String(at).padStart(3, '0')}`, phase: 'make' } as const),
    ...{ frames: 50 + at, total: 200 },
  })),
});

test('a screen says what goes on, what is held, what is free, and what is in hand', () => {
  const rolls = [
    roll('A001', 'making'),
    roll('A002', 'held'),
    roll('B001', 'ready'),
    roll('B002', 'waiting'),
  ];
  expect(watchLines(record(rolls, 2), { columns: 100, rows: 40 })).toEqual([
    'day-03, at work since Sunday 2026-05-03 22:00 Europe/Berlin',
    '1 of 4 rolls ready; held: A002; 812 GB free on the delivery',
    '',
    'A001       making     100 of 400 frames, 1 of 4 clips, 10 frames/s, 30 s left',
    'A002       held',
    'B001       ready',
    'B002       waiting',
    '',
    'In hand:',
    '  A001 A001C000  making  50 of 200 frames',
    '  A001 A001C001  making  51 of 200 frames',
  ]);
});

test.each([
  [80, 24, 1000, 50],
  [40, 10, 30, 4],
  [20, 3, 5, 5],
])('%i columns and %i rows hold a day of %i rolls and %i workers', (columns, rows, rolls, workers) => {
  const many = Array.from({ length: rolls }, (_, at) =>
    roll(`R${String(at).padStart(4, '0')}`, at === rolls - 1 ? 'making' : 'ready'),
  );
  const lines = watchLines(record(many, workers), { columns, rows });
  expect(lines.length).toBeLessThanOrEqual(rows);
  expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(columns);
  // What is being made is in sight, however many are over.
  if (rows > 3) expect(lines.join('\n')).toContain(`R${String(rolls - 1).padStart(4, '0')}`);
});

test('a name that would move the cursor is written as what it is', () => {
  const lines = watchLines(record([roll('A\u001b[2J\n1', 'making')]), { columns: 100, rows: 20 });
  // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
  expect(lines.join('')).not.toMatch(/[\u0000-\u001f]/);
  expect(plainLines(record([roll('A\n1', 'making')])).join('')).not.toContain('\n');
});

test('the record stands while the run goes on, and is gone when it ends', async () => {
  const folder = freshFolder('progress');
  vi.useFakeTimers({ toFake: ['setInterval', 'clearInterval'] });
  try {
    const runProgress = newRunProgress(['A001']);
    runProgress.reading('A001', 5, 10);
    runProgress.setPhase('A001', 'reading');
    const kept = keepProgress({
      ...{ work: folder, delivery: folder, run: 'r1', day: 'day-03', timeZone: null },
      ...{ runProgress, forecast: () => null },
      log: (message) => {
        throw new Error(message);
      },
    });
    expect(await readProgress(folder, null)).toBeNull();
    vi.advanceTimersByTime(2_000);
    await vi.waitFor(async () =>
      expect((await readProgress(folder, null))?.rolls[0]).toMatchObject({ bytesRead: 5 }),
    );
    // What a killed run left is not taken for how the next one stands.
    expect(await readProgress(folder, 'r2')).toBeNull();
    expect(await readProgress(folder, 'r1')).toMatchObject({ run: 'r1' });
    const written = JSON.parse(readFileSync(join(folder, 'progress.json'), 'utf8')) as ProgressRecord;
    expect(written.freeBytes).toBeGreaterThan(0);
    await kept.end();
    expect(existsSync(join(folder, 'progress.json'))).toBe(false);
  } finally {
    vi.useRealTimers();
  }
});
