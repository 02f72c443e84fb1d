/** What is said of a roll while its clips are made, checked and published. */
import { expect, test } from 'vitest';
import { newRunProgress, type RunProgress } from '../../coordinator/progress/run-progress.ts';
import { progressText } from '../../coordinator/show/progress.ts';
import type { Job } from '../../ledger/job.ts';
import type { JobProgress } from '../../ledger/queue.ts';
import { clipFacts } from '../support/facts.ts';

const FRAMES = 21_578;
let clock = 0;

function board(clips: readonly string[]): { progress: RunProgress; jobs: Job[]; text: () => string } {
  clock = 0;
  const progress = newRunProgress(['A001'], () => clock);
  const jobs = clips.map(
    (id): Job => ({
      version: 0,
      night: 'night',
      run: 'run',
      day: 'day-01',
      roll: 'A001',
      rollFolder: '/day-01/A001',
      deliveryFolder: '/delivery',
      clip: { id, name: id, place: { kind: 'movie', file: `${id}.mov` }, bytes: 1, contentDigest: '00' },
      facts: clipFacts(),
      span: { start: 0, count: FRAMES },
      deliverables: [],
      toolchain: 'this',
    }),
  );
  progress.setPhase('A001', 'making');
  progress.making('A001', jobs);
  const text = (): string => {
    const [roll] = progress.rolls();
    if (roll === undefined) throw new Error('no roll');
    return progressText(roll, progress.rate()).text;
  };
  return { progress, jobs, text };
}

const at = (phase: JobProgress['phase'], frames: number): JobProgress => ({
  phase,
  frames,
  total: FRAMES,
  framesPerSecond: 100,
});

test('each phase of one clip is named, and no time is left of frames that are made', () => {
  const { progress, jobs, text } = board(['bell']);
  const [job] = jobs as [Job];
  const said = (told: JobProgress): string => {
    clock += 10_000;
    progress.progress(job, told);
    return text();
  };
  said(at('make', 10_000));
  expect(said(at('make', 15_000))).toMatch(
    /^making +15000 of 21578 frames, 0 of 1 clip, 500 frames\/s, \d+ s left$/,
  );
  expect(said(at('make', FRAMES))).toBe('waiting for its checks, 0 of 1 clip');
  expect(said(at('check', 0))).toBe('checking 0 of 21578 frames, 0 of 1 clip');
  expect(said(at('check', FRAMES))).toBe('checking 21578 of 21578 frames, 0 of 1 clip');
  expect(said(at('publish', FRAMES))).toBe('publishing, 0 of 1 clip');
  progress.over(job);
  expect(text()).toMatch(/^making +21578 of 21578 frames, 1 of 1 clip/);
});

test('beside clips that are still made, those that are checked are named', () => {
  const { progress, jobs, text } = board(['bell', 'mould', 'clapper']);
  const [bell, mould, clapper] = jobs as [Job, Job, Job];
  progress.progress(bell, at('check', 500));
  progress.progress(mould, at('check', 700));
  progress.progress(clapper, at('make', 1));
  expect(text()).toMatch(/^making +43157 of 64734 frames, 0 of 3 clips; checking 1200 of 43156 frames$/);
});

test('a clip that is made again after its check failed is not said to be checked', () => {
  const { progress, jobs } = board(['bell']);
  const [job] = jobs as [Job];
  progress.progress(job, at('check', 500));
  progress.progress(job, at('make', 3));
  expect(progress.rolls()[0]?.afterwards).toEqual([]);
});

test('a clip that is decoded twice is one clip, over when both jobs are', () => {
  const [job] = board(['bell']).jobs as [Job];
  const [proxies, masters] = [
    { ...job, wave: 'proxies' },
    { ...job, wave: 'masters' },
  ] as const;
  const both = newRunProgress(['A001'], () => clock);
  both.setPhase('A001', 'making');
  both.making('A001', [proxies, masters]);
  both.progress(masters, at('make', 10));
  both.over(proxies);
  const [half] = both.rolls();
  expect(half).toMatchObject({ jobs: 1, jobsOver: 0, frames: 2 * FRAMES, framesMade: FRAMES + 10 });
  expect(both.working().map(({ clip, frames }) => [clip, frames])).toEqual([['bell', 10]]);
  both.over(masters);
  expect(both.rolls()[0]).toMatchObject({ jobs: 1, jobsOver: 1, framesMade: 2 * FRAMES });
});
