/** Sound rolls of a day beside the clips of all its other rolls, once these are known. */
import { isSystemPath } from '../../files/system-files.ts';
import { walkFolder } from '../../files/walk.ts';
import { codeOf } from '../../files/error-code.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import { isMediaName } from '../intake/discover.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import { type ClipOfDay, matchFindings, matchRecordings } from '../survey/recordings.ts';
import { isSoundFile } from '../survey/sound.ts';
import { besideAsHeard } from './heard-together.ts';
import { addFindings, type KnownRoll, type RollContext } from './know.ts';

export const isSoundRoll = ({ recordings }: KnownRoll): boolean => recordings.length > 0;

/** Whether a roll may be a sound roll, by the names of its files: known before anything of it is read. */
export async function mayBeSoundRoll({ folder }: DiscoveredRoll, signal: AbortSignal): Promise<boolean> {
  try {
    const { files } = await walkFolder(folder, { signal });
    const named = files.filter(({ path }) => !isSystemPath(path));
    return named.some(({ path }) => isSoundFile(path)) && !named.some(({ path }) => isMediaName(path));
  } catch (error) {
    signal.throwIfAborted();
    if (codeOf(error) === '') throw error;
    // What cannot be listed may be anything.
    return true;
  }
}

/** `rolls`: all of the day, as far as they are known. Throws the signal's reason. */
export async function layBesideClips(
  known: KnownRoll,
  rolls: readonly KnownRoll[],
  context: Pick<RollContext, 'tools' | 'signal' | 'heardTogether'> & { readonly notAsked: readonly string[] },
): Promise<void> {
  const clips = rolls.flatMap((one) =>
    one.clips.map(({ clip, facts }): ClipOfDay => ({ roll: one.roll.name, clip: clip.id, facts })),
  );
  const unread = [...rolls.filter((one) => !one.isSurveyed).map((one) => one.roll.name), ...context.notAsked];
  const heard: Recording[] = [];
  for (const recording of matchRecordings(known.recordings, clips)) {
    const beside: ClipBeside[] = [];
    for (const one of recording.clips) {
      context.signal.throwIfAborted();
      const of = rolls.find(({ roll }) => roll.name === one.roll);
      beside.push(
        of === undefined ? one : await besideAsHeard({ sound: known, recording, beside: one, of }, context),
      );
    }
    heard.push({ ...recording, clips: beside });
  }
  known.recordings = heard;
  addFindings(known, matchFindings(heard, clips, unread));
}
