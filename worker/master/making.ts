/** The masters of a job: the mill that takes its frames, the encoders that it feeds, and the evidence that they are proved by. */
import { join } from 'node:path';
import { type Written, writtenDigest } from '../../check/master/compare.ts';
import { checkFed, type FedReport } from '../../check/master/fed.ts';
import { type Light, lightOf } from '../../check/master/light.ts';
import { finding } from '../../findings/finding.ts';
import type { Job, MasterWork } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { writeWhole } from '../../ledger/store.ts';
import { readTransform } from '../../ledger/transform.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { PictureTrail } from '../../proof/form.ts';
import { pointFile } from '../../proof/point-file.ts';
import type { PointTrail } from '../../proof/points.ts';
import type { WayToLight } from '../../profiles/master/way.ts';
import { subjectOf } from '../claim.ts';
import type { Trouble } from '../classify.ts';
import { makeFolder } from '../target.ts';
import { type Encoded, type MasterEncoder, type StagedMovieMaster, startEncoder } from './encoder.ts';
import { type MilledFeed, type Mill, startMill } from './mill.ts';
import { spotFrames, spotPixels } from './spot-pixels.ts';
import { spotsOf } from './spots.ts';

export interface StagedMaster {
  readonly deliverable: MasterWork;
  /** Absolute; a folder, made here. */
  readonly staged: string;
}

/** Masters that go one way to light. */
export interface MasterGroup {
  readonly folders: readonly StagedMaster[];
  readonly movies: readonly StagedMovieMaster[];
}

export interface MasterEvidence {
  readonly points: PointTrail;
  readonly light: Light;
  /** By folder. */
  readonly written: readonly Written[];
  /** Of what the encoders were fed with; null: there are none. */
  readonly fed: { readonly picture: PictureTrail; readonly report: FedReport } | null;
  /** By movie. */
  readonly encoded: readonly Encoded[];
  /** Writes the point trail's file, once, and says where it stands. */
  file(): Promise<NonNullable<DeliverableReport['trail']>>;
}

export interface MasterMaking {
  readonly mill: Mill;
  /** Once the mill has taken every frame. Throws what it threw, and the signal's reason. */
  prove(tools: Pick<MediaTools, 'ffmpeg'>, signal: AbortSignal): Promise<MasterEvidence | Trouble>;
  close(): Promise<void>;
}

export interface MakingContext {
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
}

/** Name of the source, as the headers have it. */
export const sourceName = ({ clip }: Pick<Job, 'clip'>): string => clip.name;

export async function startMasters(
  job: Job,
  { folders, movies }: MasterGroup,
  context: MakingContext,
  onFrames: (frames: number) => void,
): Promise<MasterMaking> {
  const { facts, clip } = job;
  const outcome = (folders[0] ?? movies[0])?.deliverable.outcome;
  if (outcome === undefined) throw new RangeError('a mill without a master');
  const { way, width, height, frames } = outcome;
  const transform = await readTransform(job.deliveryFolder, way);
  for (const { staged } of folders) await makeFolder(job.deliveryFolder, staged);
  const raw =
    facts.raw !== undefined && clip.place.kind === 'sequence'
      ? {
          rollFolder: job.rollFolder,
          place: clip.place,
          picture: facts.raw.picture,
          decoder: facts.raw.decoder,
        }
      : null;
  const outputs = folders.map(({ deliverable, staged }) => ({
    outcome: deliverable.outcome,
    folder: staged,
  }));
  const feed = movies.length === 0 ? null : { spots: spotFrames(clip.contentDigest, frames) };
  const encoders: MasterEncoder[] = [];
  const mill = startMill(
    { way, width, height, outputs, feed, transform, raw, source: sourceName(job) },
    context.threads,
    onFrames,
    async (picture) => void (await Promise.all(encoders.map((encoder) => encoder.take(picture)))),
  );
  const close = async (): Promise<void> => {
    await mill.close();
    await Promise.all(encoders.map((encoder) => encoder.stop()));
  };
  try {
    for (const output of movies) encoders.push(await startEncoder({ job, output, ...context }));
  } catch (error) {
    await close();
    throw error;
  }
  return {
    mill,
    close,
    async prove(tools, signal) {
      const encoded = await Promise.all(encoders.map((encoder) => encoder.end()));
      signal.throwIfAborted();
      const { values, written, fed, invalid } = mill.milled();
      const subject = subjectOf(job);
      if (mill.frames !== frames)
        return {
          findings: [finding('frame-develop-failed', `${mill.frames} frames`, `${frames} frames`, subject)],
          again: true,
        };
      if (invalid > 0)
        return {
          findings: [
            finding('master-not-finite', `${invalid} values that are no numbers`, 'numbers', subject),
          ],
          again: true,
        };
      // Demosaic and highlights are the profile's: what one way says of light is not said of the other.
      const light = lightOf(way, transform);
      const points: PointTrail = {
        frames,
        width,
        height,
        values,
        spots: await spotsOf(job, outcome, light, values, tools, signal),
      };
      let file: Promise<NonNullable<DeliverableReport['trail']>> | undefined;
      const write = async (): Promise<NonNullable<DeliverableReport['trail']>> => {
        const { bytes, digest } = await pointFile(points);
        const path = layout.points(clip.id, digest);
        await makeFolder(job.deliveryFolder, join(layout.reportsFolder(job.deliveryFolder), 'trails'));
        await writeWhole(join(job.deliveryFolder, path), bytes);
        return { path, sha256: digest };
      };
      return {
        points,
        light,
        written: written.map((files) => {
          const hashes = files.map(({ xxh128 }) => xxh128);
          return { digest: writtenDigest(hashes), frames: hashes };
        }),
        fed:
          fed === null
            ? null
            : { picture: fed.picture, report: checkFed(codesOf(fed, width, height), points, light, subject) },
        encoded,
        file: () => (file ??= write()),
      };
    },
  };
}

function codesOf(
  { points, spots }: MilledFeed,
  width: number,
  height: number,
): Parameters<typeof checkFed>[0] {
  const pixels = spotPixels(width, height);
  return { points, spots: spots.map((spot) => ({ ...spot, pixels })) };
}

/** Masters that go the same way to light share a mill; those that do not are made one way after the other. */
export function byWay(folders: readonly StagedMaster[], movies: readonly StagedMovieMaster[]): MasterGroup[] {
  const groups = new Map<string, { folders: StagedMaster[]; movies: StagedMovieMaster[] }>();
  const groupOf = (way: WayToLight): { folders: StagedMaster[]; movies: StagedMovieMaster[] } => {
    const key = JSON.stringify(way);
    const group = groups.get(key) ?? { folders: [], movies: [] };
    groups.set(key, group);
    return group;
  };
  for (const output of folders) groupOf(output.deliverable.outcome.way).folders.push(output);
  for (const output of movies) groupOf(output.deliverable.outcome.way).movies.push(output);
  return [...groups.values()];
}
