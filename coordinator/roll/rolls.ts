/** Rolls of the day, and those that only a copy holds: a roll must not be missing without a word. */
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import {
  type DayManifests,
  type DayTop,
  findDayManifests,
  type RollPlace,
} from '../../files/manifest/day.ts';
import { placesApart } from '../../files/manifest/find.ts';
import { HANDOVER, isHandoverName } from '../../handover/layout.ts';
import { folderName, layout } from '../../ledger/layout.ts';
import { type DiscoveredRoll, discoverRolls } from '../intake/index.ts';
import { rollCollisions } from '../plan/names.ts';
import type { NightFolders } from './folders.ts';

export interface FoundRolls {
  readonly rolls: DiscoveredRoll[];
  /** Manifests of more than one roll, read once for the whole day. */
  readonly dayManifests: DayManifests;
  readonly findings: Finding[];
}

const placesIn = (day: string, rolls: readonly DiscoveredRoll[]): RollPlace[] =>
  rolls.map(({ name, folder }) => ({ name, path: folder.slice(day.length + 1) }));

export async function findRolls(
  folders: Pick<NightFolders, 'day' | 'dayName' | 'shootDay' | 'copies' | 'manifests'>,
): Promise<FoundRolls> {
  const { day } = folders;
  const dayName = folders.shootDay ?? folders.dayName;
  const { rolls, findings } = await discoverRolls(day);
  const names = new Set(rolls.map((roll) => roll.name));
  const tops: DayTop[] = [{ folder: day, rolls: placesIn(day, rolls), apartFrom: null }];
  for (const copy of folders.copies) {
    const there = (await discoverRolls(copy)).rolls;
    tops.push({ folder: copy, rolls: placesIn(copy, there), apartFrom: null });
    for (const roll of there) {
      if (!names.has(roll.name))
        findings.push(
          finding('roll-only-in-copy', roll.folder, `a roll ${roll.name} in the shoot day`, {
            roll: roll.name,
            copy,
          }),
        );
    }
  }
  for (const folder of folders.manifests.flatMap((place) => placesApart(place, dayName)))
    if (!tops.some((top) => top.folder === folder))
      tops.push({ folder, rolls: placesIn(day, rolls), apartFrom: day });
  const dayManifests = await findDayManifests(dayName, tops);
  return { rolls, dayManifests, findings: [...findings, ...dayManifests.findings] };
}

/** Which rolls of the day a command is about, and which of them come before the others. */
export interface AskedRolls {
  /** Names; empty: all. */
  readonly only: readonly string[];
  readonly first: readonly string[];
}
export const ALL_ROLLS: AskedRolls = { only: [], first: [] };

/** In the order in which they are taken. Throws FindingError (2) for a name that the day does not have. */
export function rollsAsked(rolls: readonly DiscoveredRoll[], { only, first }: AskedRolls): DiscoveredRoll[] {
  const names = rolls.map(({ name }) => name);
  const unknown = [...only, ...first].filter((name) => !names.includes(name));
  const left = only.length === 0 ? [] : first.filter((name) => !only.includes(name));
  const wrong = [
    ...unknown.map((name) => `no roll ${printable(name)}`),
    ...left
      .filter((name) => !unknown.includes(name))
      .map((name) => `${printable(name)} first, and not asked for`),
  ];
  if (wrong.length > 0)
    throw new FindingError(
      [
        finding(
          'usage-wrong',
          [...new Set(wrong)].join('; '),
          `rolls of the day: ${names.map(printable).join(', ')}`,
        ),
      ],
      2,
    );
  const asked = only.length === 0 ? rolls : rolls.filter(({ name }) => only.includes(name));
  return [
    ...first.flatMap((name) => asked.find((roll) => roll.name === name) ?? []),
    ...asked.filter(({ name }) => !first.includes(name)),
  ];
}

/** Of the day as a whole, and of these rolls. */
export const findingsAsked = (findings: readonly Finding[], asked: readonly DiscoveredRoll[]): Finding[] =>
  findings.filter(({ roll }) => roll === undefined || asked.some(({ name }) => name === roll));

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
  const met = new Map([...rollCollisions(places)].map(([place, reported]) => [place.roll, reported]));
  for (const { name } of rolls)
    if (isHandoverName(folderName(name)))
      met.set(
        name,
        finding('roll-name-reserved', name, `a roll that is not called ${HANDOVER}`, { roll: name }),
      );
  return met;
}
