/** Masters for benches: clips of grain, the jobs that make frames of them, and the making itself, as a worker does it. */
import {
  copyFileSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import { type Job, type MasterWork, workOf } from '../../ledger/job.ts';
import { mastersOf } from '../support/jobs.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import type { InputName } from '../../media/colour/input.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { surveyValues } from '../../check/master/exr/values.ts';
import { sourceOfBytes } from '../../check/master/exr/source.ts';
import type { DemosaicMethod } from '../../media/raw/demosaic/methods.ts';
import { loadProfiles } from '../../profiles/load.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { make } from '../../worker/make.ts';
import { startMasters } from '../../worker/master/making.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { factsOf, mediaTools } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';

export interface Size {
  readonly width: number;
  readonly height: number;
}
export const sizeName = ({ width, height }: Size): string => `${width}x${height}`;

export interface BenchClip extends Pick<Job, 'rollFolder' | 'facts'> {
  readonly place: Job['clip']['place'];
  readonly frames: number;
}

const interpretation: Omit<Interpretation, 'input'> = {
  inputFrom: 'show',
  raw: { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' },
  owner: 'Bell foundry film',
  comments: '',
};

/** A slow pan over fine structure with grain, RDD 36 422, without audio. */
export async function grainMovie(path: string, size: Size, frames: number): Promise<BenchClip> {
  mkdirSync(dirname(path), { recursive: true });
  const [wide, high] = [size.width + 256, size.height + 64];
  const picture = `mandelbrot=s=${wide}x${high}:r=24:start_scale=0.5,trim=end_frame=1,loop=loop=-1:size=1:start=0,setpts=N,crop=w=${size.width}:h=${size.height}:x=n:y=32,trim=end_frame=${frames},format=yuv422p10le,noise=alls=3:allf=t,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv`;
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    picture,
    '-c:v',
    'prores_ks',
    '-profile:v',
    '2',
    '-timecode',
    '01:00:00:00',
    path,
  );
  return {
    rollFolder: dirname(path),
    facts: await factsOf(path),
    place: { kind: 'movie', file: basename(path) },
    frames,
  };
}

/** Uncompressed, 16 bits. Every frame is a file of its own with the same samples. */
export async function grainDng(folder: string, size: Size, frames: number): Promise<BenchClip> {
  const clip = join(folder, 'A001C001');
  mkdirSync(clip, { recursive: true });
  const nameOf = (frame: number): string => join(clip, `A001C001_${String(frame + 1).padStart(6, '0')}.dng`);
  writeFileSync(
    nameOf(0),
    buildDng({
      ...size,
      samples: testSamples(size.width, size.height, 16),
      rate: [24, 1],
      timecode: '01:00:00:00',
    }),
  );
  for (let frame = 1; frame < frames; frame += 1) copyFileSync(nameOf(0), nameOf(frame));
  const place = {
    kind: 'sequence',
    folder: 'A001C001',
    prefix: 'A001C001_',
    suffix: '.dng',
    padding: 6,
    first: 1,
    count: frames,
    statedRate: null,
  } as const;
  const { facts, findings } = await surveySequence({
    rollFolder: folder,
    place,
    tools: await mediaTools(),
    subject: { clip: 'A001C001' },
  });
  if (facts === null) throw new Error(JSON.stringify(findings));
  return { rollFolder: folder, facts, place, frames };
}

export const dngPaths = ({ rollFolder }: BenchClip): string[] =>
  readdirSync(join(rollFolder, 'A001C001'))
    .sort()
    .map((name) => join(rollFolder, 'A001C001', name));

export interface MasterFormat {
  readonly compression: 'none' | 'zip';
  /** Of raw clips. */
  readonly demosaic?: DemosaicMethod;
  /** Of movies. */
  readonly input?: InputName;
}

/** A job of one master of EXR frames. */
export async function masterJob(
  { rollFolder, facts, place, frames }: BenchClip,
  { compression, demosaic = 'linear', input = 'slog3-sgamut3cine' }: MasterFormat,
  delivery: string,
): Promise<Job> {
  const {
    profiles: [loaded],
    findings,
  } = await loadProfiles({ wanted: ['grading-master-exr'] });
  if (loaded === undefined || loaded.profile.kind !== 'master') throw new Error(JSON.stringify(findings));
  const profile = {
    ...loaded.profile,
    compression,
    development: { ...loaded.profile.development, demosaic },
  };
  const name = 'A001C001';
  const clip = { id: name, name, place, bytes: 1, contentDigest: '00'.repeat(32) };
  const understood = { ...facts, interpretation: { ...interpretation, input: { name: input } } };
  const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip, facts: understood, profile });
  if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
  mkdirSync(delivery, { recursive: true });
  return {
    version: 0,
    night: 'night',
    run: 'run',
    day: 'day-01',
    roll: 'A001',
    rollFolder,
    deliveryFolder: delivery,
    clip,
    facts: understood,
    span: { start: 0, count: frames },
    deliverables: [workOf(profile, loaded.hash, decided.outcome)],
    toolchain: toolchainOf(await mediaTools()).digest,
  };
}

/** What stands in the folder is what the outcome says, to the last byte of every value of a frame in the middle. Throws otherwise. */
async function requireFrames(folder: string, { frames, width, height }: MasterOutcome): Promise<void> {
  const names = readdirSync(folder).sort();
  if (names.length !== frames) throw new Error(`${names.length} frames instead of ${frames}`);
  const { channels } = await surveyValues(
    sourceOfBytes(readFileSync(join(folder, names[frames >> 1] as string))),
  );
  for (const { name, least, greatest, notFinite } of channels)
    if (least === null || greatest === null || notFinite > 0 || greatest - least < 0.1)
      throw new Error(
        `channel ${name} of ${width}x${height}: ${least} to ${greatest}, ${notFinite} not finite`,
      );
}

/** The frames of the job's master, from the source's file to files in a folder of their own. What is returned throws when they are not right, and removes them. */
export async function makeFrames(job: Job, threads: number): Promise<() => Promise<void>> {
  const staged = mkdtempSync(join(job.deliveryFolder, 'frames-'));
  const [deliverable] = mastersOf(job) as [MasterWork];
  const tools = await mediaTools();
  const { signal } = new AbortController();
  const stallMilliseconds = 600_000;
  const making = await startMasters(
    job,
    { folders: [{ deliverable, staged }], movies: [], shown: [] },
    { tools, threads, stallMilliseconds, signal },
    () => undefined,
  );
  try {
    if (job.clip.place.kind === 'sequence') await making.framePool.take(job.span.count, signal);
    else {
      const made = await make({
        job,
        outputs: [],
        framePool: making.framePool,
        tools,
        threads,
        stallMilliseconds,
        signal,
        onFrames: () => undefined,
      });
      if (made.run.exitCode !== 0) throw new Error(made.run.stderr);
    }
    const { written, invalid } = making.framePool.results();
    if (written[0]?.length !== job.span.count || invalid > 0)
      throw new Error(`${written[0]?.length} frames written, ${invalid} values that are no numbers`);
  } catch (error) {
    rmSync(staged, { recursive: true, force: true });
    throw error;
  } finally {
    await making.close();
  }
  return async () => {
    try {
      await requireFrames(staged, deliverable.outcome);
    } finally {
      rmSync(staged, { recursive: true, force: true });
    }
  };
}
