/** Long clips in segments: what is joined is the file that is made whole, byte by byte, and nothing else passes for it. */
import { createHash } from 'node:crypto';
import { cpSync, existsSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema, type DeliverableReport } from '../../ledger/report.ts';
import {
  readSegmentRecord,
  recordPath,
  segmentFolder,
  type SegmentRecord,
  segmentRecordBytes,
  segmentsKey,
} from '../../ledger/segments.ts';
import { readRecord } from '../../ledger/store.ts';
import { segmentsOf } from '../../profiles/segments.ts';
import { runJob } from '../../worker/job.ts';
import { isCut, workOfSegments } from '../../worker/segments/cut.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { ffmpeg, makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

const FRAMES = 97;
const OF = 3;

async function reportOf(job: Job, profile: string): Promise<DeliverableReport> {
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, profile),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(`no report of ${profile}: ${read.state}`);
  return read.value;
}

/** The jobs of a clip that is cut: its segments, and the one that joins them. */
function cutJobs(job: Job, of: number): { readonly segments: Job[]; readonly join: Job } {
  return {
    segments: segmentsOf(job.facts.video.frames, of).map(({ start, frames }, segment) => ({
      ...job,
      segments: of,
      segment,
      span: { start, count: frames },
    })),
    join: { ...job, segments: of },
  };
}

const PROFILE = 'test/fixtures/profiles/small-vc3.yaml';
const root = join(sharedFolder, 'segments');
const fileOf = (job: Job): string => join(job.deliveryFolder, 'small-vc3', 'A001C001.mov');

let whole: Job;
let source: string;
/** Its segments lie there, and nothing is joined. */
let segmented: Job;

beforeAll(async () => {
  source = await makeMovie(join(root, 'A001', 'A001C001.mov'), { frames: FRAMES });
  whole = await jobFor(source, join(root, 'whole'), [PROFILE]);
  await runJob(whole, await workContext());
  segmented = await jobFor(source, join(root, 'segmented'), [PROFILE]);
  for (const segment of cutJobs(segmented, OF).segments) await runJob(segment, await workContext());
});

/** Of the segments as they were made, a copy that may be spoiled. */
function segmentedCopy(): Job {
  const deliveryFolder = join(freshFolder('segments'), 'delivery', 'day-01', 'A001');
  cpSync(segmented.deliveryFolder, deliveryFolder, { recursive: true });
  return { ...segmented, deliveryFolder };
}

const folderOf = (job: Job, index: number): string => {
  const [cut] = cutJobs(job, OF).segments;
  if (cut === undefined || !isCut(cut)) throw new RangeError('not cut');
  return segmentFolder(job.deliveryFolder, job.clip.id, segmentsKey(workOfSegments(cut)), index);
};

async function joining(job: Job): Promise<unknown> {
  return await runJob(cutJobs(job, OF).join, await workContext()).then(
    () => null,
    (error: unknown) => error,
  );
}

/** What kept it from being joined; and nothing of it was delivered. */
async function heldBy(job: Job): Promise<string> {
  const error = await joining(job);
  expect(existsSync(fileOf(job))).toBe(false);
  return String(error);
}

/** Its record after it was changed by one who knows all of it; each file as it lies there now. */
function forge(job: Job, index: number, change: (record: SegmentRecord) => SegmentRecord): void {
  const folder = folderOf(job, index);
  const record = readSegmentRecord(readFileSync(recordPath(folder)));
  if (typeof record === 'string') throw new Error(record);
  const changed = change(record);
  const files = Object.fromEntries(
    Object.keys(changed.files).map((name) => {
      const bytes = readFileSync(join(folder, name));
      return [name, { bytes: bytes.length, sha256: createHash('sha256').update(bytes).digest('hex') }];
    }),
  );
  writeFileSync(recordPath(folder), segmentRecordBytes({ ...changed, files }));
}

const movieIn = (job: Job, index: number): string => join(folderOf(job, index), 'small-vc3.mov');

describe('a clip in segments', () => {
  test('joins to the very file that is made whole, and says of it what is said of the whole', async () => {
    const job = segmentedCopy();
    expect(await joining(job)).toBe(null);
    const [one, other] = [await reportOf(whole, 'small-vc3'), await reportOf(job, 'small-vc3')];
    expect(other.state).toBe('published');
    expect(readFileSync(fileOf(job)).equals(readFileSync(fileOf(whole)))).toBe(true);
    expect(other.fingerprints?.sha256).toBe(one.fingerprints?.sha256);
    expect(other.errorSketch?.sha256).toBe(one.errorSketch?.sha256);
    expect(other.bitstream).toEqual(one.bitstream);
    expect(other.checks.map(({ check, status }) => [check, status])).toEqual(
      one.checks.map(({ check, status }) => [check, status]),
    );
    expect(Object.keys(other).sort()).toEqual(Object.keys(one).sort());
  });

  test('waits for a segment that is not there, and for one that was altered; that one alone is made again', async () => {
    const job = segmentedCopy();
    const bytes = readFileSync(movieIn(job, 1));
    bytes[Math.floor(bytes.length / 2)] = (bytes[Math.floor(bytes.length / 2)] as number) ^ 1;
    writeFileSync(movieIn(job, 1), bytes);
    rmSync(folderOf(job, 2), { recursive: true });
    expect(await heldBy(job)).toMatch(/SegmentsIncomplete: segment 1: .* not as it was made; segment 2/);
    expect([0, 1, 2].map((index) => existsSync(folderOf(job, index)))).toEqual([true, false, false]);
    // No report: nothing is wrong with the clip.
    expect(existsSync(layout.deliverableReport(job.deliveryFolder, job.clip.id, 'small-vc3'))).toBe(false);
    for (const segment of cutJobs(job, OF).segments.slice(1)) await runJob(segment, await workContext());
    expect(await joining(job)).toBe(null);
    expect(readFileSync(fileOf(job)).equals(readFileSync(fileOf(whole)))).toBe(true);
  });

  test('takes no segment in the place of another', async () => {
    const job = segmentedCopy();
    renameSync(folderOf(job, 0), `${folderOf(job, 0)}-away`);
    renameSync(folderOf(job, 1), folderOf(job, 0));
    renameSync(`${folderOf(job, 0)}-away`, folderOf(job, 1));
    expect(await heldBy(job)).toMatch(/segment 0: its record is of frames 32 to 63, segment 1 of 3/);
    // Nor under its name and number.
    const forged = segmentedCopy();
    cpSync(movieIn(forged, 1), movieIn(forged, 0));
    forge(forged, 0, (record) => record);
    expect(await heldBy(forged)).toMatch(
      /segment-differs: packet 0 of the joined file is not that of its segment/,
    );
  });

  test.each([
    ['a frame later', 'testsrc2', 1],
    ['of another clip', 'smptebars', 0],
  ] as const)('takes no segment of frames that are %s, at the right times', async (_, picture, late) => {
    const folder = freshFolder('segments');
    const movie = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames: FRAMES + late, picture });
    const made = await jobFor(movie, join(folder, 'delivery'), [PROFILE]);
    const times = join(folder, 'moved', 'A001C001.mov');
    if (late > 0) {
      mkdirSync(join(folder, 'moved'));
      await ffmpeg(
        ...['-i', movie, '-map', '0', '-c', 'copy', '-bsf:v', 'noise=drop=eq(n\\,0),setts=ts=N*1001'],
        ...['-timecode', '01:00:00:00', times],
      );
    }
    const other = late > 0 ? await jobFor(times, join(folder, 'moved-delivery'), [PROFILE]) : made;
    const [, middle] = cutJobs(other, OF).segments;
    // What is known of the clip is known of the right one.
    const wrong: Job = {
      ...(middle as Job),
      ...{
        facts: segmented.facts,
        deliverables: segmented.deliverables,
        clip: { ...segmented.clip, bytes: other.clip.bytes },
      },
    };
    await runJob(wrong, await workContext());
    const job = segmentedCopy();
    rmSync(folderOf(job, 1), { recursive: true });
    cpSync(folderOf({ ...job, deliveryFolder: other.deliveryFolder }, 1), folderOf(job, 1), {
      recursive: true,
    });
    expect(await heldBy(job)).toMatch(
      /segment-differs: a frame where segments 0 and 1 meet is another picture/,
    );
  });

  test.each([
    ['dropped', ['-frames:v', '31']],
    ['repeated', ['-bsf:v', 'null', '-stream_loop']],
  ] as const)('holds a frame that is %s at a joint', async (what, options) => {
    const job = segmentedCopy();
    const path = movieIn(job, 0);
    const spoiled = `${path}.spoiled.mov`;
    if (what === 'dropped') await ffmpeg('-i', path, '-map', '0:v', '-c', 'copy', ...options, spoiled);
    else {
      // All of it, and its first frame once more.
      const list = `${path}.list`;
      writeFileSync(list, `ffconcat version 1.0\nfile '${path}'\nfile '${path}'\noutpoint 0.01\n`);
      await ffmpeg(
        ...['-f', 'concat', '-safe', '0', '-i', list, '-map', '0:v', '-c', 'copy'],
        ...['-bsf:v', 'setts=ts=N*1001', spoiled],
      );
      rmSync(list);
    }
    renameSync(spoiled, path);
    forge(job, 0, (record) => record);
    expect(await heldBy(job)).toMatch(
      what === 'dropped'
        ? /segment-differs: 96 packets in the joined file, 97 in its segments/
        : /segment-differs: 98 packets in the joined file, 97 in its segments/,
    );
    // Even where all that was written down of it says the same.
    forge(job, 0, (record) => ({
      ...record,
      deliverables: record.deliverables.map((one) => ({
        ...one,
        packets: what === 'dropped' ? one.packets.slice(0, -32) : one.packets + one.packets.slice(0, 32),
      })),
    }));
    expect(await heldBy(job)).toMatch(/frame/);
  });
});
