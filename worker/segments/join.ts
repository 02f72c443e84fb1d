/**
 * The whole of a long clip from its segments: their packets one behind the other, numbered anew, with audio that is made once. What was seen while the segments were
 * made is put together as if the clip had been made whole, and goes the way of every clip from there: proof, check, publishing, report.
 */
import { mkdtemp, rm, symlink, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { extname, join } from 'node:path';
import { joinedPictures } from '../../check/pictures.ts';
import { fsPath } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { openAudioBeside, openClip, type OpenedInput } from '../../media/input.ts';
import { runTool, type RunResult } from '../../process/run.ts';
import { joinRecipeOf } from '../../profiles/recipe/join.ts';
import { joinedBitstream } from '../../proof/bitstream.ts';
import { joinedVerdict } from '../../proof/encoder-input/joined.ts';
import type { ErrorSketch } from '../../proof/sketch/form.ts';
import { joinedText } from '../../proof/text/joined.ts';
import { audioPlaces } from '../audio-places.ts';
import { decodedFailure, subjectOf } from '../claim.ts';
import { targetFailure } from '../classify.ts';
import { type Collecting, collect } from '../collect.ts';
import { JobFailure } from '../context.ts';
import type { JobRun } from '../job-run.ts';
import { COMMON_FFMPEG_FLAGS, type MakeResult } from '../make.ts';
import type { StagedMovie } from '../recipe-run.ts';
import { readSecondTime } from '../second-reading.ts';
import { hearSounds, withSounds } from '../sound.ts';
import { askTarget } from '../target.ts';
import { newWatched, type Watched, watchLine } from '../watch.ts';
import { type CutJob, segmentsOfJob } from './cut.ts';
import { sayFrameDuration } from './frame-duration.ts';
import { joinedFingerprints, jointTrouble } from './joints.ts';
import { joinedPackets, pictureOf, takenPackets } from './packets.ts';
import { type ReadSegment, readSegments } from './read.ts';

/** Throws SegmentsIncomplete, JobFailure, and the signal's reason. */
export async function joinStaged(
  { context, sourceSeen, clock }: JobRun,
  job: CutJob,
  outputs: readonly StagedMovie[],
): Promise<MakeResult> {
  const { signal } = context;
  const segments = await readSegments(job, signal);
  // How long the clip takes is known by all of its jobs.
  for (const { record } of segments) {
    clock.add('make', record.seconds.make);
    clock.add('check', record.seconds.check);
  }
  const failed = (found: string, expected: string): JobFailure =>
    new JobFailure({
      findings: [finding('segment-differs', found, expected, subjectOf(job))],
      retryable: true,
    });
  const seen = segments.map(({ record, fingerprints }) => ({ ...record, fingerprints }));
  const apart = jointTrouble(seen);
  if (apart !== null) throw failed(apart, 'segments that meet in frames that both of them saw');
  const { run, watched, collecting, second } = await joined(job, outputs, segments, context);
  signal.throwIfAborted();
  if (run.reason !== 'exited' || run.exitCode !== 0 || watched.errorCount > 0) {
    for (const { staged } of outputs) {
      const folder = staged.slice(0, staged.lastIndexOf('/'));
      const state = await askTarget(folder);
      if (state !== 'good') throw new JobFailure(targetFailure(state, folder, subjectOf(job)));
    }
    throw new JobFailure({ findings: [ended(job, run, watched)], retryable: true });
  }
  for (const [index, { deliverable, staged }] of outputs.entries()) {
    const [first] = segments;
    const movie = first?.movies[index]?.path;
    if (deliverable.outcome.container === 'mkv' && movie !== undefined) await sayFrameDuration(staged, movie);
    const packets = segments.map(({ record }) =>
      Buffer.from(
        record.deliverables.find(({ profile }) => profile === deliverable.profile.name)?.packets ?? '',
        'hex',
      ),
    );
    const differ = joinedPackets(pictureOf(collecting.packets[index]), packets);
    if (differ !== null) throw failed(differ, 'every packet of every segment, once and in order');
  }
  const taken = segments.map(({ record }) => Buffer.from(record.taken, 'hex'));
  const misread = takenPackets(taken, pictureOf(second.packets));
  if (misread !== null) throw failed(misread, 'the packets of the clip, as another program reads them');
  const heard = await hearSounds(
    job,
    outputs.map(({ deliverable }) => deliverable.outcome),
    context,
  );
  const changed = await decodedFailure(job, sourceSeen);
  if (changed !== null) throw new JobFailure(changed);
  const sound = collecting.heard();
  const starts = segmentsOfJob(job).map(({ start }) => start);
  return {
    run,
    watched,
    fingerprints: withSounds(joinedFingerprints(seen, sound.tracks, sound.exact), heard),
    // What the segments read is what lies there: proved above, packet by packet.
    source: {
      taken: joinedBitstream([second.packets]),
      there: second.bitstream,
      spots: second.spots,
      shape: second.shape,
    },
    pictures: outputs.map((_, index) =>
      joinedPictures(segments.map(({ movies }) => movies[index]?.seen ?? null)),
    ),
    bitstreams: collecting.bitstreams,
    sketches: outputs.map((_, index) => joinedSketch(segments.map(({ movies }) => movies[index]?.sketch))),
    encoderInputs: outputs.map(({ deliverable }) =>
      joinedVerdict(
        segments.map(({ record }, at) => ({
          start: starts[at] as number,
          seen:
            record.deliverables.find(({ profile }) => profile === deliverable.profile.name)?.encoderInput ??
            null,
        })),
      ),
    ),
    light: outputs.map(() => null),
    bars: outputs.map(({ deliverable }) => joinedBars(deliverable.profile.name, segments)),
    madeOfFields: null,
    splitFields: null,
    texts: outputs.map(({ deliverable }) =>
      joinedText(
        segments.map(({ record }, at) => ({
          start: starts[at] as number,
          seen: record.deliverables.find(({ profile }) => profile === deliverable.profile.name)?.text ?? null,
        })),
      ),
    ),
    shown: outputs.map(() => null),
    colourWays: outputs.map(() => null),
  };
}

function ended(job: CutJob, run: RunResult, watched: Watched): Finding {
  const words =
    watched.errors.at(-1) ??
    run.startError ??
    (run.exitCode === null ? run.reason : `exit code ${run.exitCode}`);
  return finding('encoder-failed', `${words}, while segments were joined`, 'a joined file', subjectOf(job));
}

/** null: of one of them there is none. */
function joinedSketch(segments: readonly (ErrorSketch | null | undefined)[]): ErrorSketch | null {
  const all = segments.filter((one): one is ErrorSketch => one != null);
  const [first] = all;
  if (first === undefined || all.length < segments.length) return null;
  const values = new Uint16Array(all.reduce((sum, one) => sum + one.values.length, 0));
  let at = 0;
  for (const one of all) {
    values.set(one.values, at);
    at += one.values.length;
  }
  return { ...first, frames: all.reduce((sum, { frames }) => sum + frames, 0), values };
}

/** By bar, the hash of each frame of it. */
function joinedBars(profile: string, segments: readonly ReadSegment[]): Buffer[] {
  const own = segments.map(
    ({ record }) => record.deliverables.find((one) => one.profile === profile)?.bars ?? [],
  );
  return (own[0] ?? []).map((_, bar) =>
    Buffer.concat(own.flatMap((bars) => (bars[bar] ?? []).map((hash) => Buffer.from(hash, 'hex')))),
  );
}

interface Joined {
  readonly run: RunResult;
  readonly watched: Watched;
  readonly collecting: Collecting;
  readonly second: Awaited<ReturnType<typeof readSecondTime>>;
}

async function joined(
  job: CutJob,
  outputs: readonly StagedMovie[],
  segments: readonly ReadSegment[],
  { tools, stallMilliseconds, signal, onProgress }: JobRun['context'],
): Promise<Joined> {
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-join-'));
  const input = await openClip(job.rollFolder, job.clip.place, job.facts);
  let sounds: readonly OpenedInput[] = [];
  try {
    sounds = await openAudioBeside(audioPlaces(job));
    const lists: string[] = [];
    for (const [index] of outputs.entries())
      lists.push(
        ...(await listed(
          folder,
          index,
          segments.map(({ movies }) => movies[index]?.path ?? ''),
        )),
      );
    const recipe = joinRecipeOf({
      facts: job.facts,
      deliverables: outputs.map(({ deliverable: { profile, outcome }, staged }) => ({
        profile,
        outcome,
        path: staged,
      })),
    });
    const collecting = collect({
      facts: job.facts,
      outcomes: outputs.map(({ deliverable }) => deliverable.outcome),
      pipes: recipe.pipes,
      earlierField: null,
    });
    const watched = newWatched();
    onProgress({ phase: 'make', frames: 0, total: job.span.count, framesPerSecond: 0 });
    // A frame on either side of each joint is decoded alone as well.
    const further = segmentsOfJob(job)
      .slice(1)
      .flatMap(({ start }) => [start - 1, start]);
    const beside = readSecondTime({ job, tools, stallMilliseconds, signal, byPacket: true, further }, input);
    beside.catch(() => undefined);
    let touch = (): void => {};
    const run = await runTool(
      tools.ffmpeg.path,
      [
        ...COMMON_FFMPEG_FLAGS,
        ...input.args,
        ...sounds.flatMap(({ args }) => args),
        ...lists,
        ...recipe.outputArguments,
      ],
      {
        signal,
        pipes: collecting.readers,
        stallMilliseconds,
        onStart: (sign) => {
          touch = sign;
        },
        onStderrLine: (line) => watchLine(watched, line),
        onProgress: async (stream) => {
          for await (const _ of stream) touch();
        },
      },
    );
    return { run, watched, collecting, second: await beside };
  } finally {
    for (const sound of sounds) await sound.dispose();
    await input.dispose();
    await rm(folder, { recursive: true, force: true });
  }
}

/** Input options for movies one behind the other, under names that a list can carry. What the list makes of their times is not used. */
async function listed(folder: string, index: number, paths: readonly string[]): Promise<string[]> {
  const names: string[] = [];
  for (const [at, path] of paths.entries()) {
    const name = `segment-${index}-${at}${extname(path)}`;
    await symlink(fsPath(path), join(folder, name));
    names.push(name);
  }
  const list = join(folder, `segments-${index}`);
  await writeFile(list, ['ffconcat version 1.0', ...names.map((name) => `file ${name}`), ''].join('\n'));
  return [
    ...[
      '-protocol_whitelist',
      'file,pipe',
      '-format_whitelist',
      'concat,mov,mp4,m4a,3gp,3g2,mj2,matroska,webm',
    ],
    ...['-f', 'concat', '-safe', '0', '-i', `file:${list}`],
  ];
}
