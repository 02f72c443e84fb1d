/** What a run takes of the processor: against the bare encode, against careful work by hand, and for a clip of which little is to be made. */
import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { NightResult } from '../../coordinator/night/request.ts';
import { programFile } from '../../files/installation.ts';
import type { Job, MovieWork } from '../../ledger/job.ts';
import { burnIn } from '../../profiles/recipe/burn-in.ts';
import { encodeOptions } from '../../profiles/recipe/encode.ts';
import { pictureFilters, sharedFilters, tagFilter } from '../../profiles/recipe/picture.ts';
import { moviesOf } from '../support/jobs.ts';
import { mediaTools } from '../support/make.ts';
import { jobFor } from '../support/work.ts';
import { makeBenchDay, ROLL } from './day.ts';
import type { BenchLine } from './line.ts';
import { median } from './median.ts';
import { type Costs, costRecorder, processorSecondsOf, timed } from './processor-time.ts';

const PROFILES = ['editorial-vc3', 'review-h264'];
const REPETITIONS = 2;
/** As a worker with two jobs side by side on two cores. */
const THREADS = 1;

export interface RunCost {
  readonly all: number;
  readonly costs: Costs;
}

/** One run on one worker into a fresh delivery below `base`. Throws unless the roll is ready. */
async function costOfRun(base: string, day: string, profiles: readonly string[]): Promise<RunCost> {
  mkdirSync(base, { recursive: true });
  const record = await costRecorder(base);
  const run = await timed(
    [
      process.execPath,
      programFile('coordinator/cli.js'),
      'run',
      day,
      ...['--deliver', join(base, 'delivery'), '--work', join(base, 'work'), '--workers', '1'],
      ...profiles.flatMap((profile) => ['--profile', profile]),
      ...['--ffmpeg', record.ffmpeg, '--ffprobe', record.ffprobe, '--json', '--quiet'],
    ],
    record.env,
  );
  const verdict = run.code === 0 ? (JSON.parse(run.stdout) as NightResult).verdict : null;
  if (verdict !== 'ready') throw new Error(`the run ended with ${run.code}, ${verdict}: ${run.stderr}`);
  return { all: run.processorSeconds, costs: record.read() };
}

/** One ffmpeg that makes these deliverables and nothing else. */
async function bareCommand(job: Job, deliverables: readonly MovieWork[], folder: string): Promise<string[]> {
  const { facts } = job;
  const tools = await mediaTools();
  const ways = deliverables.map(({ profile, outcome }, index) => {
    const bits = profile.pixels.endsWith('10-bit') ? 10 : 8;
    const text = burnIn({ outcome, bits, textFolder: folder, key: `bare-${index}`, alignsText: false });
    for (const file of text.files) writeFileSync(file.path, file.text);
    return [...pictureFilters(facts, profile, outcome), ...text.filters, tagFilter(outcome)].join(',');
  });
  const shared = [...sharedFilters(facts, 'made'), `split=${ways.length}`].join(',');
  const graph = [
    `[0:${facts.video.streamIndex}]${shared}${ways.map((_, index) => `[in${index}]`).join('')}`,
    ...ways.map((filters, index) => `[in${index}]${filters}[out${index}]`),
  ].join(';');
  return [
    tools.ffmpeg.path,
    ...['-hide_banner', '-nostdin', '-y', '-nostats', '-loglevel', 'error', '-noauto_conversion_filters'],
    ...['-filter_complex_threads', String(THREADS), '-threads', String(THREADS)],
    ...['-i', sourceOf(job), '-filter_complex', graph],
    ...deliverables.flatMap(({ profile, outcome }, index) => [
      ...encodeOptions({ facts, profile, outcome, pad: `[out${index}]`, threads: THREADS }).slice(0, -1),
      outcome.container,
      `file:${madeBy(folder, outcome)}`,
    ]),
  ];
}

function sourceOf({ rollFolder, clip }: Job): string {
  if (clip.place.kind !== 'movie') throw new Error('a bench of movies');
  return join(rollFolder, clip.place.file);
}

const madeBy = (folder: string, { container }: MovieWork['outcome']): string =>
  join(folder, `made.${container}`);

/** Careful work by hand on one clip, without the encodes: what is read is proved by other programs. */
async function checksByHand(source: string, made: readonly string[]): Promise<string[][]> {
  const { ffmpeg, ffprobe } = await mediaTools();
  const probe = (path: string): string[] => [
    ffprobe.path,
    ...['-v', 'error', '-show_streams', '-show_format', '-show_packets', '-of', 'compact', path],
  ];
  const framemd5 = (path: string): string[] => [
    ffmpeg.path,
    ...[
      '-v',
      'error',
      '-nostdin',
      '-xerror',
      '-i',
      path,
      '-map',
      '0:v',
      '-map',
      '0:a',
      '-f',
      'framemd5',
      '-',
    ],
  ];
  return [
    probe(source),
    framemd5(source),
    ...made.flatMap((path) => [probe(path), framemd5(path), ['sha256sum', path], ['xxhsum', '-H2', path]]),
  ];
}

async function sumOf(commands: readonly (readonly string[])[]): Promise<number> {
  let sum = 0;
  for (const command of commands) sum += await processorSecondsOf(command);
  return sum;
}

export interface Compared {
  readonly bare: number;
  readonly byHand: number;
  readonly run: RunCost;
}

/** Bare, by hand and run in turn, so that a machine that slows down slows all three. Processor seconds. */
export async function compareRun(clips: number, seconds: number, repetitions: number): Promise<Compared[]> {
  const found: Compared[] = [];
  for (let turn = 0; turn < repetitions; turn += 1) {
    const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
    try {
      const day = await makeBenchDay(base, clips, seconds);
      const roll = join(day, ROLL);
      let bare = 0;
      let byHand = await processorSecondsOf([
        'sh',
        ...['-c', 'cd "$1" && xxhsum -q -c checksums.xxh64', 'sh', roll],
      ]);
      for (const name of readdirSync(roll).filter((one) => one.endsWith('.mov'))) {
        const source = join(roll, name);
        const job = await jobFor(source, join(base, 'job', name), PROFILES);
        const works = moviesOf(job);
        bare += await processorSecondsOf(await bareCommand(job, works, base));
        const each = await Promise.all(works.map((work) => bareCommand(job, [work], base)));
        const made = works.map(({ outcome }) => madeBy(base, outcome));
        byHand += await sumOf([...each, ...(await checksByHand(source, made))]);
      }
      found.push({ bare, byHand, run: await costOfRun(join(base, 'night'), day, PROFILES) });
    } finally {
      rmSync(base, { recursive: true, force: true });
    }
  }
  return found;
}

function ratioLine(name: string, values: readonly number[], of: string, most: number): BenchLine {
  const value = median(values);
  return {
    name,
    measured: `${value.toFixed(3)} of ${of} (${values.map((one) => one.toFixed(3)).join(', ')})`,
    target: `at most ${most}`,
    passed: value <= most,
  };
}

const CLIPS = 6;
const CLIP_SECONDS = 8;

export async function benchRunCost(): Promise<BenchLine[]> {
  const found = await compareRun(CLIPS, CLIP_SECONDS, REPETITIONS);
  const name = `processor time of a run, ${CLIPS} clips of ${CLIP_SECONDS} s, two deliverables`;
  const parts = (['make', 'check', 'second reading', 'question'] as const).map(
    (part) => `${part} ${median(found.map(({ run }) => run.costs.seconds[part] / run.all)).toFixed(3)}`,
  );
  return [
    ratioLine(
      name,
      found.map(({ bare, run }) => run.all / bare),
      'the bare two-output command',
      1.3,
    ),
    ratioLine(
      'the same',
      found.map(({ byHand, run }) => run.all / byHand),
      'careful work by hand',
      0.55,
    ),
    ratioLine(
      'processes of Node',
      found.map(({ run }) => run.costs.node / run.all),
      'the run',
      0.06,
    ),
    ratioLine(
      'questions to ffprobe and ffmpeg',
      found.map(({ run }) => run.costs.seconds.question / run.all),
      'the run',
      0.05,
    ),
    { name: 'its parts', measured: parts.join(', '), target: 'reported', passed: null },
  ];
}

/** A clip of one second, small: what it takes is hardly its encode. */
async function shortClips(base: string, clips: number): Promise<string> {
  return await makeBenchDay(base, clips, 1, '160x90');
}

const SHORT_CLIPS = 100;
/** A start of ffmpeg as a measure: what a clip costs beyond its pictures is mostly starts. */
const MOST_STARTS = 7;
const STARTS = 10;

export interface ShortCost {
  /** Processor seconds. */
  readonly clip: number;
  readonly start: number;
  readonly run: RunCost;
}

export async function costOfShortClips(clips: number): Promise<ShortCost> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    const day = await shortClips(base, clips);
    const { ffmpeg } = await mediaTools();
    const starts = (): Promise<number> =>
      sumOf(Array.from({ length: STARTS }, () => [ffmpeg.path, '-version']));
    const before = await starts();
    const run = await costOfRun(join(base, 'night'), day, ['review-h264']);
    const start = (before + (await starts())) / (2 * STARTS);
    return { clip: run.all / clips, start, run };
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}

export async function benchShortClips(): Promise<BenchLine[]> {
  const found: ShortCost[] = [];
  for (let turn = 0; turn < REPETITIONS; turn += 1) found.push(await costOfShortClips(SHORT_CLIPS));
  const { run } = found[0] as ShortCost;
  const starts = Object.values(run.costs.starts).reduce((sum, count) => sum + count, 0);
  return [
    ratioLine(
      `processor time of a clip of 1 s (160x90), ${SHORT_CLIPS} clips, one deliverable`,
      found.map(({ clip, start }) => clip / start),
      'a start of ffmpeg',
      MOST_STARTS,
    ),
    {
      name: 'the same, as it is',
      measured: `${median(found.map(({ clip }) => clip)).toFixed(2)} s a clip where a start of ffmpeg takes ${median(found.map(({ start }) => start)).toFixed(2)} s; ${(starts / SHORT_CLIPS).toFixed(2)} starts a clip; Node ${(run.costs.node / run.all).toFixed(2)} of it`,
      target: 'reported',
      passed: null,
    },
  ];
}
