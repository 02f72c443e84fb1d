/** What is written against what is free. A roll is planned whole or not at all: half a roll is no use to anybody. */
import { type Finding, finding } from '../../findings/finding.ts';
import { isMasterWork, type Job } from '../../ledger/job.ts';
import { withMargin } from './margin.ts';
import type { VolumePlan, VolumeToPlan } from './types.ts';

/** A report is a few kilobytes; a clip has one of its own and one for every deliverable. */
const REPORT_BYTES = 16 * 1024;
/** A table of 65536 places is at most this as text; larger ones come of files of the user's own. */
const CLF_BYTES = 2 * 1024 * 1024;
/** roll.json, and the folders: of the roll, of its reports, of its deliverables' reports. */
const FILES_A_ROLL = 4;

export interface Need {
  readonly bytes: number;
  readonly files: number;
}

/** Of the jobs of one roll: `deliverables` in `profiles` folders, from `clips`. */
export function needOf(
  jobs: readonly {
    bytes: number;
    segments?: number;
    lying?: { readonly bytes: number } | null;
    job: Pick<Job, 'deliverables'>;
  }[],
  profiles: number,
): Need {
  if (jobs.length === 0) return { bytes: 0, files: 0 };
  const deliverables = jobs.reduce((sum, { job }) => sum + job.deliverables.length, 0);
  // A master is a folder of its own with a file for each frame.
  const frames = jobs.reduce(
    (sum, { job }) =>
      sum + job.deliverables.filter(isMasterWork).reduce((files, { outcome }) => files + outcome.frames, 0),
    0,
  );
  const amfs = jobs.flatMap(({ job }) =>
    job.deliverables.filter(isMasterWork).map(({ outcome }) => outcome.amf),
  );
  const clfs = amfs.filter(({ clf }) => clf !== null).length;
  const reports = deliverables + jobs.length;
  return {
    bytes:
      // What is cut lies there twice until it is joined; of its segments some may lie there already.
      jobs.reduce(
        (sum, { bytes, segments = 1, lying }) => sum + bytes + (segments > 1 ? unmadeBytes(bytes, lying) : 0),
        0,
      ) +
      (reports + amfs.length + 1) * REPORT_BYTES +
      clfs * CLF_BYTES,
    files: deliverables + frames + amfs.length + clfs + reports + profiles + FILES_A_ROLL,
  };
}

/** Of the segments of a job those that are not made yet. */
export const unmadeBytes = (bytes: number, lying: { readonly bytes: number } | null | undefined): number =>
  Math.max(0, bytes - (lying?.bytes ?? 0));

export class Room {
  readonly #volumes: Map<string, { readonly given: VolumeToPlan; bytes: number; files: number }>;

  constructor(volumes: readonly VolumeToPlan[]) {
    this.#volumes = new Map(volumes.map((given) => [given.name, { given, bytes: 0, files: 0 }]));
  }

  /** Takes the room, or says why it is not there and takes nothing. Throws RangeError for a volume that was not given. */
  take(volume: string, roll: string, need: Need): Finding | null {
    const taken = this.#volumes.get(volume);
    if (taken === undefined)
      throw new RangeError(`roll ${roll} is delivered to a volume that the planner does not know: ${volume}`);
    const { freeBytes, freeFiles } = taken.given;
    const bytes = withMargin(taken.bytes + need.bytes);
    const files = withMargin(taken.files + need.files);
    if (freeBytes !== null && bytes > freeBytes) {
      return finding(
        'target-short',
        `${freeBytes} bytes free on ${volume}, of which ${withMargin(taken.bytes)} are planned for other rolls`,
        `${withMargin(need.bytes)} bytes more, an estimate with a tenth to spare`,
        { roll },
      );
    }
    if (freeFiles !== null && files > freeFiles) {
      return finding(
        'target-short',
        `room for ${freeFiles} files on ${volume}, of which ${withMargin(taken.files)} are planned for other rolls`,
        `room for ${withMargin(need.files)} files more`,
        { roll },
      );
    }
    taken.bytes += need.bytes;
    taken.files += need.files;
    return null;
  }

  get volumes(): VolumePlan[] {
    return [...this.#volumes.values()].map(({ given, bytes, files }) => ({ ...given, bytes, files }));
  }
}
