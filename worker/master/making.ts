/** The masters of a job: the frame pool that takes its frames, the encoders that it feeds, and the evidence that they are proved by. */
import { join } from 'node:path';
import { type Written, writtenDigest } from '../../check/master/compare.ts';
import { checkEncoderInput, type EncoderInputCodes } from '../../check/master/encoder-input.ts';
import type { WhileMadeReport } from '../../check/while-made.ts';
import { checkReading, comparesReading, withReading } from '../../check/master/reading.ts';
import { sketchKindOf } from '../../check/master/whole-frames.ts';
import { type ToSceneLinear, sceneLinearOf } from '../../check/master/scene-linear.ts';
import { printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { Job, MasterWork } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { writeWhole } from '../../ledger/store.ts';
import { readTransform } from '../../ledger/transform.ts';
import { frameName } from '../../media/input.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { FrameFingerprints } from '../../proof/form.ts';
import { sampleFile } from '../../proof/pixel-sample-file.ts';
import type { ValuesSeen } from '../../proof/value-range.ts';
import type { PixelSamples, SketchKind } from '../../proof/pixel-samples.ts';
import { SKETCH_VALUES } from '../../proof/whole-frame-sketch.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import { subjectOf } from '../claim.ts';
import type { Failure } from '../classify.ts';
import type { MakingContext } from '../context.ts';
import { makeFolder } from '../target.ts';
import type { StagedMovie } from '../recipe-run.ts';
import type { ShownDeveloped } from '../../profiles/shown/schema.ts';
import type { FeedKind, FramePoolSetup } from './orders.ts';
import { type ShownMade, type ShownMaking, startShown } from './shown-movies.ts';
import { type Encoded, type MasterEncoder, type StagedMovieMaster, startEncoder } from './encoder.ts';
import {
  type CollectedEncoderInput,
  type Feed,
  type FramePool,
  type FrameResults,
  type SpecialChannel,
  startFramePool,
} from './frame-pool.ts';
import { ownReadingFindings } from './exr-spot.ts';
import { masterSpotFrames } from '../spot-frames.ts';
import { readingOf } from '../stretch.ts';
import { spotPixels } from './spot-pixels.ts';
import { spotsOf } from './spots.ts';

export interface StagedMaster {
  readonly deliverable: MasterWork;
  /** Absolute; a folder, made here. */
  readonly staged: string;
}

/** Masters that go one linearisation. */
export interface MasterGroup {
  readonly folders: readonly StagedMaster[];
  readonly movies: readonly StagedMovieMaster[];
  /** No masters: movies whose pictures are developed the same way, to be looked at. */
  readonly shown: readonly StagedMovie[];
}

export interface MasterEvidence {
  readonly points: PixelSamples;
  readonly sceneLinear: ToSceneLinear;
  /** By folder. */
  readonly written: readonly Written[];
  /** What was counted of the values, by folder. */
  readonly seen: readonly ValuesSeen[];
  /** Of what the encoders were fed with; null: there are none. */
  readonly encoderInput:
    | ({
        readonly picture: FrameFingerprints;
        readonly report: WhileMadeReport;
        readonly seen: ValuesSeen;
      } & Pick<CollectedEncoderInput, 'whole' | 'sha256'>)
    | null;
  /** By movie. */
  readonly encoded: readonly Encoded[];
  /** Of developed pictures that are shown; null: there are none. */
  readonly shown: {
    readonly made: ShownMade;
    readonly report: WhileMadeReport;
    readonly sha256: readonly string[];
    readonly whole: CollectedEncoderInput['whole'];
    readonly seen: ValuesSeen;
  } | null;
  /** Writes the file of the pixel samples, once, and says where it stands. */
  file(): Promise<NonNullable<DeliverableReport['fingerprints']>>;
}

export interface Proving {
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  /** Fingerprints of the decoder that the frames came from; null: they came another way. */
  readonly decoded: FrameFingerprints | null;
  readonly signal: AbortSignal;
}

export interface MasterMaking {
  readonly framePool: FramePool;
  /** Once the frame pool has taken every frame. Throws what it threw, and the signal's reason. */
  prove(proving: Proving): Promise<MasterEvidence | Failure>;
  close(): Promise<void>;
}

/** Frames that the threads read themselves: of raw clips, and of such as our own code reads; null: others hand them over. */
export function ownReading({
  facts,
  clip: { place },
  rollFolder,
}: Pick<Job, 'facts' | 'clip' | 'rollFolder'>): Pick<FramePoolSetup, 'raw' | 'files'> {
  if (place.kind !== 'sequence') return { raw: null, files: null };
  const { raw, exr } = facts;
  return {
    raw: raw === undefined ? null : { rollFolder, place, picture: raw.picture, decoder: raw.decoder },
    files: exr?.reader === 'own' ? { rollFolder, place } : null,
  };
}

export async function startMasters(
  wholeJob: Job,
  group: MasterGroup,
  context: MakingContext,
  onFrames: (frames: number) => void,
): Promise<MasterMaking> {
  const job = readingOf(wholeJob);
  const { clip } = job;
  const { folders, movies, shown } = group;
  const developed = developedOf(group);
  const { linearisation, width, height, frames } = developed;
  const transform = await readTransform(job.deliveryFolder, linearisation);
  for (const { staged } of folders) await makeFolder(job.deliveryFolder, staged);
  const { raw, files } = ownReading(job);
  const outputs = folders.map(({ deliverable, staged }) => ({
    outcome: deliverable.outcome,
    folder: staged,
  }));
  const spots = masterSpotFrames(job, frames);
  const feeds: FramePoolSetup['feeds'][number][] = [
    ...(movies.length === 0 ? [] : [{ kind: 'yuv10', spots } as const]),
    ...(shown.length === 0 ? [] : [{ kind: 'rgb14', spots } as const]),
  ];
  const encoders: MasterEncoder[] = [];
  let showing: ShownMaking | null = null;
  const fed: Readonly<Record<FeedKind, Feed>> = {
    yuv10: async (picture) => void (await Promise.all(encoders.map((encoder) => encoder.take(picture)))),
    rgb14: async (picture) => showing?.take(picture),
  };
  const framePool = startFramePool(
    {
      linearisation,
      width,
      height,
      outputs,
      feeds,
      compareReading: comparesReading({ linearisation, width, height }),
      transform,
      raw,
      files,
    },
    context.threads,
    onFrames,
    feeds.map(({ kind }) => fed[kind]),
  );
  const close = async (): Promise<void> => {
    await framePool.close();
    await Promise.all([...encoders.map((encoder) => encoder.stop()), showing?.stop()]);
  };
  try {
    for (const output of movies) encoders.push(await startEncoder({ job, output, ...context }));
    if (shown.length > 0) showing = await startShown(job, shown, { width, height }, context);
  } catch (error) {
    await close();
    throw error;
  }
  return {
    framePool,
    close,
    async prove({ tools, decoded, signal }) {
      const [encoded, made] = await Promise.all([
        Promise.all(encoders.map((encoder) => encoder.end())),
        showing === null ? null : showing.end(),
      ]);
      signal.throwIfAborted();
      const { values, written, encoderInputs, read, invalid, special, ranges } = framePool.results();
      const inputOf = (wanted: FeedKind): CollectedEncoderInput | null =>
        encoderInputs[feeds.findIndex(({ kind }) => kind === wanted)] ?? null;
      const encoderInput = inputOf('yuv10');
      const toShow = inputOf('rgb14');
      const subject = subjectOf(job);
      if (framePool.frames !== frames)
        return {
          findings: [
            finding('frame-develop-failed', `${framePool.frames} frames`, `${frames} frames`, subject),
          ],
          retryable: true,
        };
      if (special.length > 0) return { findings: [specialFinding(special, job)], retryable: false };
      if (invalid > 0)
        return {
          findings: [
            finding('master-not-finite', `${invalid} values that are not numbers`, 'numbers', subject),
          ],
          retryable: true,
        };
      if (linearisation.kind === 'coded' && linearisation.reader === 'own') {
        const findings = await ownReadingFindings(job, { width, height }, values, signal);
        if (findings.length > 0) return { findings, retryable: true };
      }
      // Demosaic and highlights are the profile's: what one way says of light is not said of the other.
      const sceneLinear = sceneLinearOf(linearisation, transform);
      const points: PixelSamples = {
        frames,
        width,
        height,
        values,
        spots: await spotsOf({ job, outcome: developed, sceneLinear, values, tools, signal }),
        ...(read === null || decoded === null ? {} : { reading: { decoded, read } }),
        ...sketchesOf(written, folders),
      };
      let file: Promise<NonNullable<DeliverableReport['fingerprints']>> | undefined;
      const write = async (): Promise<NonNullable<DeliverableReport['fingerprints']>> => {
        const { bytes, digest } = await sampleFile(points);
        const path = layout.samples(clip.id, digest);
        await makeFolder(job.deliveryFolder, join(layout.reportsFolder(job.deliveryFolder), 'samples'));
        await writeWhole(join(job.deliveryFolder, path), bytes);
        return { path, sha256: digest };
      };
      return {
        points,
        sceneLinear,
        written: written.map((files) => {
          const hashes = files.map(({ xxh128 }) => xxh128);
          return { digest: writtenDigest(hashes), frames: hashes };
        }),
        seen: written.map((files) => ({ ranges, limited: files.map(({ limited }) => limited) })),
        encoderInput:
          encoderInput === null || encoderInput.picture === null
            ? null
            : {
                seen: { ranges, limited: encoderInput.limited },
                picture: encoderInput.picture,
                whole: encoderInput.whole,
                sha256: encoderInput.sha256,
                report: withReading(
                  checkEncoderInput(codesOf('rdd36', encoderInput, points), points, sceneLinear, subject),
                  checkReading({ linearisation, width, height }, points.reading, subject),
                ),
              },
        encoded,
        shown:
          made === null || toShow === null
            ? null
            : {
                made,
                sha256: toShow.sha256,
                whole: toShow.whole,
                seen: { ranges, limited: toShow.limited },
                report: withReading(
                  checkEncoderInput(codesOf('shown', toShow, points), points, sceneLinear, subject),
                  checkReading({ linearisation, width, height }, points.reading, subject),
                ),
              },
        file: () => (file ??= write()),
      };
    },
  };
}

/** Outputs of one kind of values were given the same ones. */
function sketchesOf(
  written: FrameResults['written'],
  folders: readonly StagedMaster[],
): Pick<PixelSamples, 'sketches'> {
  const sketches: Partial<Record<SketchKind, Int32Array>> = {};
  for (const [output, files] of written.entries()) {
    const kind = sketchKindOf(folders[output]?.deliverable.outcome);
    if (sketches[kind] !== undefined) continue;
    const all = new Int32Array(files.length * SKETCH_VALUES);
    for (const [frame, { sketch }] of files.entries()) all.set(sketch, frame * SKETCH_VALUES);
    sketches[kind] = all;
  }
  return written.length === 0 ? {} : { sketches };
}

/**
 * NaN and infinities of the source hold its master. They are not carried through: the transform mixes channels, so that one NaN would
 * become three, and filters of whatever comes after spread it over the picture. Nor is a value put in their place: then the master
 * would not be its source's, and only who made the frame knows what belongs there.
 */
function specialFinding(special: readonly SpecialChannel[], job: Job): Finding {
  const { place } = job.clip;
  const channels = special.map(({ channel, nans, infinities, firstFrame }) => {
    const counts = [
      ...(nans === 0 ? [] : [`${nans} NaN`]),
      ...(infinities === 0 ? [] : [`${infinities} infinite`]),
    ].join(' and ');
    const name =
      place.kind === 'sequence'
        ? printable(frameName(place, place.first + firstFrame))
        : `frame ${firstFrame + 1}`;
    return `${channel}: ${counts}, the first in ${name}`;
  });
  return finding('source-not-finite', channels.join('; '), 'finite values', subjectOf(job));
}

function codesOf(
  format: EncoderInputCodes['format'],
  { points, spots }: CollectedEncoderInput,
  { width, height }: PixelSamples,
): EncoderInputCodes {
  const pixels = spotPixels(width, height);
  return { format, points, spots: spots.map((spot) => ({ ...spot, pixels })) };
}

/** Masters that go the same linearisation share a frame pool; those that do not are made one way after the other. */
export function byWay(
  folders: readonly StagedMaster[],
  movies: readonly StagedMovieMaster[],
  shown: readonly StagedMovie[],
): MasterGroup[] {
  interface Group {
    readonly folders: StagedMaster[];
    readonly movies: StagedMovieMaster[];
    readonly shown: StagedMovie[];
  }
  const groups = new Map<string, Group>();
  const groupOf = (linearisation: Linearisation): Group => {
    const key = JSON.stringify(linearisation);
    const group = groups.get(key) ?? { folders: [], movies: [], shown: [] };
    groups.set(key, group);
    return group;
  };
  for (const output of folders) groupOf(output.deliverable.outcome.linearisation).folders.push(output);
  for (const output of movies) groupOf(output.deliverable.outcome.linearisation).movies.push(output);
  for (const output of shown) groupOf(shownDeveloped(output).linearisation).shown.push(output);
  return [...groups.values()];
}

function shownDeveloped({ deliverable }: StagedMovie): ShownDeveloped {
  const { shown } = deliverable.outcome;
  if (shown?.from !== 'developed') throw new RangeError('a movie whose pictures are not developed');
  return shown;
}

/** What the frames of a group are: one linearisation, one size. */
export function developedOf({ folders, movies, shown }: MasterGroup): {
  readonly linearisation: Linearisation;
  readonly width: number;
  readonly height: number;
  readonly frames: number;
} {
  const master = (folders[0] ?? movies[0])?.deliverable.outcome;
  if (master !== undefined) return master;
  const [movie] = shown;
  if (movie === undefined) throw new RangeError('a frame pool that makes nothing');
  const { linearisation, size } = shownDeveloped(movie);
  return { linearisation, ...size, frames: movie.deliverable.outcome.frames };
}
