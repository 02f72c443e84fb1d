/** Masters for grading: our writer against ffmpeg's, raw frames against LibRaw's program, threads against one, and memory against length. */
import {
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { availableParallelism, tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import pLimit from 'p-limit';
import { jobSchema } from '../../ledger/job.ts';
import { runForOutput } from '../../process/run.ts';
import { mediaTools } from '../support/make.ts';
import { alternating, type Timed } from './against.ts';
import type { BenchLine } from './line.ts';
import {
  type BenchClip,
  dngPaths,
  grainDng,
  grainMovie,
  makeFrames,
  masterJob,
  type Size,
  sizeName,
} from './master-work.ts';

const REPETITIONS = 3;
const CORES = availableParallelism();
/** Two seconds and more: long enough that the start of the threads weighs as it does in a short clip, not as in a few frames. */
const CLIPS: readonly (Size & { readonly frames: number })[] = [
  { width: 1920, height: 1080, frames: 96 },
  { width: 4096, height: 2160, frames: 48 },
];

/** The same values as theirs, as they are decoded; and with a transform of colour, which theirs have none of. The first line fills the page cache for the others. */
const WRITTEN = [
  { compression: 'none', input: 'aces2065-1', what: 'uncompressed', repetitions: 3, target: 1 },
  { compression: 'zip', input: 'aces2065-1', what: 'ZIP', repetitions: 2, target: 4.8 },
  {
    compression: 'none',
    input: 'slog3-sgamut3cine',
    what: 'uncompressed, transformed',
    repetitions: 3,
    target: null,
  },
] as const;

/** Half of that: ffmpeg takes a second and more for a frame of 4096x2160 in ZIP. And a clip of eight seconds, in which the start weighs less. */
const MOVIES = [
  ...CLIPS.map((clip) => ({ ...clip, frames: clip.frames / 2, kinds: WRITTEN })),
  {
    width: 1920,
    height: 1080,
    frames: 192,
    kinds: WRITTEN.filter(({ compression }) => compression === 'zip'),
  },
];

async function inFolder<Result>(act: (base: string) => Promise<Result>): Promise<Result> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    return await act(base);
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}

/** Work in a folder that is empty before and goes afterwards, looked at in between. */
async function emptied(
  folder: string,
  act: (folder: string) => Promise<void>,
  look: (folder: string) => void,
): ReturnType<Timed> {
  const remove = (): void => rmSync(folder, { recursive: true, force: true });
  mkdirSync(folder);
  try {
    await act(folder);
  } catch (error) {
    remove();
    throw error;
  }
  return async () => {
    try {
      look(folder);
    } finally {
      remove();
    }
  };
}

function requireCount(folder: string, extension: string, frames: number): void {
  const found = readdirSync(folder).filter((name) => name.endsWith(extension)).length;
  if (found !== frames) throw new Error(`${found} files ${extension} instead of ${frames}`);
}

const ratioLine = (
  name: string,
  rival: string,
  { ours, theirs }: { ours: number; theirs: number },
  frames: number,
  target: number | null,
): BenchLine => {
  const ratio = theirs / ours;
  const rate = (seconds: number): string => `${(frames / seconds).toFixed(1)} frames/s`;
  return {
    name,
    measured: `${ratio.toFixed(2)} of ${rival} (${rate(ours)} against ${rate(theirs)})`,
    target: target === null ? 'none' : `at least ${target.toFixed(1)}`,
    passed: target === null ? null : ratio >= target,
  };
};

export async function benchExrWriter(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const lines: BenchLine[] = [];
    const { ffmpeg } = await mediaTools();
    for (const size of MOVIES) {
      const source = join(base, `${sizeName(size)}-${size.frames}`, 'A001C001.mov');
      const clip = await grainMovie(source, size, size.frames);
      for (const [at, { compression, input, what, repetitions, target }] of size.kinds.entries()) {
        const job = await masterJob(clip, { compression, input }, join(base, 'delivery'));
        const write = async (folder: string): Promise<void> => {
          // Their ZIP of 16 lines a chunk, as ours.
          const run = await runForOutput(ffmpeg.path, [
            '-hide_banner',
            '-nostdin',
            '-loglevel',
            'error',
            '-i',
            source,
            '-c:v',
            'exr',
            '-format',
            'half',
            '-compression',
            compression === 'zip' ? 'zip16' : 'none',
            '-f',
            'image2',
            join(folder, 'A001C001.%07d.exr'),
          ]);
          if (run.exitCode !== 0) throw new Error(run.stderr);
        };
        const theirs = (): ReturnType<Timed> =>
          emptied(join(base, 'theirs'), write, (folder) => requireCount(folder, '.exr', size.frames));
        const seconds = await alternating(repetitions, () => makeFrames(job, CORES), theirs, at > 0);
        lines.push(
          ratioLine(
            `movie to EXR, ${what}, ${sizeName(size)}, ${size.frames} frames`,
            'ffmpeg',
            seconds,
            size.frames,
            target,
          ),
        );
      }
    }
    return lines;
  });
}

const DCRAW = ['-4', '-c', '0', '-r', '1', '1', '1', '1', '-o', '0', '-H', '1', '-T'];
/** Their bilinear method, and the directional one. */
const METHODS = [
  { demosaic: 'linear', quality: '0', target: 4.5 },
  { demosaic: 'fine', quality: '3', target: 4.5 },
] as const;

/** A process a core and a frame, each on a thread of its own. It writes beside its source, which is a link. */
async function developByDcraw(clip: BenchClip, quality: string, folder: string): Promise<void> {
  const limit = pLimit(CORES);
  await Promise.all(
    dngPaths(clip).map((path) =>
      limit(async () => {
        const link = join(folder, basename(path));
        symlinkSync(path, link);
        const run = await runForOutput('dcraw_emu', [...DCRAW, '-q', quality, link], {
          cwd: folder,
          env: { OMP_NUM_THREADS: '1' },
        });
        if (run.exitCode !== 0) throw new Error(run.startError ?? run.stderr);
      }),
    ),
  );
}

export async function benchDng(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const lines: BenchLine[] = [];
    for (const size of CLIPS) {
      const clip = await grainDng(join(base, sizeName(size)), size, size.frames);
      for (const { demosaic, quality, target } of METHODS) {
        const job = await masterJob(clip, { compression: 'none', demosaic }, join(base, 'delivery'));
        const seconds = await alternating(
          REPETITIONS,
          () => makeFrames(job, CORES),
          () =>
            emptied(
              join(base, 'theirs'),
              (folder) => developByDcraw(clip, quality, folder),
              (folder) => requireCount(folder, '.tiff', clip.frames),
            ),
        );
        lines.push(
          ratioLine(
            `DNG to EXR, ${demosaic}, ${sizeName(size)}`,
            `dcraw_emu -q ${quality}`,
            seconds,
            size.frames,
            target,
          ),
        );
      }
    }
    return lines;
  });
}

/** As `grading-master-exr` writes; and uncompressed, where files' pages are made in memory that both cores share. */
const SCALED = [
  { compression: 'zip', what: 'ZIP', target: 1.8 },
  { compression: 'none', what: 'uncompressed', target: null },
] as const;

export async function benchScaling(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const size = { width: 4096, height: 2160 };
    const clip = await grainDng(base, size, 48);
    const lines: BenchLine[] = [];
    for (const { compression, what, target } of SCALED) {
      const job = await masterJob(clip, { compression, demosaic: 'fine' }, join(base, 'delivery'));
      const { ours, theirs } = await alternating(
        REPETITIONS,
        () => makeFrames(job, 2),
        () => makeFrames(job, 1),
      );
      const ratio = theirs / ours;
      const reported = target === null || CORES < 2;
      lines.push({
        name: `DNG to EXR, fine, ${what}, ${sizeName(size)}, two threads`,
        measured: `${ratio.toFixed(2)} of one`,
        target: target === null ? 'none' : `at least ${target}`,
        passed: reported ? null : ratio >= target,
      });
    }
    return lines;
  });
}

/** With 24 frames the garbage collector has not yet found its level; from 96 on nothing grows any more. */
const MEMORY = { few: 96, many: 288, size: { width: 1920, height: 1080 }, most: 1.05 } as const;

/** For a process of its own, which it is the work of: makes the job's frames, and says what the process needed at most. */
export async function measureMemory(jobFile: string): Promise<void> {
  const after = await makeFrames(jobSchema.parse(JSON.parse(readFileSync(jobFile, 'utf8'))), CORES);
  await after();
  process.stdout.write(String(process.resourceUsage().maxRSS / 1024));
}

export async function benchMasterMemory(): Promise<BenchLine[]> {
  return await inFolder(async (base) => {
    const { few, many, size, most } = MEMORY;
    const lines: BenchLine[] = [];
    for (const kind of ['movie', 'DNG'] as const) {
      const peak = async (frames: number): Promise<number> => {
        const folder = join(base, `${kind}-${frames}`);
        const clip =
          kind === 'movie'
            ? await grainMovie(join(folder, 'A001C001.mov'), size, frames)
            : await grainDng(folder, size, frames);
        const jobFile = join(base, 'job.json');
        writeFileSync(
          jobFile,
          JSON.stringify(
            await masterJob(clip, { compression: 'zip', demosaic: 'fine' }, join(base, 'delivery')),
          ),
        );
        const run = await runForOutput(process.execPath, [
          '--input-type=module',
          '-e',
          `import { measureMemory } from ${JSON.stringify(import.meta.url)}; await measureMemory(${JSON.stringify(jobFile)});`,
        ]);
        rmSync(folder, { recursive: true, force: true });
        if (run.exitCode !== 0) throw new Error(run.stderr);
        return Number(run.stdout.toString('utf8'));
      };
      const [short, long] = [await peak(few), await peak(many)];
      lines.push({
        name: `memory of masters, ${kind}, ${sizeName(size)}`,
        measured: `${(long / short).toFixed(3)} with ${many} frames of what ${few} need (${long.toFixed(0)} against ${short.toFixed(0)} MiB)`,
        target: `under ${most}`,
        passed: long / short < most,
      });
    }
    return lines;
  });
}
