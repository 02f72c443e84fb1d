/** What `--pull` asks for, read before anything else is done: the cut, whose form must be whole, and the profiles, which must make frames. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { basename, extname } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { printable } from '../../files/names.ts';
import { FindingError, finding } from '../../findings/finding.ts';
import type { Cut } from '../../handover/cut/form.ts';
import { readCut } from '../../handover/cut/read.ts';
import { formatRatio, type Rate } from '../../media/time/rate.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { isMaster } from '../../profiles/schema.ts';
import type { NightFolders } from '../roll/folders.ts';

export const DEFAULT_HANDLES = 24;
/** Of a pull when nobody names another. */
const DEFAULT_PULL_PROFILE = 'grading-master-exr';

export interface PullOptions {
  readonly pull?: string;
  readonly handles?: number;
  readonly cutRate?: Rate;
  readonly profile?: readonly string[];
  readonly roll?: readonly string[];
}

export interface PullOrder {
  /** As it was given, for people. */
  readonly file: string;
  readonly bytes: Buffer;
  readonly sha256: string;
  readonly cut: Cut;
  readonly handles: number;
  readonly rate: Rate | null;
  /** How the shoot day is called. */
  readonly day: string;
}

/** null: no pull is asked for. Throws FindingError (2) for a cut that cannot be read, and for options that are no use. */
export async function pullOrder(
  options: PullOptions,
  folders: Pick<NightFolders, 'dayName'>,
): Promise<PullOrder | null> {
  const { pull: file, handles = DEFAULT_HANDLES, cutRate: rate = null } = options;
  if (file === undefined) {
    const alone =
      options.handles !== undefined ? '--handles' : options.cutRate !== undefined ? '--cut-rate' : null;
    if (alone === null) return null;
    throw new FindingError([finding('usage-wrong', `${alone} without --pull`, '--pull with a cut')], 2);
  }
  const bytes = await bytesOf(file);
  const cut = readCut(bytes);
  if (cut.faults.length > 0)
    throw new FindingError(
      cut.faults.map(({ line, found, expected }) =>
        finding('cut-unreadable', `${line === null ? '' : `line ${line}: `}${printable(found)}`, expected, {
          file,
        }),
      ),
      2,
    );
  await mustMakeFrames(profilesOf(options));
  return {
    file,
    bytes,
    sha256: createHash('sha256').update(bytes).digest('hex'),
    cut,
    handles,
    rate,
    day: folders.dayName,
  };
}

/** Named, else that of a pull. */
export const profilesOf = ({ pull, profile = [] }: PullOptions): readonly string[] =>
  pull !== undefined && profile.length === 0 ? [DEFAULT_PULL_PROFILE] : profile;

async function bytesOf(file: string): Promise<Buffer> {
  try {
    return await readFile(file);
  } catch (error) {
    if (codeOf(error) === '') throw error;
    throw new FindingError(
      [finding('cut-unreadable', codeOf(error), 'a file that can be read', { file })],
      2,
    );
  }
}

async function mustMakeFrames(wanted: readonly string[]): Promise<void> {
  const { profiles, findings } = await loadProfiles({ wanted });
  const others = profiles.filter(({ profile }) => !isMaster(profile) || profile.format === 'rdd36');
  const all = [
    ...findings,
    ...others.map(({ profile: { name } }) =>
      finding('pull-profile', `${name}, which makes a movie`, 'a profile that makes a folder of frames', {
        profile: name,
      }),
    ),
  ];
  if (all.length > 0) throw new FindingError(all, 2);
}

const LONGEST_STEM = 40;

/**
 * The day of the delivery that a pull is: named by the shoot day and the cut, and by all that its frames follow from. So another cut, other handles or other rolls
 * are another folder; and the same pull again goes on where it was.
 */
export function pullDayName(
  { file, sha256, handles, rate, day }: PullOrder,
  rolls: readonly string[],
): string {
  const stem = basename(file, extname(file))
    .replace(/[^A-Za-z0-9_-]+/g, '-')
    .slice(0, LONGEST_STEM);
  const asked = JSON.stringify([
    sha256,
    handles,
    rate === null ? null : formatRatio(rate),
    [...rolls].sort(),
  ]);
  const digest = createHash('sha256').update(asked).digest('hex').slice(0, 8);
  return `${day}.pull-${stem}-${digest}`;
}

/** The folders of a pull: as those of the day, but for the name that it has in the delivery. */
export const pullFolders = (
  folders: NightFolders,
  order: PullOrder,
  rolls: readonly string[],
): NightFolders => ({
  ...folders,
  dayName: pullDayName(order, rolls),
  shootDay: folders.dayName,
});
