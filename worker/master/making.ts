/** The masters of a job: the mill that takes its frames, and the evidence that they are proved by. */
import { join } from 'node:path';
import { type Written, writtenDigest } from '../../check/master/compare.ts';
import { type Light, lightOf } from '../../check/master/light.ts';
import { finding } from '../../findings/finding.ts';
import type { Job, MasterWork } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { writeWhole } from '../../ledger/store.ts';
import { readTransform } from '../../ledger/transform.ts';
import type { MediaTools } from '../../media/tools/locate.ts';
import { type PointTrail, pointFile } from '../../media/trail/points.ts';
import { subjectOf } from '../claim.ts';
import type { Trouble } from '../classify.ts';
import { makeFolder } from '../target.ts';
import { type Mill, startMill } from './mill.ts';
import { spotsOf } from './spots.ts';

export interface StagedMaster {
  readonly deliverable: MasterWork;
  /** Absolute; a folder, made here. */
  readonly staged: string;
}

export interface MasterEvidence {
  readonly points: PointTrail;
  readonly light: Light;
  /** By output. */
  readonly written: readonly Written[];
  /** Writes the point trail's file, once, and says where it stands. */
  file(): Promise<NonNullable<DeliverableReport['trail']>>;
}

export interface MasterMaking {
  readonly mill: Mill;
  /** Throws what the mill threw, and the signal's reason. */
  prove(tools: Pick<MediaTools, 'ffmpeg'>, signal: AbortSignal): Promise<MasterEvidence | Trouble>;
  close(): Promise<void>;
}

/** Name of the source, as the headers have it. */
export const sourceName = ({ clip }: Pick<Job, 'clip'>): string => clip.name;

export async function startMasters(job: Job, outputs: readonly [StagedMaster, ...StagedMaster[]], threads: number, onFrames: (frames: number) => void): Promise<MasterMaking> {
  const { facts, clip } = job;
  const [{ deliverable: { outcome } }] = outputs;
  const transformText = outcome.way.kind === 'coded' ? await readTransform(job.deliveryFolder, outcome.way.input) : null;
  for (const { staged } of outputs) await makeFolder(job.deliveryFolder, staged);
  const raw = facts.raw !== undefined && clip.place.kind === 'sequence' ? { rollFolder: job.rollFolder, place: clip.place, picture: facts.raw.picture } : null;
  const setup = { outputs: outputs.map(({ deliverable, staged }) => ({ outcome: deliverable.outcome, folder: staged })), transformText, raw, source: sourceName(job) };
  const mill = startMill(setup, threads, onFrames);
  return {
    mill,
    close: () => mill.close(),
    async prove(tools, signal) {
      const { values, written, invalid } = mill.milled();
      const subject = subjectOf(job);
      if (mill.frames !== outcome.frames) return { findings: [finding('frame-develop-failed', `${mill.frames} frames`, `${outcome.frames} frames`, subject)], again: true };
      if (invalid > 0) return { findings: [finding('master-not-finite', `${invalid} values that are no numbers`, 'numbers', subject)], again: true };
      // Demosaic and highlights are the profile's: what one way says of light is not said of the other.
      const light = lightOf(outcome.way, transformText);
      const points: PointTrail = { frames: outcome.frames, width: outcome.width, height: outcome.height, values, spots: await spotsOf(job, outcome, light, tools, signal) };
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
          const frames = files.map(({ xxh128 }) => xxh128);
          return { digest: writtenDigest(frames), frames };
        }),
        file: () => (file ??= write()),
      };
    },
  };
}

/** Masters that go the same way to light share a mill; those that do not are made one way after the other. */
export function byWay(outputs: readonly StagedMaster[]): [StagedMaster, ...StagedMaster[]][] {
  const groups = new Map<string, [StagedMaster, ...StagedMaster[]]>();
  for (const output of outputs) {
    const key = JSON.stringify(output.deliverable.outcome.way);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [output]);
    else group.push(output);
  }
  return [...groups.values()];
}
