/** What a plan finds of its rolls once all are known: the same as their run does before it makes anything. */
import { append } from '../../findings/append.ts';
import { blocks, type Finding } from '../../findings/finding.ts';
import { findingsBeforeMaking } from '../gate/decide.ts';
import { contentsOfClips, contentsOnDelivery } from '../roll/delivered-contents.ts';
import type { NightFolders } from '../roll/folders.ts';
import { gateInputOf, type KnownRoll, type RollContext } from '../roll/know.ts';
import { repeatFindings, repeatsAmong } from '../roll/repeats.ts';
import { isSoundRoll, layBesideClips } from '../roll/sound-rolls.ts';

/** `asked`, `notAsked`: names of the day's rolls. */
export interface DayAsked {
  readonly folders: NightFolders;
  readonly asked: readonly string[];
  readonly notAsked: readonly string[];
}

/** Adds to the findings of each roll; gives those of all. */
export async function findingsOfRolls(
  rolls: readonly KnownRoll[],
  { folders, asked, notAsked }: DayAsked,
  context: RollContext,
): Promise<Finding[]> {
  const reported: Finding[] = [];
  const repeats = repeatsAmong(rolls.flatMap(({ intake }) => intake ?? []));
  const delivered = await contentsOnDelivery(
    folders.delivery,
    (day, roll) => day === folders.dayName && asked.includes(roll),
  );
  for (const known of rolls) {
    const { name } = known.roll;
    const contents = contentsOfClips(
      name,
      known.clips.map(({ clip }) => clip),
    );
    append(known.findings, [...(repeats.get(name) ?? []), ...repeatFindings(name, contents, delivered)]);
    if (isSoundRoll(known)) await layBesideClips(known, rolls, { ...context, notAsked });
    const found = findingsBeforeMaking(gateInputOf(known, context));
    context.runProgress.setPhase(name, found.some(blocks) ? 'held' : 'ready');
    append(reported, found);
  }
  return reported;
}
