/** A recording in three files, made as one clip: every frame and every sample over its joints, and what a reader that joins them wrongly is found by. */
import { execFileSync } from 'node:child_process';
import { chmodSync, mkdtempSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable, type CheckReport } from '../../check/index.ts';
import { surveyClip } from '../../coordinator/survey/index.ts';
import type { Clip } from '../../ledger/clip.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { SourceFingerprints } from '../../proof/source-fingerprints.ts';
import { type MakeResult, make } from '../../worker/make.ts';
import { proofOf } from '../../worker/proof.ts';
import { hearSounds, withSounds } from '../../worker/sound.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';
import { ffmpeg } from '../support/media.ts';
import { jobFor } from '../support/work.ts';
import { moviesOf } from '../support/jobs.ts';

const PROFILE = 'test/fixtures/profiles/small-vc3.yaml';
/** Frames of the parts; at 24000/1001 one lasts 2002 samples of 48 kHz. */
const FRAMES = [10, 8, 6] as const;
const LABELS = ['01:00:00:00', '01:00:00:10', '01:00:00:18'] as const;

/** One picture and one noise, cut at frames and at samples. `lost`: so many samples before the end of each part a camera of AAC stopped its coder. */
async function cutTake(folder: string, lost = 0): Promise<string[]> {
  const tags = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';
  let first = 0;
  const paths: string[] = [];
  const graph: string[] = [];
  const outputs: string[] = [];
  for (const [index, frames] of FRAMES.entries()) {
    const path = join(folder, index === 0 ? 'A001C001.mov' : `A001C001_${index}.mov`);
    graph.push(
      `[v${index}]trim=start_frame=${first}:end_frame=${first + frames},setpts=PTS-STARTPTS,${tags}[pv${index}]`,
      `[a${index}]atrim=start_sample=${2002 * first}:end_sample=${2002 * (first + frames) - lost},asetpts=N/SR/TB[pa${index}]`,
    );
    outputs.push('-map', `[pv${index}]`, '-map', `[pa${index}]`, '-c:v', 'prores_ks', '-profile:v', '1');
    outputs.push(
      '-pix_fmt',
      'yuv422p10le',
      '-c:a',
      ...(lost > 0 ? ['aac', '-b:a', '192k'] : ['pcm_s24le']),
      '-timecode',
      LABELS[index] as string,
      path,
    );
    paths.push(path);
    first += frames;
  }
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24000/1001:d=2'],
    ...['-f', 'lavfi', '-i', 'anoisesrc=r=48000:a=0.3:seed=7:d=2'],
    '-filter_complex',
    ['[0:v]split=3[v0][v1][v2]', '[1:a]asplit=3[a0][a1][a2]', ...graph].join(';'),
    ...outputs,
  );
  return paths;
}

async function surveyed(folder: string, files: readonly string[]): Promise<Job> {
  const path = join(folder, files[0] as string);
  // A profile that takes each part alone as well; what is made is that of PROFILE.
  const job = await jobFor(path, join(folder, 'delivery'), ['review-h264']);
  const { profiles } = await loadProfiles({ wanted: [PROFILE] });
  const clip: Clip = {
    ...job.clip,
    place: {
      kind: 'spanned',
      parts: files.map((file) => ({ file, bytes: 1, checksum: 'md5:0' })),
      namedBy: 'suffix',
      continuesBy: 'timecode',
    },
  };
  const { facts, findings } = await surveyClip(clip, folder, await mediaTools());
  if (facts === null) throw new Error(JSON.stringify(findings));
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  return { ...job, clip, facts, span: { start: 0, count: facts.video.frames }, deliverables };
}

/** `edit`: of the list of parts that ffmpeg is given, as a script of sed; '' for none. */
async function made(job: Job, edit: string): Promise<MakeResult & { readonly staged: string }> {
  const tools = await mediaTools();
  const folder = freshFolder('spanned-made');
  const path = join(folder, 'ffmpeg');
  writeFileSync(
    path,
    `#!/bin/sh\nfor one; do case $one in file:*/parts.ffconcat) sed -i '${edit}' "\${one#file:}";; esac; done\nexec ffmpeg "$@"\n`,
  );
  chmodSync(path, 0o755);
  const staged = join(folder, 'made.mov');
  const result = await make({
    job,
    outputs: moviesOf(job).map((deliverable) => ({ deliverable, staged })),
    framePool: null,
    tools: edit === '' ? tools : { ...tools, ffmpeg: { ...tools.ffmpeg, path } },
    threads: 2,
    stallMilliseconds: 60_000,
    signal: new AbortController().signal,
    onFrames: () => undefined,
  });
  return { ...result, staged };
}

describe('a recording in three files', () => {
  let job: Job;
  let files: string[];
  let folder: string;
  beforeAll(async () => {
    folder = mkdtempSync(join(sharedFolder, 'spanned-'));
    files = (await cutTake(folder)).map((path) => path.slice(folder.length + 1));
    job = await surveyed(folder, files);
  }, 60_000);

  test('is one clip whose fingerprints are those of its parts, joined, and whose file passes every check', async () => {
    const tools = await mediaTools();
    expect(job.facts.video.frames).toBe(24);
    expect(job.facts.audio[0]?.samples).toBe(24 * 2002);
    const whole = await made(job, '');
    expect(whole.watched.errors).toEqual([]);
    const proof = proofOf(job, whole);
    expect(proof).toHaveProperty('fingerprints');
    // Both sides of both joints were decoded apart.
    expect(whole.source.spots.map(({ frame }) => frame)).toEqual(expect.arrayContaining([0, 9, 10, 17, 18]));
    const apart: SourceFingerprints[] = [];
    for (const file of files) {
      const part = await made(await jobFor(join(folder, file), join(folder, 'delivery'), [PROFILE]), '');
      if (part.fingerprints !== null) apart.push(part.fingerprints);
    }
    const luma = apart.flatMap(({ picture }) => [...picture.luma]);
    expect([...(whole.fingerprints?.picture.luma ?? [])]).toEqual(luma);
    const [deliverable] = moviesOf(job);
    if (deliverable === undefined) throw new Error('no deliverable');
    const { results } = await checkDeliverable({
      path: whole.staged,
      outcome: deliverable.outcome,
      checks: deliverable.profile.checks,
      sourceFacts: job.facts,
      sourceFingerprints: whole.fingerprints,
      encoded: whole.bitstreams[0] ?? null,
      sketch: whole.sketches[0] ?? null,
      tools,
    });
    expect(results.filter(({ status }) => status !== 'passed')).toEqual([]);
    expect(deliverable.outcome.fileName).toBe('A001C001.mov');
  }, 120_000);

  test.each<[title: string, edit: string]>([
    // Lines: 1 the head, then a file and its length for each part.
    ['parts two and three exchanged', 's/part00002/other/;s/part00003/part00002/;s/other/part00003/'],
    ['the last part left out', '6,7d'],
  ])(
    '%s by the reader is found',
    async (_, edit) => {
      const proof = proofOf(job, await made(job, edit));
      expect(proof).toMatchObject({ findings: [{ code: 'source-read-differs' }] });
    },
    60_000,
  );
});

describe('a recording whose AAC ends before the picture in each part', () => {
  const LOST = 2400;
  let job: Job;
  let folder: string;
  let files: string[];
  const signal = new AbortController().signal;
  beforeAll(async () => {
    folder = mkdtempSync(join(sharedFolder, 'spanned-aac-'));
    files = (await cutTake(folder, LOST)).map((path) => path.slice(folder.length + 1));
    job = await surveyed(folder, files);
  }, 60_000);

  const outcomes = (): Outcome[] => moviesOf(job).map(({ outcome }) => outcome);
  const checked = async (made: MakeResult & { readonly staged: string }): Promise<CheckReport> => {
    const tools = await mediaTools();
    const [deliverable] = moviesOf(job);
    if (deliverable === undefined) throw new Error('no deliverable');
    return await checkDeliverable({
      path: made.staged,
      outcome: deliverable.outcome,
      checks: deliverable.profile.checks,
      sourceFacts: job.facts,
      sourceFingerprints: withSounds(made.fingerprints, await hearSounds(job, outcomes(), { tools, signal })),
      encoded: made.bitstreams[0] ?? null,
      sketch: made.sketches[0] ?? null,
      tools,
    });
  };
  /** Of one channel, 24 bits, as ffmpeg decodes it. */
  const heardOf = (path: string): number[] => {
    const bytes = execFileSync(
      'ffmpeg',
      ['-v', 'error', '-i', path, '-map', '0:a', '-f', 's24le', '-ac', '1', '-'],
      {
        maxBuffer: 1 << 26,
      },
    );
    return Array.from({ length: bytes.length / 3 }, (_, at) => bytes.readIntLE(3 * at, 3));
  };

  test('is one clip: silence stands where nothing was recorded, every sample where it was, and every check passes', async () => {
    const silences = (job.facts.audio[0]?.pieces ?? []).map(({ silence }) => silence);
    // The edit list of a MOV counts in milliseconds, rounded down.
    expect(silences.every((silence) => silence >= LOST && silence < LOST + 48)).toBe(true);
    const whole = await made(job, '');
    expect(whole.watched.errors).toEqual([]);
    expect(proofOf(job, whole)).toHaveProperty('fingerprints');
    const { results } = await checked(whole);
    expect(results.filter(({ status }) => status !== 'passed')).toEqual([]);
    const found = heardOf(whole.staged);
    const expected = new Array<number>(24 * 2002).fill(0);
    let first = 0;
    for (const [index, frames] of FRAMES.entries()) {
      const part = heardOf(join(folder, files[index] as string)).slice(
        0,
        job.facts.parts?.[index]?.audio[0]?.samples,
      );
      for (const [at, sample] of part.entries()) expected[2002 * first + at] = sample;
      first += frames;
    }
    expect(found).toEqual(expected);
  }, 120_000);

  test.each<
    [
      title: string,
      change: (piece: { take: number; silence: number }, index: number) => { take: number; silence: number },
    ]
  >([
    [
      'the second part one sample too late',
      ({ take, silence }, index) => ({ take, silence: silence + (index === 0 ? 1 : index === 1 ? -1 : 0) }),
    ],
    ['no silence between the parts', ({ take }) => ({ take, silence: 0 })],
  ])(
    '%s in the file is found',
    async (_, change) => {
      const audio = job.facts.audio.map((track) => ({ ...track, pieces: (track.pieces ?? []).map(change) }));
      const { findings } = await checked(await made({ ...job, facts: { ...job.facts, audio } }, ''));
      expect(findings.map(({ code }) => code)).toEqual(
        expect.arrayContaining([expect.stringMatching(/^audio-/)]),
      );
    },
    120_000,
  );

  test('parts that decode to other counts than were measured are found', async () => {
    const parts = job.facts.parts?.map((part, at) => ({
      ...part,
      audio: part.audio.map((track) => ({ ...track, samples: track.samples + (at === 1 ? 1024 : 0) })),
    }));
    const other = { ...job, facts: { ...job.facts, ...(parts === undefined ? {} : { parts }) } };
    await expect(hearSounds(other, outcomes(), { tools: await mediaTools(), signal })).rejects.toMatchObject({
      findings: [{ code: 'sound-read-differs' }],
    });
  }, 60_000);
});
