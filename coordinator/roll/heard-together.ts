/** What a clip and a recording of the day both heard, asked once whoever asks. */
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import { hearTogether } from '../survey/hear-together.ts';
import type { KnownRoll, RollContext } from './know.ts';

export type HeardTogether = Map<string, Promise<Pick<ClipBeside, 'heard' | 'whyNotHeard'>>>;

export interface Pair {
  /** The sound roll. */
  readonly sound: KnownRoll;
  readonly recording: Recording;
  readonly beside: ClipBeside;
  /** The roll of the clip. */
  readonly of: KnownRoll;
}

/** Throws the signal's reason. */
export async function besideAsHeard(
  { sound, recording, beside, of }: Pair,
  { tools, signal, heardTogether }: Pick<RollContext, 'tools' | 'signal' | 'heardTogether'>,
): Promise<ClipBeside> {
  const entry = of.clips.find(({ clip }) => clip.id === beside.clip);
  if (entry === undefined) return beside;
  const key = JSON.stringify([sound.roll.name, recording.files[0], of.roll.name, beside.clip]);
  const asked =
    heardTogether.get(key) ??
    hearTogether({
      clip: { rollFolder: of.roll.folder, clip: entry.clip, facts: entry.facts },
      ...{ recording, folder: sound.roll.folder, beside, tools, signal },
    });
  heardTogether.set(key, asked);
  return { ...beside, ...(await asked) };
}
