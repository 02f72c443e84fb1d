/** Which clips are cut, into how many segments, and into which jobs. */
import { describe, expect, test } from 'vitest';
import { jobsOf, joinSeconds, mayBeCut, segmentsFor } from '../../coordinator/dispatch/segments.ts';
import { ticketBytes, TICKET_BYTES_LIMIT } from '../../ledger/ticket.ts';
import type { Job } from '../../ledger/job.ts';
import { segmentsOf } from '../../profiles/segments.ts';
import { entered, keyBefore } from '../../worker/segments/entry.ts';
import { jobOf } from '../support/jobs.ts';

/** 15 minutes at 24000/1001, the standing example. */
const FRAMES = 21_578;
const base = jobOf(0, 'run');
const long: Job = {
  ...base,
  facts: { ...base.facts, video: { ...base.facts.video, frames: FRAMES } },
  span: { start: 0, count: FRAMES },
};
const withOutcome = (change: object): Job => ({
  ...long,
  deliverables: long.deliverables.map((one) => ({ ...one, outcome: { ...one.outcome, ...change } }) as never),
});
const withVideo = (change: object): Job => ({
  ...long,
  facts: { ...long.facts, video: { ...long.facts.video, ...change } },
});

describe('a clip', () => {
  test('is cut when making it takes more than fifteen times as long as joining it', () => {
    const toCut = { job: long, bytes: 1e9 };
    const joining = joinSeconds(toCut);
    expect(segmentsFor({ ...toCut, seconds: 15 * joining }, 'auto', 4)).toBe(1);
    expect(segmentsFor({ ...toCut, seconds: 15 * joining + 1 }, 'auto', 4)).toBeGreaterThan(1);
  });

  test('is cut into what the slots have use for, and by nobody who is alone', () => {
    const toCut = { job: long, bytes: 1e9, seconds: 100_000 };
    expect(segmentsFor(toCut, 'auto', 1)).toBe(1);
    expect(segmentsFor(toCut, 'auto', 2)).toBe(4);
    expect(segmentsFor(toCut, 'never', 64)).toBe(1);
    expect(segmentsFor(toCut, 7, 1)).toBe(7);
  });

  test.each<readonly [string, Job]>([
    ['a codec that predicts from other frames', withOutcome({ codec: 'h264' })],
    ['fields', withVideo({ fieldOrder: 'top-first' })],
    ['a rate that varies', withVideo({ rateConstant: false })],
    ['a stretch of a clip', { ...long, clip: { ...long.clip, stretch: { start: 0, frames: 9, day: 'd' } } }],
    ['light levels that it states', withOutcome({ contentLight: {} })],
    ['a colour way', withOutcome({ shown: {} })],
    ['raw frames', { ...long, facts: { ...long.facts, raw: {} as never } }],
  ])('is made whole where it has %s', (_, job) => {
    expect(mayBeCut(long)).toBe(true);
    expect(mayBeCut(job)).toBe(false);
    expect(segmentsFor({ job, bytes: 1, seconds: 1e6 }, 8, 8)).toBe(1);
  });

  test('has each of its frames in one segment, in order', () => {
    for (const of of [2, 3, 97, FRAMES]) {
      let next = 0;
      for (const { start, frames } of segmentsOf(FRAMES, of)) {
        expect(start).toBe(next);
        next += frames;
      }
      expect(next).toBe(FRAMES);
    }
    expect(() => segmentsOf(3, 4)).toThrow(RangeError);
  });

  test('is made by its segments and a job that joins them, each a small ticket', () => {
    const jobs = jobsOf({ job: long, seconds: 600, bytes: 1e9 }, 4).map(({ job }) => job);
    expect(jobs.map(({ segment }) => segment)).toEqual([0, 1, 2, 3, undefined]);
    expect(jobs.map(({ span }) => span.count)).toEqual([5394, 5395, 5394, 5395, FRAMES]);
    for (const job of jobs) expect(ticketBytes(job)).toBeLessThan(TICKET_BYTES_LIMIT);
  });
});

describe('a file is entered', () => {
  const packet = (pts: number, flags = '__'): { pts: number; flags: string } => ({ pts, flags });

  test('at the last but one key frame, so that a whole group comes before the segment', () => {
    // In the order of decoding: of an open group pictures that are shown before its key frame come behind it.
    const packets = [packet(0, 'K_'), packet(12), packet(24, 'K_'), packet(20), packet(48, 'K_'), packet(44)];
    expect(keyBefore(packets, 47)).toBe(0);
    expect(keyBefore(packets, 48)).toBe(24);
    expect(keyBefore(packets, 10)).toBe(null);
  });

  test('half a frame behind that key frame and counted from half a frame before the first one', () => {
    const { facts } = base;
    const video = {
      ...facts.video,
      rate: { num: 25, den: 1 },
      timeBase: { num: 1, den: 12_800 },
      firstTime: 512,
    };
    const { enter, from } = entered({
      facts: { ...facts, audio: [], video },
      first: 100,
      frames: 50,
      key: 512 + 90 * 512,
    });
    // Ticks of 512 a frame: 99.5 frames.
    expect(from).toBe(50_944);
    expect(enter).toEqual([
      ...['-copyts', '-start_at_zero', '-noaccurate_seek', '-ss', '3.620000', '-t', '3.600000'],
    ]);
  });
});
