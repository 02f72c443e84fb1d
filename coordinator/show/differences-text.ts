/** How a day will differ from the one before, for people. Pure. */
import { printable } from '../../files/names.ts';
import { count } from '../../findings/human.ts';
import type { DayDifferences } from '../../handover/consistency/differences.ts';

/** null: there is no day before. What differs is among the findings, each with its reason. */
export function differencesText({ before, differences }: DayDifferences): string | null {
  if (before === null) return null;
  return differences.length === 0
    ? `As on ${printable(before)}: profiles, look, audio layout and programs are the same.`
    : `Otherwise than on ${printable(before)}: ${count(differences.length, 'difference')}, above [day-made-otherwise].`;
}
