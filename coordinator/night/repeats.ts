/** Whether a roll of the night holds what another one holds, of the night or of the delivery. */
import type { Finding } from '../../findings/finding.ts';
import { contentsOfClips, contentsOnDelivery } from '../roll/delivered-contents.ts';
import type { NightFolders } from '../roll/folders.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import type { KnownRoll } from '../roll/know.ts';
import { contentsOfRead, repeatFindings, rollsAlike } from '../roll/repeats.ts';
import type { Surveys } from './surveys.ts';

export interface RepeatsOfNight {
  readonly folders: Pick<NightFolders, 'delivery' | 'dayName'>;
  readonly rolls: readonly DiscoveredRoll[];
  /** Every roll that the night has begun, as far as it is known. */
  readonly known: readonly KnownRoll[];
  readonly surveys: Surveys;
  readonly signal: AbortSignal;
}

/** The returned function waits for the rolls that may share files with this one, and for no other. */
export function repeatsOf(night: RepeatsOfNight): (known: KnownRoll) => Promise<Finding[]> {
  const { folders, rolls, known: begun, surveys, signal } = night;
  const names = new Set(rolls.map(({ name }) => name));
  const alike = rollsAlike(rolls, signal);
  const delivered = contentsOnDelivery(
    folders.delivery,
    (day, roll) => day === folders.dayName && names.has(roll),
  );
  for (const begunNow of [alike, delivered]) begunNow.catch(() => undefined);
  const alikeTo = async (name: string): Promise<readonly string[]> => {
    try {
      return (await alike).get(name) ?? [];
    } catch (error) {
      // Stopped while names were looked at: a roll that is whole all the same is held against every other that was read.
      if (!signal.aborted) throw error;
      return [...names].filter((other) => other !== name);
    }
  };
  return async ({ roll: { name }, intake, clips }) => {
    if (intake === null) return [];
    const others = await alikeTo(name);
    await Promise.all(others.map((other) => surveys.of(other)));
    const read = begun.flatMap((other) =>
      others.includes(other.roll.name) && other.intake !== null ? [contentsOfRead(other.intake)] : [],
    );
    const own = clips.map(({ clip }) => clip);
    return [
      ...repeatFindings(name, contentsOfRead(intake), read),
      ...repeatFindings(name, contentsOfClips(name, own), await delivered),
    ];
  };
}
