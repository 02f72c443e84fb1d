/** Sound rolls of a day beside the clips of all its other rolls, once these are known. */
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import { hearTogether } from '../survey/hear-together.ts';
import { type ClipOfDay, matchFindings, matchRecordings } from '../survey/recordings.ts';
import { addFindings, type KnownRoll, type RollContext } from './know.ts';

export const isSoundRoll = ({ recordings }: KnownRoll): boolean => recordings.length > 0;

/** `rolls`: all of the day, as far as they are known. Throws the signal's reason. */
export async function layBesideClips(
  known: KnownRoll,
  rolls: readonly KnownRoll[],
  context: Pick<RollContext, 'tools' | 'signal'> & { readonly notAsked: readonly string[] },
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
      const entry = of?.clips.find(({ clip }) => clip.id === one.clip);
      beside.push(
        of === undefined || entry === undefined
          ? one
          : {
              ...one,
              ...(await hearTogether({
                ...{ recording, beside: one, folder: known.roll.folder, ...context },
                clip: { rollFolder: of.roll.folder, clip: entry.clip, facts: entry.facts },
              })),
            },
      );
    }
    heard.push({ ...recording, clips: beside });
  }
  known.recordings = heard;
  addFindings(known, matchFindings(heard, clips, unread));
}
