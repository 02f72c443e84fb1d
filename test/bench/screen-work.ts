/** Pictures for a display, for benches: jobs of log movies and raw frames, a worker's whole work on them in a process of its own, and the bare command beside it. */
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { type Job, jobSchema, workOf } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { burnIn } from '../../profiles/recipe/burn-in.ts';
import { encodeOptions } from '../../profiles/recipe/encode.ts';
import { tagFilter } from '../../profiles/recipe/picture.ts';
import { bakedWay } from '../../worker/colour-way.ts';
import { runForOutput } from '../../process/run.ts';
import { runJob } from '../../worker/job.ts';
import { moviesOf } from '../support/jobs.ts';
import { mediaTools } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';
import { type Costs, costRecorder, timed } from './processor-time.ts';

/** One thread everywhere: a worker with two jobs side by side on two cores, and processor time that no idle core hides. */
const THREADS = 1;

const interpretation: Interpretation = {
  input: { name: 'slog3-sgamut3cine' },
  inputFrom: 'show',
  raw: { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' },
  owner: 'Bell foundry film',
  comments: '',
};

/** Camera-like: fine structure that moves slowly, or a chart with moving parts; grain, 10 bits of a log curve, RDD 36 422, two channels. */
export async function logMovie(
  path: string,
  frames: number,
  shows: 'structure' | 'chart' = 'structure',
): Promise<string> {
  mkdirSync(dirname(path), { recursive: true });
  const shown =
    shows === 'chart'
      ? 'testsrc2=s=1920x1080:r=24000/1001'
      : 'mandelbrot=s=2400x1350:r=24000/1001:start_scale=0.5,trim=end_frame=1,loop=loop=-1:size=1:start=0,settb=1001/24000,setpts=N,crop=w=1920:h=1080:x=n:y=100';
  const picture = `${shown},trim=end_frame=${frames},format=yuv422p10le,lutyuv=y=val*0.5+190:u=512+(val-512)/4:v=512+(val-512)/4,noise=alls=2:allf=t,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv`;
  const audio = `anoisesrc=r=48000:d=${(frames * 1001) / 24_000}:a=0.1,aformat=channel_layouts=stereo`;
  await ffmpeg(
    ...['-f', 'lavfi', '-i', picture, '-f', 'lavfi', '-i', audio, '-map', '0', '-map', '1'],
    ...['-c:v', 'prores_ks', '-profile:v', '2', '-c:a', 'pcm_s24le', '-timecode', '01:00:00:00', path],
  );
  return path;
}

/** The job of a clip whose values are stated: of log, where it is a movie. */
export async function screenJob(job: Job, isLog: boolean, wanted: readonly string[]): Promise<Job> {
  const facts = { ...job.facts, interpretation: isLog ? interpretation : { ...interpretation, input: null } };
  const { profiles, findings } = await loadProfiles({ wanted });
  if (findings.length > 0) throw new Error(JSON.stringify(findings));
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: job.day, roll: job.roll, clip: job.clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  return { ...job, facts, deliverables };
}

export const logJob = async (source: string, delivery: string, ...wanted: string[]): Promise<Job> =>
  await screenJob(await jobFor(source, delivery), true, wanted);

export interface WorkCost {
  /** Processor seconds of it and of all below it. */
  readonly all: number;
  readonly costs: Costs;
}

/** A worker's whole work on a job, proved and published, into a delivery of its own. Throws unless everything is published. */
export async function costOfWork(job: Job): Promise<WorkCost> {
  const base = mkdtempSync(`${job.deliveryFolder}-work-`);
  try {
    const own = { ...job, deliveryFolder: join(base, 'delivery') };
    mkdirSync(own.deliveryFolder);
    const jobFile = join(base, 'job.json');
    writeFileSync(jobFile, JSON.stringify(own));
    const record = await costRecorder(base);
    const ran = await timed(
      [
        process.execPath,
        ...['--input-type=module', '-e'],
        `import { workOn } from ${JSON.stringify(import.meta.url)}; await workOn(${JSON.stringify(jobFile)}, ${JSON.stringify({ ffmpeg: record.ffmpeg, ffprobe: record.ffprobe })});`,
      ],
      record.env,
    );
    if (ran.code !== 0) throw new Error(ran.stderr);
    return { all: ran.processorSeconds, costs: record.read() };
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}

/** For a process of its own, which it is the work of. `programs`: in the place of ffmpeg and ffprobe. */
export async function workOn(
  jobFile: string,
  programs: { readonly ffmpeg: string; readonly ffprobe: string },
): Promise<void> {
  const job = jobSchema.parse(JSON.parse(readFileSync(jobFile, 'utf8')));
  const context = await workContext({ ffmpeg: programs.ffmpeg, stallMilliseconds: 600_000 });
  const tools = { ...context.tools, ffprobe: { ...context.tools.ffprobe, path: programs.ffprobe } };
  await runJob(job, { ...context, tools, threads: THREADS });
  for (const { profile } of job.deliverables) {
    const path = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile.name);
    const read = await readRecord(path, deliverableReportSchema);
    if (read.state !== 'read' || read.value.state !== 'published')
      throw new Error(
        `${profile.name}: ${read.state === 'read' ? JSON.stringify(read.value.findings) : read.state}`,
      );
  }
}

/** `-noauto_conversion_filters` is not among them: who writes by hand lets ffmpeg convert. */
export const PLAIN = [
  ...['-hide_banner', '-nostdin', '-y', '-nostats', '-loglevel', 'error'],
  ...['-filter_complex_threads', String(THREADS), '-threads', String(THREADS)],
];

/**
 * What someone writes who wants the same movies of a log clip and no proof: R'G'B' of 10 bits, a table of 65 places with tetrahedra, the same sizes, text and
 * encoders.
 */
export async function bareCommand(job: Job, folder: string): Promise<string[]> {
  const tools = await mediaTools();
  const works = moviesOf(job);
  const { clip, facts } = job;
  const shown = works[0]?.outcome.shown;
  if (shown === null || shown === undefined || clip.place.kind !== 'movie') throw new Error('no log movie');
  mkdirSync(folder, { recursive: true });
  const cube = join(folder, 'table.cube');
  writeFileSync(cube, (await bakedWay(job.deliveryFolder, shown)).files.space);
  const ways = works.map(({ profile, outcome }, index) => {
    const bits = profile.pixels.endsWith('10-bit') ? 10 : 8;
    const text = burnIn({ outcome, bits, textFolder: folder, key: `bare-${index}`, alignsText: false });
    for (const file of text.files) writeFileSync(file.path, file.text);
    const pixels = { '4:2:2 8-bit': 'yuv422p', '4:2:0 8-bit': 'yuv420p', '4:2:0 10-bit': 'yuv420p10le' };
    const pixelFormat = pixels[profile.pixels as keyof typeof pixels];
    if (pixelFormat === undefined) throw new Error(`a bench of ${profile.pixels}`);
    const matrix = outcome.colour.matrix === 'bt2020' ? 'bt2020' : 'bt709';
    return [
      `scale=${outcome.width}:${outcome.height}:out_color_matrix=${matrix}:out_range=limited`,
      `format=${pixelFormat}`,
      ...text.filters,
      tagFilter(outcome),
    ].join(',');
  });
  const graph = [
    `[0:${facts.video.streamIndex}]scale=in_color_matrix=bt709:in_range=limited,format=gbrp10le,lut3d=file=${cube}:interp=tetrahedral,split=${ways.length}${ways.map((_, index) => `[in${index}]`).join('')}`,
    ...ways.map((filters, index) => `[in${index}]${filters}[out${index}]`),
  ].join(';');
  return [
    tools.ffmpeg.path,
    ...PLAIN,
    ...['-i', join(job.rollFolder, clip.place.file), '-filter_complex', graph],
    ...works.flatMap(({ profile, outcome }, index) => [
      ...encodeOptions({ facts, profile, outcome, pad: `[out${index}]`, threads: THREADS }).slice(0, -1),
      outcome.container,
      `file:${join(folder, `bare-${index}.${outcome.container}`)}`,
    ]),
  ];
}

/** What lies between a short clip and a long one, by frame: what a start costs, a table and what warms up is in neither. */
export const perFrame = (
  long: number,
  short: number,
  frames: { readonly long: number; readonly short: number },
): number => (long - short) / (frames.long - frames.short);

/** The most resident memory that a worker's work on a job takes: of its own process, and of the largest ffmpeg below it. MiB. */
export async function memoryOfWork(job: Job): Promise<{ readonly node: number; readonly ffmpeg: number }> {
  const base = mkdtempSync(`${job.deliveryFolder}-memory-`);
  try {
    const own = { ...job, deliveryFolder: join(base, 'delivery') };
    mkdirSync(own.deliveryFolder);
    const jobFile = join(base, 'job.json');
    writeFileSync(jobFile, JSON.stringify(own));
    const { ffmpeg, ffprobe } = await mediaTools();
    const watched = join(base, 'ffmpeg');
    const notes = join(base, 'notes');
    mkdirSync(notes);
    // VmHWM of proc(5) is the most so far: the last look before the end has it.
    writeFileSync(
      watched,
      [
        '#!/bin/sh',
        `(cd ${notes}; while grep VmHWM /proc/$$/status > $$.new; do mv $$.new $$; sleep 0.1; done; rm -f $$.new) 2> /dev/null &`,
        `exec ${ffmpeg.path} "$@"`,
        '',
      ].join('\n'),
      { mode: 0o755 },
    );
    const run = await runForOutput(process.execPath, [
      ...['--input-type=module', '-e'],
      `import { workOn } from ${JSON.stringify(import.meta.url)}; await workOn(${JSON.stringify(jobFile)}, ${JSON.stringify({ ffmpeg: watched, ffprobe: ffprobe.path })}); process.stdout.write(String(process.resourceUsage().maxRSS / 1024));`,
    ]);
    if (run.exitCode !== 0) throw new Error(run.stderr);
    const peaks = readdirSync(notes).map((name) =>
      Number(/(\d+) kB/.exec(readFileSync(join(notes, name), 'utf8'))?.[1] ?? 0),
    );
    return { node: Number(run.stdout.toString('utf8')), ffmpeg: Math.max(...peaks) / 1024 };
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}
