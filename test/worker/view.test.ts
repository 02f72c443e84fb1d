/** Pictures of the frame that is being made: one for each time that somebody asks, of that frame, and nothing left behind. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readStill } from '../../check/stills/png.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { JobPhase } from '../../ledger/queue.ts';
import { usualWay } from '../../media/colour/way.ts';
import { type FrameView, viewFrames } from '../../worker/view.ts';
import { freshFolder } from '../support/folder.ts';
import { interpretation } from '../support/master.ts';
import { type ClipOnDisk, masterJob, movieClip, rawClip } from '../support/masters.ts';
import { eventually } from '../support/processes.ts';
import { workContext } from '../support/work.ts';

const PROFILE = 'test/fixtures/profiles/native-rdd36.yaml';
const FRAMES = 30;

async function jobOf(clip: ClipOnDisk, input: typeof interpretation.input | null): Promise<Job> {
  const facts = { ...clip.facts, way: usualWay };
  return await masterJob({ ...clip, facts }, freshFolder('delivery'), [PROFILE], {
    ...interpretation,
    input,
  });
}

const plainJob = async (): Promise<Job> =>
  await jobOf(
    await movieClip(freshFolder('roll'), { codec: 'h264', size: '320x180', frames: FRAMES, rate: '25' }),
    null,
  );

function ask({ deliveryFolder }: Job, text: string): void {
  mkdirSync(layout.viewFolder(deliveryFolder), { recursive: true });
  writeFileSync(layout.viewAsked(deliveryFolder), text);
}

const at = (view: FrameView, frames: number, phase: JobPhase = 'make'): void =>
  view.context.onProgress({ phase, frames, total: FRAMES, framesPerSecond: 1 });

const fileOf = ({ deliveryFolder, clip }: Job): string => layout.view(deliveryFolder, clip.id);
const readView = (job: Job) => readStill(readFileSync(fileOf(job)));
const frameOf = (job: Job): number | null =>
  existsSync(fileOf(job)) ? Number(readView(job).texts.get('Frame')) : null;

test('each time somebody asks, the frame that was made last, in the colours of a still', async () => {
  const job = await plainJob();
  const heard: number[] = [];
  const context = {
    ...(await workContext()),
    onProgress: ({ frames }: { frames: number }) => heard.push(frames),
  };
  const view = viewFrames(job, context, 20);
  try {
    at(view, 4);
    ask(job, 'one');
    await eventually(() => frameOf(job) === 4);
    at(view, 17);
    ask(job, 'two');
    await eventually(() => frameOf(job) === 17);
    const picture = readView(job);
    expect([picture.width, picture.height, picture.bits]).toEqual([320, 180, 8]);
    expect(picture.texts.get('Timecode')).toBe('01:00:00:17');
    // The same frame by another way through ffmpeg: a display of BT.1886 and one of sRGB differ by up to 13 codes, another frame by far more.
    const place = job.clip.place;
    if (place.kind !== 'movie') throw new Error('a clip of another kind');
    const mean = (frame: number): number => {
      const other = execFileSync('ffmpeg', [
        ...['-v', 'error', '-i', join(job.rollFolder, place.file), '-vf', `select=eq(n\\,${frame})`],
        ...['-frames:v', '1', '-f', 'rawvideo', '-pix_fmt', 'rgb24', '-'],
      ]);
      return (
        other.reduce((sum, code, index) => sum + Math.abs(code - (picture.samples[index] ?? 0)), 0) /
        other.length
      );
    };
    expect(mean(17)).toBeLessThan(Math.min(mean(12), mean(22)) / 2);
    // The job is told all the same.
    expect(heard).toEqual([4, 17]);
  } finally {
    await view.end();
  }
  expect(readdirSync(layout.viewFolder(job.deliveryFolder))).toEqual(['asked']);
}, 60_000);

test('one picture for one question, and none while nobody asks', async () => {
  const job = await plainJob();
  const view = viewFrames(job, await workContext(), 20);
  try {
    at(view, 1);
    await new Promise((resolve) => setTimeout(resolve, 200));
    expect(existsSync(layout.viewFolder(job.deliveryFolder))).toBe(false);
    ask(job, 'one');
    await eventually(() => frameOf(job) === 1);
    const made = statSync(fileOf(job)).mtimeMs;
    at(view, 9);
    await new Promise((resolve) => setTimeout(resolve, 300));
    expect([frameOf(job), statSync(fileOf(job)).mtimeMs]).toEqual([1, made]);
    // Checked, it is not being made any more.
    at(view, 0, 'check');
    await eventually(() => !existsSync(fileOf(job)));
  } finally {
    await view.end();
  }
}, 60_000);

test('frames of a segment are counted from its first one', async () => {
  const job = { ...(await plainJob()), segments: 3, segment: 1, span: { start: 10, count: 10 } };
  const view = viewFrames(job, await workContext(), 20);
  try {
    at(view, 2);
    ask(job, 'one');
    await eventually(() => frameOf(job) === 12);
  } finally {
    await view.end();
  }
}, 60_000);

test('of what a cut uses of a clip there is no picture', async () => {
  const whole = await plainJob();
  const job = { ...whole, clip: { ...whole.clip, stretch: { start: 5, frames: 10, day: 'day-01' } } };
  const view = viewFrames(job, await workContext(), 20);
  at(view, 2);
  ask(job, 'one');
  await new Promise((resolve) => setTimeout(resolve, 300));
  await view.end();
  expect(readdirSync(layout.viewFolder(job.deliveryFolder))).toEqual(['asked']);
}, 60_000);

test('of raw frames the picture is developed', async () => {
  const clip = await rawClip(freshFolder('roll'), { width: 320, height: 180, frames: 3 });
  const job = await jobOf(clip, null);
  const view = viewFrames(job, await workContext(), 20);
  try {
    at(view, 2);
    ask(job, 'one');
    await eventually(() => frameOf(job) === 2, 30_000);
    expect(readView(job).texts.get('Description')).toBe(
      'as the settings show it on a display of standard range',
    );
  } finally {
    await view.end();
  }
}, 60_000);

test('a source that is gone leaves no picture, and no error', async () => {
  const job = await plainJob();
  const view = viewFrames(job, await workContext(), 20);
  rmSync(job.rollFolder, { recursive: true });
  at(view, 3);
  ask(job, 'one');
  await new Promise((resolve) => setTimeout(resolve, 500));
  await view.end();
  expect(readdirSync(layout.viewFolder(job.deliveryFolder))).toEqual(['asked']);
}, 60_000);
