/** One long clip on ten places: the forecast of the plan counts its segments side by side. Times are counted by hand. */
import { expect, test } from 'vitest';
import { forecastOfPlan } from '../../coordinator/forecast/of-plan.ts';
import { kindOf } from '../../coordinator/forecast/kind.ts';
import type { JobSample } from '../../coordinator/forecast/sample.ts';
import { jobOf } from '../support/jobs.ts';

const FRAMES = 20_000;
const base = jobOf(0, 'run');
const job = {
  ...base,
  facts: { ...base.facts, video: { ...base.facts.video, frames: FRAMES } },
  span: { start: 0, count: FRAMES },
};
/** A tenth of a second a frame. */
const samples = Array.from(
  { length: 8 },
  (_, index): JobSample => ({
    run: `run-${index}`,
    roll: 'A001',
    clip: `clip-${index}`,
    machine: 'one',
    kind: kindOf(job) as JobSample['kind'],
    frames: 1000,
    waited: 0,
    beside: 9,
    parts: [{ part: 'make', profile: null, seconds: 100 }],
  }),
);

const whole = (segments: number) =>
  forecastOfPlan({
    rolls: [
      {
        roll: job.roll,
        rank: { first: null, due: null, place: 0 },
        reading: 0,
        measuring: 0,
        jobs: [
          {
            ...{ job, priority: 1, bytes: 1e6, seconds: 2000, segments, lying: null },
            bytesRange: { least: 1e6, most: 1e6 },
          },
        ],
      },
    ],
    machine: 'one',
    slots: 10,
    samples,
    dues: { timeZone: 'UTC', of: () => null } as unknown as Parameters<typeof forecastOfPlan>[0]['dues'],
    now: 0,
  }).whole;

test('is a tenth of that of the whole clip, and a join', () => {
  const [one, ten] = [whole(1), whole(10)];
  // 20 000 frames: 2000 s by one place.
  expect(one?.least).toBeLessThan(2000);
  expect(one?.most).toBeGreaterThan(2000);
  // 200 s each of ten; the luckless one of them and a few seconds of joining are within half of that again.
  expect(ten?.least).toBeGreaterThan(150);
  expect(ten?.most).toBeLessThan(400);
});
