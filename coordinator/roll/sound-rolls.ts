/** Sound rolls of a day beside the clips of all its other rolls, once these are known. */
import { matchFindings, matchRecordings } from '../survey/recordings.ts';
import { addFindings, type KnownRoll } from './know.ts';

export const isSoundRoll = ({ recordings }: KnownRoll): boolean => recordings.length > 0;

/** `rolls`: all of the day, as far as they are known. */
export function layBesideClips(known: KnownRoll, rolls: readonly KnownRoll[]): void {
  const clips = rolls.flatMap((one) =>
    one.clips.map(({ clip, facts }) => ({ roll: one.roll.name, clip: clip.id, facts })),
  );
  const unread = rolls.filter((one) => !one.isSurveyed).map((one) => one.roll.name);
  known.recordings = matchRecordings(known.recordings, clips);
  addFindings(known, matchFindings(known.recordings, clips, unread));
}
