/** What a clip and a recording of the day both heard, asked once whoever asks. */
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { GateClip } from '../gate/input.ts';
import { hearTogether, type Heard } from '../survey/hear-together.ts';

export type HeardTogether = Map<string, Promise<Heard>>;

/** What is known of a roll, as far as it is asked here. */
interface Roll {
  readonly roll: { readonly name: string; readonly folder: string };
  readonly clips: readonly GateClip[];
}

export interface Hearing {
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
  readonly heardTogether: HeardTogether;
}

export interface Pair {
  /** The sound roll. */
  readonly sound: Roll;
  readonly recording: Recording;
  readonly beside: ClipBeside;
  /** The roll of the clip. */
  readonly of: Roll;
}

/** Throws the signal's reason. */
export async function besideAsHeard(
  { sound, recording, beside, of }: Pair,
  { tools, signal, heardTogether }: Hearing,
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
