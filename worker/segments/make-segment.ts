/**
 * One segment of a long clip: made from frames that are counted out of the source, seen with one more on either side, and laid whole under its name. It is judged by
 * the job that joins, which sees all of them; what is found here already ends it here.
 */
import { open, rm, stat } from 'node:fs/promises';
import { extname, join } from 'node:path';
import { decodeWhole } from '../../check/decode.ts';
import { seePictures, type SeenPictures } from '../../check/pictures.ts';
import { takeAllAfterFolder } from '../../files/belonging.ts';
import { digestOfFile } from '../../files/digest.ts';
import { makeFolders, syncFolder } from '../../files/folders.ts';
import { machineId } from '../../files/machine-id.ts';
import { fsPath } from '../../files/names.ts';
import { renamePatiently, syncFile } from '../../files/publish.ts';
import { finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { newToken } from '../../ledger/owner.ts';
import {
  findSegment,
  recordPath,
  segmentFolder,
  type SegmentRecord,
  segmentRecordBytes,
  segmentsKey,
} from '../../ledger/segments.ts';
import { openClip } from '../../media/input.ts';
import { encoderInputVerdictSchema } from '../../proof/encoder-input/joined.ts';
import { ratio } from '../../media/time/rate.ts';
import { sketchFile } from '../../proof/sketch/file.ts';
import { type ErrorSketch, sketchNumbers } from '../../proof/sketch/form.ts';
import { fileTextVerdictSchema, textVerdictSchema } from '../../proof/text/joined.ts';
import { fingerprintFile, type SourceFingerprints } from '../../proof/source-fingerprints.ts';
import { decodedFailure, subjectOf } from '../claim.ts';
import { classifyMake, looksDamaged, targetFailure } from '../classify.ts';
import { JobFailure, progressOf } from '../context.ts';
import type { JobRun } from '../job-run.ts';
import { makeSegmentOf, type MadeSegment } from '../make.ts';
import { fingerprintFailure } from '../proof.ts';
import type { StagedMovie } from '../recipe-run.ts';
import { rounded } from '../report.ts';
import { askTarget, makeFolder, sweepStaging } from '../target.ts';
import { type CutOut, cutOut, type SegmentJob, workOfSegments } from './cut.ts';
import { cutFor } from './entry.ts';
import { unpad } from './unpadded.ts';
import { PACKET_BYTES, pictureOf } from './packets.ts';

const FINGERPRINTS = 'frames.fingerprints';
/** Read again within the night: time counts more than room. */
const PACKED = 1;

/** Throws JobFailure, and what the fence throws. */
export async function makeSegment(run: JobRun, job: SegmentJob): Promise<void> {
  const { deliveryFolder, clip } = job;
  const work = workOfSegments(job);
  const out = cutOut(job);
  const place = { rollFolder: deliveryFolder, clip: clip.id, span: out.own.span };
  if (typeof (await findSegment(place, work, job.segment)) !== 'string') return;
  run.clock.enter('make');
  const segments = layout.segmentsFolder(deliveryFolder);
  await makeFolder(deliveryFolder, segments);
  await sweepStaging(segments);
  const staged = join(segments, layout.stagedSegment(newToken()));
  const outputs = out.movies.map(
    (deliverable): StagedMovie => ({
      deliverable,
      staged: join(staged, `${deliverable.profile.name}${extname(deliverable.outcome.fileName)}`),
    }),
  );
  try {
    await makeFolders(staged);
    const made = await decoded(run, out, outputs);
    const fingerprints = proved(out, made, made.fingerprints);
    for (const { deliverable, staged: movie } of outputs)
      if (deliverable.outcome.container === 'mkv') await unpad(movie);
    run.clock.enter('check');
    const seen: SeenPictures[] = [];
    for (const [index, output] of outputs.entries())
      seen.push(await seenOf(run, out, made, { ...output, index }));
    const seconds = { make: rounded(run.clock.of('make')), check: rounded(run.clock.of('check')) };
    run.clock.enter('publish');
    const record = await written({ job, out, outputs, made, fingerprints, seen, seconds, staged });
    await takeAllAfterFolder(staged);
    await run.context.fence();
    const final = segmentFolder(deliveryFolder, clip.id, segmentsKey(work), job.segment);
    // Whoever was first has made the same; what is there and no whole segment is in nobody's use.
    if (typeof (await findSegment(place, work, job.segment)) === 'string') {
      await rm(fsPath(final), { recursive: true, force: true });
      await renamePatiently(staged, final);
      await syncFolder(segments);
    }
    run.context.onProgress({
      phase: 'make',
      frames: record.frames,
      total: record.frames,
      framesPerSecond: 0,
    });
  } finally {
    await rm(fsPath(staged), { recursive: true, force: true }).catch(() => undefined);
  }
}

async function decoded(
  { job, context, sourceSeen }: JobRun,
  out: CutOut,
  outputs: readonly StagedMovie[],
): Promise<MadeSegment> {
  const { own, seen } = out;
  const input = await openClip(job.rollFolder, job.clip.place, job.facts);
  const made = await cutFor(job, out, input, context)
    .finally(() => input.dispose())
    .then((cut) =>
      makeSegmentOf(
        {
          job: own,
          outputs,
          framePool: null,
          tools: context.tools,
          threads: context.threads,
          stallMilliseconds: context.stallMilliseconds,
          signal: context.signal,
          onFrames: progressOf('make', out.segment.frames, context),
        },
        cut,
      ),
    );
  context.signal.throwIfAborted();
  const frames = seen.span.count;
  const suspicious = made.run.reason !== 'exited' || looksDamaged(made.run, made.watched, frames);
  if (suspicious) {
    const folder = layout.segmentsFolder(job.deliveryFolder);
    const state = await askTarget(folder);
    if (state !== 'good') throw new JobFailure(targetFailure(state, folder, subjectOf(job)));
  }
  const source =
    suspicious && made.watched.sizeChange === null && made.run.reason === 'exited'
      ? await decodedAlone(job, context)
      : null;
  // The clip alone gives all of its frames where it is intact; a segment has some of them.
  const judged =
    source !== null && source.errors.length === 0 && source.frames === job.facts.video.frames
      ? { ...source, frames }
      : source;
  const failure =
    classifyMake({ ...made, frames, source: judged }, subjectOf(job)) ??
    (await decodedFailure(job, sourceSeen));
  if (failure !== null) throw new JobFailure(failure);
  return made;
}

async function decodedAlone(
  job: JobRun['job'],
  { tools, threads, signal }: JobRun['context'],
): ReturnType<typeof decodeWhole> {
  const input = await openClip(job.rollFolder, job.clip.place, job.facts);
  try {
    return await decodeWhole(input, tools, { threads, signal });
  } finally {
    await input.dispose();
  }
}

/** As many frames as were wanted, at their own times in the clip, and as many packets of each deliverable. */
function proved(
  { seen, segment, movies }: CutOut,
  { packets }: MadeSegment,
  fingerprints: SourceFingerprints | null,
): SourceFingerprints {
  const failure = fingerprintFailure(seen, fingerprints);
  if (failure !== null || fingerprints === null)
    throw new JobFailure(failure ?? { findings: [], retryable: true });
  for (const [index, { profile }] of movies.entries()) {
    const count = pictureOf(packets[index]).length / PACKET_BYTES;
    if (count === segment.frames) continue;
    throw new JobFailure({
      findings: [
        finding('segment-differs', `${count} packets left its encoder`, `${segment.frames}, one a frame`, {
          ...subjectOf(seen),
          profile: profile.name,
        }),
      ],
      retryable: true,
    });
  }
  return fingerprints;
}

interface Written {
  readonly job: SegmentJob;
  readonly out: CutOut;
  readonly outputs: readonly StagedMovie[];
  readonly made: MadeSegment;
  readonly fingerprints: SourceFingerprints;
  /** By output. */
  readonly seen: readonly SeenPictures[];
  readonly seconds: SegmentRecord['seconds'];
  readonly staged: string;
}

/** The movie of a segment as the checker decodes it from disk. Throws JobFailure where its packets are not those that left the encoder. */
async function seenOf(
  { job, context }: JobRun,
  { segment }: CutOut,
  made: MadeSegment,
  { deliverable, staged, index }: StagedMovie & { readonly index: number },
): Promise<SeenPictures> {
  const sketch = made.sketches[index] ?? null;
  const seen = await seePictures(staged, { ...context, outcome: deliverable.outcome, sketch });
  const differs = (found: string, expected: string): JobFailure =>
    new JobFailure({
      findings: [
        finding('segment-differs', found, expected, {
          ...subjectOf(job),
          profile: deliverable.profile.name,
        }),
      ],
      retryable: true,
    });
  if (seen === null) throw differs('its movie could not be decoded', `${segment.frames} frames`);
  const packets = pictureOf(made.packets[index]);
  const there = pictureOf(seen.packets);
  if (!there.equals(packets))
    throw differs(
      `${there.length / PACKET_BYTES} packets on disk, not those that left its encoder`,
      `${packets.length / PACKET_BYTES} packets`,
    );
  return seen;
}

/** Everything in the folder, synced; its record last. */
async function written({
  job,
  out,
  outputs,
  made,
  fingerprints,
  seen,
  seconds,
  staged,
}: Written): Promise<SegmentRecord> {
  await writeFileIn(staged, FINGERPRINTS, (await fingerprintFile(fingerprints, PACKED)).bytes);
  const deliverables: SegmentRecord['deliverables'] = [];
  const names = [FINGERPRINTS];
  for (const [index, { deliverable, staged: movie }] of outputs.entries()) {
    const { name } = deliverable.profile;
    const sketch = made.sketches[index] ?? null;
    const sketchName = sketch === null ? null : `${name}.sketch`;
    if (sketch !== null && sketchName !== null)
      await writeFileIn(staged, sketchName, (await sketchFile(sketch, PACKED)).bytes);
    const movieName = movie.slice(staged.length + 1);
    await syncFile(movie);
    names.push(movieName, ...(sketchName === null ? [] : [sketchName]));
    deliverables.push({
      profile: name,
      movie: movieName,
      sketch: sketchName,
      packets: pictureOf(made.packets[index]).toString('hex'),
      encoderInput: encoderInputVerdictSchema.nullable().parse(made.encoderInputs[index] ?? null),
      text: textVerdictSchema.nullable().parse(made.texts[index] ?? null),
      bars: (made.bars[index] ?? []).map((frames) => hashesIn(frames)),
      command: [made.run.command, ...made.run.args],
      seen: await writtenSeen({ staged, name, sketch, names }, seen[index] as SeenPictures),
    });
  }
  const files: SegmentRecord['files'] = {};
  for (const name of names) {
    const { bytes, sha256 } = await digestOfFile(join(staged, name));
    files[name] = { bytes, sha256 };
  }
  const work = workOfSegments(job);
  const record: SegmentRecord = {
    version: 0,
    key: segmentsKey(work),
    index: job.segment,
    of: job.segments,
    start: out.segment.start,
    frames: out.segment.frames,
    around: out.around,
    files,
    taken: pictureOf(made.taken).toString('hex'),
    deliverables,
    fingerprints: FINGERPRINTS,
    seconds,
    machine: machineId().id,
    toolchain: job.toolchain,
  };
  await writeFileIn(staged, recordPath(''), segmentRecordBytes(record));
  await syncFolder(staged);
  return record;
}

interface SeenPlace {
  readonly staged: string;
  readonly name: string;
  readonly sketch: ErrorSketch | null;
  /** Of all files so far; those that are written are added. */
  readonly names: string[];
}

async function writtenSeen(
  { staged, name, sketch, names }: SeenPlace,
  { decode, picture, exact, sketch: values, quantisers, text }: SeenPictures,
): Promise<SegmentRecord['deliverables'][number]['seen']> {
  const pictures = `${name}.seen`;
  const counted = Float64Array.from({ length: picture.frames }, (_, frame) => frame);
  const file = await fingerprintFile(
    {
      picture,
      times: { timeBase: ratio(1, 1), ticks: counted },
      audioTracks: [],
      exact: { pixelFormat: '', pictures: exact, audioTracks: [] },
    },
    PACKED,
  );
  await writeFileIn(staged, pictures, file.bytes);
  names.push(pictures);
  const isSketched = sketch !== null && values !== null;
  const sketchName = isSketched ? `${name}.seen-sketch` : null;
  if (isSketched && sketchName !== null) {
    await writeFileIn(
      staged,
      sketchName,
      (await sketchFile({ ...sketch, frames: values.length / sketchNumbers(sketch), values }, PACKED)).bytes,
    );
    names.push(sketchName);
  }
  return {
    pictures,
    sketch: sketchName,
    decode: { ...decode, errors: [...decode.errors] },
    quantisers:
      quantisers === null ? null : { mean: [...quantisers.mean], greatest: [...quantisers.greatest] },
    text: fileTextVerdictSchema.nullable().parse(text),
  };
}

/** SHA-256, 32 bytes each. */
function hashesIn(frames: Buffer): string[] {
  const all: string[] = [];
  for (let at = 0; at < frames.length; at += 32) all.push(frames.subarray(at, at + 32).toString('hex'));
  return all;
}

async function writeFileIn(folder: string, name: string, bytes: Buffer): Promise<void> {
  // Below a mount point whose volume is gone nothing is made.
  await stat(fsPath(folder));
  const handle = await open(fsPath(join(folder, name)), 'wx');
  try {
    await handle.writeFile(bytes);
    await handle.sync();
  } finally {
    await handle.close();
  }
}
