/** What proving costs: the fingerprints and the full check of a job of one proxy, against its encode alone. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { checkDeliverable } from '../../check/index.ts';
import type { MovieWork } from '../../ledger/job.ts';
import { moviesOf } from '../support/jobs.ts';
import { fingerprintFile } from '../../proof/source-fingerprints.ts';
import { encodeOptions } from '../../profiles/recipe/encode.ts';
import { pictureFilters, sharedFilters, tagFilter, WITNESS } from '../../profiles/recipe/picture.ts';
import { make } from '../../worker/make.ts';
import { proofOf } from '../../worker/proof.ts';
import { ffmpeg } from '../support/media.ts';
import { mediaTools } from '../support/make.ts';
import { jobFor } from '../support/work.ts';
import type { BenchLine } from './line.ts';
import { median } from './median.ts';
import { bare } from './recorded.ts';

const REPETITIONS = 3;
const SECONDS = 15;
const THREADS = 2;
/** Of the time of the encode alone. */
const MOST = 1.25;

/** Camera-like: a picture that moves slowly, with grain, 10 bits, four channels of audio. */
async function makeSource(path: string): Promise<void> {
  const picture = `mandelbrot=s=2400x1350:r=24000/1001:start_scale=0.5,trim=end_frame=1,loop=loop=-1:size=1:start=0,settb=1001/24000,setpts=N,crop=w=1920:h=1080:x=n:y=100,trim=end_frame=${SECONDS * 24},format=yuv422p10le,noise=alls=3:allf=t,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv`;
  // Picture and audio both end by themselves: a limit on the frames would cut the audio short.
  const audio = `anoisesrc=r=48000:d=${(SECONDS * 1001) / 1000}:a=0.1,aformat=channel_layouts=stereo`;
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    picture,
    '-f',
    'lavfi',
    '-i',
    audio,
    '-f',
    'lavfi',
    '-i',
    audio,
    '-map',
    '0',
    '-map',
    '1',
    '-map',
    '2',
    '-c:v',
    'prores_ks',
    '-profile:v',
    '2',
    '-c:a',
    'pcm_s24le',
    '-timecode',
    '01:00:00:00',
    path,
  );
}

async function measure(
  profile: string,
  source: string,
  base: string,
): Promise<{ fingerprints: number; check: number; all: number }> {
  const tools = await mediaTools();
  const job = await jobFor(source, join(base, 'delivery'), [profile]);
  const [deliverable] = moviesOf(job) as [MovieWork];
  const file = (name: string): string => join(base, `${name}.${deliverable.outcome.container}`);
  const { facts } = job;
  const graph = `[0:${facts.video.streamIndex}]${[WITNESS, ...sharedFilters(facts, 'made'), ...pictureFilters(facts, deliverable.profile, deliverable.outcome), tagFilter(deliverable.outcome)].join(',')}[out]`;
  const options = encodeOptions({
    facts,
    profile: deliverable.profile,
    outcome: deliverable.outcome,
    pad: '[out]',
    threads: THREADS,
  }).slice(0, -1);
  const alone = {
    path: tools.ffmpeg.path,
    folder: base,
    args: [
      '-hide_banner',
      '-nostdin',
      '-y',
      '-nostats',
      '-loglevel',
      'error',
      '-noauto_conversion_filters',
      '-filter_complex_threads',
      String(THREADS),
      '-threads',
      String(THREADS),
      '-i',
      source,
      '-filter_complex',
      graph,
      ...options,
      deliverable.outcome.container,
      `file:${file('alone')}`,
    ],
  };
  const signal = new AbortController().signal;
  const rounds: { fingerprints: number; check: number; all: number }[] = [];
  for (let round = 0; round < REPETITIONS; round += 1) {
    const encode = await bare(alone);
    const started = performance.now();
    const made = await make({
      job,
      outputs: [{ deliverable, staged: file('made') }],
      framePool: null,
      tools,
      threads: THREADS,
      stallMilliseconds: 600_000,
      signal,
      onFrames: () => undefined,
    });
    const proof = proofOf(job, made);
    if (!('fingerprints' in proof)) throw new Error(JSON.stringify(proof.findings));
    await fingerprintFile(proof.fingerprints);
    const between = performance.now();
    const checked = await checkDeliverable({
      path: file('made'),
      outcome: deliverable.outcome,
      checks: deliverable.profile.checks,
      sourceFacts: facts,
      sourceFingerprints: proof.fingerprints,
      encoded: made.bitstreams[0] ?? null,
      sketch: made.sketches[0] ?? null,
      tools,
      threads: THREADS,
    });
    if (!checked.passed) throw new Error(JSON.stringify(checked.findings));
    const ended = performance.now();
    rounds.push({
      fingerprints: ((between - started) / 1000 - encode) / encode,
      check: (ended - between) / 1000 / encode,
      all: (ended - started) / 1000 / encode,
    });
  }
  const of = (part: 'fingerprints' | 'check' | 'all'): number => median(rounds.map((one) => one[part]));
  return { fingerprints: of('fingerprints'), check: of('check'), all: of('all') };
}

export async function benchFingerprints(): Promise<BenchLine[]> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    const source = join(base, 'A001C001.mov');
    await makeSource(source);
    const lines: BenchLine[] = [];
    for (const profile of ['editorial-vc3', 'editorial-rdd36', 'review-h264']) {
      const { fingerprints, check, all } = await measure(profile, source, base);
      lines.push({
        name: `proving one proxy, ${profile}`,
        measured: `${(fingerprints + check).toFixed(2)} of the encode alone (fingerprints ${fingerprints.toFixed(2)}, check ${check.toFixed(2)}); with the encode ${all.toFixed(2)}`,
        target: `at most ${MOST}`,
        passed: fingerprints + check <= MOST,
      });
    }
    return lines;
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}
