/** Rolls of the day, and those that only a copy holds: a roll must not be missing without a word. */
import { type Finding, finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { type DiscoveredRoll, discoverRolls } from '../intake/index.ts';
import { rollCollisions } from '../plan/names.ts';
import type { NightFolders } from './folders.ts';

export async function findRolls(
  folders: Pick<NightFolders, 'day' | 'copies'>,
): Promise<{ rolls: DiscoveredRoll[]; findings: Finding[] }> {
  const { rolls, findings } = await discoverRolls(folders.day);
  const names = new Set(rolls.map((roll) => roll.name));
  for (const copy of folders.copies) {
    for (const roll of (await discoverRolls(copy)).rolls) {
      if (!names.has(roll.name))
        findings.push(
          finding('roll-only-in-copy', roll.folder, `a roll ${roll.name} in the shoot day`, {
            roll: roll.name,
            copy,
          }),
        );
    }
  }
  return { rolls, findings };
}

/** <delivery>/<day>/<roll>. */
export function rollOnDelivery(folders: Pick<NightFolders, 'delivery' | 'dayName'>, roll: string): string {
  return layout.rollFolder(folders.delivery, folders.dayName, roll);
}

/** Two rolls that would lie in one folder, on some file system, are both held. By roll. */
export function collisionsOf(rolls: readonly DiscoveredRoll[], folders: NightFolders): Map<string, Finding> {
  const places = rolls.map((roll) => ({
    roll: roll.name,
    folder: roll.folder,
    deliveryFolder: rollOnDelivery(folders, roll.name),
    volume: '',
    findings: [],
    clips: [],
  }));
  return new Map([...rollCollisions(places)].map(([place, told]) => [place.roll, told]));
}
