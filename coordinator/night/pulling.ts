/** A pull in a run: the cut is followed once all rolls are surveyed, and written down before anything is made. */
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { FindingError } from '../../findings/finding.ts';
import { PULL_RECORD } from '../../handover/layout.ts';
import { linkOnTheWay } from '../../handover/write-day.ts';
import { layout } from '../../ledger/layout.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import type { PullOrder } from '../pull/order.ts';
import { type Followed, followCut, takeStretches } from '../pull/pulling.ts';
import { writePull } from '../pull/record.ts';
import type { KnownRoll } from '../roll/know.ts';
import { pullText } from '../show/pull-text.ts';
import type { Making } from './making.ts';
import type { NightRequest, PullSummary } from './request.ts';
import type { NightContext } from './roll.ts';
import type { RunState } from './run-state.ts';
import type { Surveys } from './surveys.ts';
import { failureOf } from './target.ts';

interface PullNeeds {
  readonly run: RunState;
  readonly surveys: Surveys;
  readonly making: Making;
  readonly say: (line: string) => void;
}

/** null: it is no pull. The cut is followed once, and what came of it is written down before anything is made. */
export function pullTaker(
  { pull: order, folders }: NightRequest,
  profiles: readonly LoadedProfile[],
  known: readonly KnownRoll[],
  { run, surveys, making, say }: PullNeeds,
): {
  readonly take: NonNullable<NightContext['takePull']>;
  readonly summary: () => PullSummary | null;
} | null {
  if (order == null) return null;
  const [first] = profiles;
  if (first === undefined) throw new RangeError('a pull in no profile');
  let summary: PullSummary | null = null;
  const follow = async (): Promise<Followed> => {
    await surveys.ended;
    run.signal.throwIfAborted();
    const followed = followCut(order, known, first.profile);
    const text = pullText(order, followed);
    say(text);
    for (const item of followed.findings) run.note(item);
    await writePullOf(folders, followed, order, making.target);
    const record = join(layout.dayFolder(folders.delivery, folders.dayName), PULL_RECORD);
    summary = { text, record, ranges: followed.ranges };
    return followed;
  };
  let followed: Promise<Followed> | undefined;
  return {
    take: async (roll) => takeStretches(roll, await (followed ??= follow()), order.day),
    summary: () => summary,
  };
}

/** Throws FindingError when the delivery does not take it. */
async function writePullOf(
  folders: NightRequest['folders'],
  { record }: Followed,
  { bytes }: PullOrder,
  target: NightContext['target'],
): Promise<void> {
  const gone = await target.gone();
  if (gone !== null) throw new FindingError([gone], 1);
  const dayFolder = layout.dayFolder(folders.delivery, folders.dayName);
  const link = await linkOnTheWay(dayFolder);
  if (link !== null) throw new FindingError([link], 1);
  try {
    await writePull(dayFolder, record, bytes);
  } catch (error) {
    if (codeOf(error) === '') throw error;
    throw new FindingError([failureOf(error, dayFolder)], 1);
  }
}
