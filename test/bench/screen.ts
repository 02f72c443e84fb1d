/** Pictures for a display: what a log movie, raw frames and a stream in PQ take of the processor, against bare commands, with everything proved. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Job, MovieWork } from '../../ledger/job.ts';
import { encodeOptions } from '../../profiles/recipe/encode.ts';
import { pictureFilters, tagFilter } from '../../profiles/recipe/picture.ts';
import { throughTable } from '../../profiles/recipe/shown.ts';
import { factsSeen, SHOWN_PIXELS } from '../../profiles/shown/decide.ts';
import { bakedWay } from '../../worker/colour-way.ts';
import { runForOutput } from '../../process/run.ts';
import { moviesOf } from '../support/jobs.ts';
import { mediaTools } from '../support/make.ts';
import type { BenchLine } from './line.ts';
import { dngPaths, grainDng, masterJob } from './master-work.ts';
import { median } from './median.ts';
import { processorSecondsOf } from './processor-time.ts';
import {
  bareCommand,
  costOfWork,
  logJob,
  logMovie,
  memoryOfWork,
  perFrame,
  PLAIN,
  screenJob,
  type WorkCost,
} from './screen-work.ts';

const REPETITIONS = 2;
/** Beyond the short one every queue of a graph is full: memory that is taken once is in neither. */
const FRAMES = { short: 24, long: 72 } as const;
const lengths = ['short', 'long'] as const;
const PROXIES = ['editorial-vc3', 'review-h264'] as const;
/** Of log movies: the bare command is 1. */
const MOST_PROXIES = 1.5;
const MOST_TOGETHER = 1.25;
/** Of the bare encode, beyond it and one decode of the file. */
const MOST_HDR = 0.25;

async function inFolder<Result>(act: (base: string) => Promise<Result>): Promise<Result> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    return await act(base);
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}

/** Seconds of the processor, by frame. */
type ByFrame = Readonly<Record<string, number>>;

function workByFrame(of: Readonly<Record<(typeof lengths)[number], WorkCost>>): Record<string, number> {
  const between = (value: (cost: WorkCost) => number): number =>
    perFrame(value(of.long), value(of.short), FRAMES);
  return {
    all: between(({ all }) => all),
    make: between(({ costs }) => costs.seconds.make),
    check: between(({ costs }) => costs.seconds.check),
    reading: between(({ costs }) => costs.seconds['second reading']),
    node: between(({ costs }) => costs.node),
  };
}

/** The median of every figure over rounds. */
async function rounds(round: () => Promise<ByFrame>): Promise<Record<string, number>> {
  const found: ByFrame[] = [];
  for (let turn = 0; turn < REPETITIONS; turn += 1) found.push(await round());
  return Object.fromEntries(
    Object.keys(found[0] as ByFrame).map((name) => [name, median(found.map((one) => one[name] as number))]),
  );
}

const milliseconds = (seconds: number | undefined): string =>
  `${((seconds ?? Number.NaN) * 1000).toFixed(0)} ms`;

async function forLengths<Value>(act: (frames: number, name: (typeof lengths)[number]) => Promise<Value>) {
  return { short: await act(FRAMES.short, 'short'), long: await act(FRAMES.long, 'long') };
}

const both = async (
  commands: Readonly<Record<(typeof lengths)[number], readonly string[]>>,
): Promise<number> =>
  perFrame(await processorSecondsOf(commands.long), await processorSecondsOf(commands.short), FRAMES);

/** Nothing but a decode. */
async function decoding(path: string): Promise<string[]> {
  const { ffmpeg } = await mediaTools();
  return [ffmpeg.path, ...PLAIN, '-i', path, '-map', '0:v', '-f', 'null', '-'];
}

interface Log {
  readonly jobs: Readonly<Record<(typeof lengths)[number], Job>>;
  readonly bare: Readonly<Record<(typeof lengths)[number], readonly string[]>>;
  readonly made: (length: (typeof lengths)[number], index: number) => string;
  readonly decode: Readonly<Record<(typeof lengths)[number], readonly string[]>>;
}

async function logOf(base: string, shows: 'structure' | 'chart', ...wanted: string[]): Promise<Log> {
  const sources = await forLengths((frames, name) =>
    logMovie(join(base, name, 'A001C001.mov'), frames, shows),
  );
  const jobs = await forLengths((_, name) =>
    logJob(sources[name], join(base, `delivery-${name}`), ...wanted),
  );
  return {
    jobs,
    bare: await forLengths((_, name) => bareCommand(jobs[name], join(base, `bare-${name}`))),
    made: (name, index) =>
      join(base, `bare-${name}`, `bare-${index}.${moviesOf(jobs[name])[index]?.outcome.container}`),
    decode: await forLengths((_, name) => decoding(sources[name])),
  };
}

const partsOf = ({ make, check, reading, node }: Record<string, number>): string =>
  `ffmpeg that makes ${milliseconds(make)}, checks ${milliseconds(check)}, second reading ${milliseconds(reading)}, Node ${milliseconds(node)}`;

/** A log movie of 1920x1080 to both movies of standard range. */
export async function benchLogScreen(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const { jobs, bare, decode } = await logOf(base, 'structure', ...PROXIES);
    const of = await rounds(async () => ({
      bare: await both(bare),
      decode: await both(decode),
      ...workByFrame(await forLengths((_, name) => costOfWork(jobs[name]))),
    }));
    const ratio = (of.all as number) / (of.bare as number);
    return [
      {
        name: 'log movie to both proxies, 1920x1080',
        measured: `${ratio.toFixed(2)} of the bare command with its table (${milliseconds(of.all)} a frame against ${milliseconds(of.bare)}, of which decode ${milliseconds(of.decode)})`,
        target: `at most ${MOST_PROXIES}`,
        passed: ratio <= MOST_PROXIES,
      },
      { name: 'its parts, by frame', measured: partsOf(of), target: 'none', passed: null },
    ];
  });
}

/** A log movie to frames of EXR and both movies, in one pass. */
export async function benchTogether(): Promise<BenchLine> {
  return await inFolder(async (base) => {
    const { jobs, bare } = await logOf(base, 'structure', ...PROXIES);
    const master = await forLengths((_, name) => screenJob(jobs[name], true, ['grading-master-exr']));
    const all = await forLengths((_, name) =>
      screenJob(jobs[name], true, ['grading-master-exr', ...PROXIES]),
    );
    const of = await rounds(async () => ({
      bare: await both(bare),
      master: workByFrame(await forLengths((_, name) => costOfWork(master[name]))).all as number,
      all: workByFrame(await forLengths((_, name) => costOfWork(all[name]))).all as number,
    }));
    const ratio = (of.all as number) / ((of.master as number) + (of.bare as number));
    return {
      name: 'EXR master and both proxies of a log movie in one pass',
      measured: `${ratio.toFixed(2)} of the master alone and the bare command (${milliseconds(of.all)} a frame against ${milliseconds(of.master)} and ${milliseconds(of.bare)})`,
      target: `at most ${MOST_TOGETHER}`,
      passed: ratio <= MOST_TOGETHER,
    };
  });
}

/** A log movie to H.265 in PQ. */
export async function benchHdrScreen(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const { jobs, bare, made } = await logOf(base, 'chart', 'review-hdr');
    const of = await rounds(async () => {
      const encode = await both(bare);
      return {
        encode,
        decode: await both(await forLengths((_, name) => decoding(made(name, 0)))),
        ...workByFrame(await forLengths((_, name) => costOfWork(jobs[name]))),
      };
    });
    const { all = 0, encode = 0, decode = 0 } = of;
    const beyond = (all - encode - decode) / encode;
    return [
      {
        name: 'log movie to H.265 in PQ, beyond its bare encode and a decode of the file',
        measured: `${beyond.toFixed(2)} of the encode (${milliseconds(all)} a frame, encode ${milliseconds(encode)}, decode ${milliseconds(decode)})`,
        target: `at most ${MOST_HDR}`,
        passed: beyond <= MOST_HDR,
      },
      { name: 'its parts, by frame', measured: partsOf(of), target: 'none', passed: null },
    ];
  });
}

const SIZE = { width: 1920, height: 1080 } as const;
/** Developed whole, against their directional method; and at half the size, against theirs. Neither of theirs has an output transform. */
const RAW = [
  { what: 'whole', options: ['-q', '3'], profile: 'extends: editorial-vc3\n', least: 2, most: null },
  {
    what: 'half',
    options: ['-h'],
    profile:
      'extends: review-h264\nraster: { policy: fit, width: 960, height: null, multiple_of: 2, enlarge: false }\ndisplay: { development: { demosaic: half } }\n',
    least: null,
    most: 1.5,
  },
] as const;
const DCRAW = ['-4', '-c', '0', '-r', '1', '1', '1', '1', '-o', '0', '-H', '1', '-T'];

/** What ffmpeg takes for a frame that is fed to it, step by step: the table, scaling, and the encoder; each is what it adds. */
async function stepsOf(job: Job, base: string): Promise<() => Promise<ByFrame>> {
  const { ffmpeg } = await mediaTools();
  const [{ profile, outcome }] = moviesOf(job) as [MovieWork];
  const { shown } = outcome;
  if (shown === null || shown.from !== 'developed') throw new Error('nothing is developed');
  const { width, height } = shown.size;
  const { files } = await bakedWay(job.deliveryFolder, shown);
  const table = { spread: join(base, 'spread.cube'), space: join(base, 'space.cube') };
  writeFileSync(table.spread, files.spread);
  writeFileSync(table.space, files.space);
  const raw = join(base, 'developed.raw');
  const made = await runForOutput(ffmpeg.path, [
    ...PLAIN,
    ...['-f', 'lavfi', '-i', `mandelbrot=s=${width}x${height}:r=24:start_scale=0.5,trim=end_frame=4`],
    ...['-vf', `format=${SHOWN_PIXELS},noise=alls=2:allf=t,format=${SHOWN_PIXELS}`, '-f', 'rawvideo', raw],
  ]);
  if (made.exitCode !== 0) throw new Error(made.stderr);
  const facts = factsSeen(job.facts, shown);
  const scaling = [...pictureFilters(facts, profile, outcome), tagFilter(outcome)];
  const steps = [['null'], [throughTable(table)], [throughTable(table), ...scaling]];
  const command = (filters: readonly string[], frames: number, encodes: boolean): string[] => [
    ffmpeg.path,
    ...PLAIN,
    ...[
      '-stream_loop',
      '-1',
      '-f',
      'rawvideo',
      '-pix_fmt',
      SHOWN_PIXELS,
      '-s',
      `${width}x${height}`,
      '-r',
      '24',
      '-i',
      raw,
    ],
    ...['-filter_complex', `[0:v]${filters.join(',')}[out]`],
    // Muxer and file come last, and all that is said of them before.
    ...['-frames:v', String(frames)],
    ...(encodes
      ? encodeOptions({ facts, profile, outcome: { ...outcome, audio: [] }, pad: '[out]', threads: 1 }).slice(
          0,
          -1,
        )
      : ['-map', '[out]']),
    ...(encodes ? [outcome.container, join(base, `steps.${outcome.container}`)] : ['-f', 'null', '-']),
  ];
  const run = async (filters: readonly string[], encodes = false): Promise<number> =>
    await both(await forLengths(async (frames) => command(filters, frames, encodes)));
  return async () => {
    const [pipe = 0, table = 0, scaled = 0] = [
      await run(steps[0] as string[]),
      await run(steps[1] as string[]),
      await run(steps[2] as string[]),
    ];
    const encoded = await run(steps[2] as string[], true);
    return { pipe, table: table - pipe, scaling: scaled - table, encode: encoded - scaled };
  };
}

/** Raw frames to a movie, the encoder taken off. */
export async function benchRawScreen(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const clips = await forLengths((frames, name) => grainDng(join(base, name), SIZE, frames));
    const lines: BenchLine[] = [];
    for (const { what, options, profile, least, most } of RAW) {
      const own = join(base, `${what}.yaml`);
      writeFileSync(
        own,
        `version: 1\nname: ${what}\nsummary: for a bench\ntimecode: { missing: zero }\n${profile}`,
      );
      const jobs = await forLengths(async (_, name) =>
        screenJob(
          await masterJob(clips[name], { compression: 'none' }, join(base, `delivery-${what}-${name}`)),
          false,
          [own],
        ),
      );
      // One file after the other, on one thread; what it writes is thrown away.
      const theirs = await forLengths(async (_, name) => [
        'sh',
        '-c',
        'export OMP_NUM_THREADS=1; options=$1; shift; for file; do dcraw_emu $options -Z - "$file" > /dev/null || exit 1; done',
        'sh',
        [...DCRAW, ...options].join(' '),
        ...dngPaths(clips[name]),
      ]);
      const steps = await stepsOf(jobs.long, base);
      const of = await rounds(async () => ({
        theirs: await both(theirs),
        ...(await steps()),
        ...workByFrame(await forLengths((_, name) => costOfWork(jobs[name]))),
      }));
      const { all = 0, encode = 0, table = 0, scaling = 0, pipe = 0, make = 0, node = 0, check = 0 } = of;
      const ours = all - encode;
      const ratio = (of.theirs as number) / ours;
      const rival = `dcraw_emu ${options.join(' ')}`;
      lines.push({
        name: `DNG to a movie, ${what}, ${SIZE.width}x${SIZE.height}, without the encoder`,
        measured:
          least === null
            ? `${(1 / ratio).toFixed(2)} of the time of ${rival} (${milliseconds(ours)} a frame against ${milliseconds(of.theirs)})`
            : `${ratio.toFixed(2)} times as fast as ${rival} (${milliseconds(ours)} a frame against ${milliseconds(of.theirs)})`,
        target: least === null ? `at most ${most}` : `at least ${least.toFixed(1)}`,
        passed: least === null ? 1 / ratio <= (most ?? 0) : ratio >= least,
      });
      lines.push({
        name: 'its parts, by frame',
        measured: `Node (development, codes for the table, what is proved of both) ${milliseconds(node)}; ffmpeg: frames on a pipe ${milliseconds(pipe)}, output transform ${milliseconds(table)}, scaling ${milliseconds(scaling)}, proof ${milliseconds(make - encode - table - scaling - pipe)}; check of the file ${milliseconds(check)}; not counted: encoder ${milliseconds(encode)}`,
        target: 'none',
        passed: null,
      });
    }
    return lines;
  });
}

/** Three times the frames. With fewer the garbage collector has not found its level. */
const MEMORY = { few: 72, many: 216, most: 1.05 } as const;

/** A log movie to both movies of standard range: what a worker and its largest ffmpeg need together at most. */
export async function benchScreenMemory(): Promise<BenchLine> {
  return await inFolder(async (base) => {
    const { few, many, most } = MEMORY;
    const peak = async (frames: number) => {
      const source = await logMovie(join(base, String(frames), 'A001C001.mov'), frames);
      return await memoryOfWork(await logJob(source, join(base, `delivery-${frames}`), ...PROXIES));
    };
    const [short, long] = [await peak(few), await peak(many)];
    const ratio = (long.node + long.ffmpeg) / (short.node + short.ffmpeg);
    const inWords = ({ node, ffmpeg }: typeof short): string =>
      `${node.toFixed(0)} + ${ffmpeg.toFixed(0)} MiB of worker and ffmpeg`;
    return {
      name: 'memory of a log movie to both proxies',
      measured: `${ratio.toFixed(3)} with ${many} frames of what ${few} need (${inWords(long)} against ${inWords(short)})`,
      target: `at most ${most}`,
      passed: ratio <= most,
    };
  });
}
