/** Names that would meet on the delivery, also on a file system that takes `A` for `a` or one spelling of an accent for the other. */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { collisions } from '../../files/safe-names.ts';
import type { Deliverable, RollToPlan } from './types.ts';

/** Of one roll: deliverables of a profile share a folder. The deliverables that meet another one, each with its finding. */
export function nameCollisions(items: readonly Deliverable[]): Map<Deliverable, Finding> {
  const found = new Map<Deliverable, Finding>();
  for (const group of collisions(
    items,
    ({ profile, outcome }) => `${profile.profile.name}/${outcome.fileName}`,
  )) {
    for (const item of group) {
      const others = group
        .filter((other) => other !== item)
        .map((other) => `${other.outcome.fileName} of ${printable(other.clip.id)}`);
      const shown =
        others.length > 3
          ? `${others.slice(0, 3).join(', ')} and ${others.length - 3} more`
          : others.join(', ');
      found.set(
        item,
        finding(
          'name-collision',
          `${item.outcome.fileName} cannot lie beside ${shown}`,
          'a name that no other deliverable of the roll has',
          { roll: item.roll, clip: item.clip.id, profile: item.profile.profile.name },
        ),
      );
    }
  }
  return found;
}

/** Rolls whose folders on the delivery would be one. */
export function rollCollisions(rolls: readonly RollToPlan[]): Map<RollToPlan, Finding> {
  const found = new Map<RollToPlan, Finding>();
  for (const group of collisions(rolls, (roll) => roll.deliveryFolder)) {
    for (const roll of group) {
      const others = group.filter((other) => other !== roll).map((other) => printable(other.roll));
      found.set(
        roll,
        finding(
          'name-collision',
          `the folder of ${printable(roll.roll)} cannot lie beside that of ${others.join(', ')}`,
          'rolls whose names differ in more than case or accents',
          { roll: roll.roll },
        ),
      );
    }
  }
  return found;
}
