/**
 * The one registry of codes. A code says what can differ from what it should be, whether that holds a roll,
 * and what a person does about it. Text is built from fields; nothing decides by text.
 *
 * A code that has once been in a stored report keeps its meaning for ever and is never reused.
 */
import { clipCodes } from './codes/clip.ts';
import { colourCodes } from './codes/colour.ts';
import { deliverableCodes } from './codes/deliverable.ts';
import { machineCodes } from './codes/machine.ts';
import { masterCodes } from './codes/master.ts';
import { nightCodes } from './codes/night.ts';
import { profileCodes } from './codes/profile.ts';
import { provenanceCodes } from './codes/provenance.ts';
import { rawCodes } from './codes/raw.ts';
import { rollCodes } from './codes/roll.ts';
import { settingsCodes } from './codes/settings.ts';
import { trailCodes } from './codes/trail.ts';

/** `hold`: the roll cannot be ready while this stands. `note`: told, and nothing more. */
const weights = ['hold', 'note'] as const;
export type Weight = (typeof weights)[number];

export interface CodeEntry {
  readonly weight: Weight;
  /** What is the matter, one line without a full stop; the finding's own values follow it. */
  readonly title: string;
  /** What to do next, full sentences. */
  readonly remedy: string;
}

export const registry = {
  ...rollCodes,
  ...clipCodes,
  ...profileCodes,
  ...colourCodes,
  ...rawCodes,
  ...deliverableCodes,
  ...trailCodes,
  ...masterCodes,
  ...settingsCodes,
  ...nightCodes,
  ...machineCodes,
  ...provenanceCodes,
} as const satisfies Record<string, CodeEntry>;

export type FindingCode = keyof typeof registry;
export const findingCodes = Object.keys(registry) as [FindingCode, ...FindingCode[]];
