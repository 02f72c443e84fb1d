/**
 * The one registry of codes. A code says what can differ from what it should be, whether that holds a roll,
 * and what a person does about it. Text is built from fields; nothing decides by text.
 *
 * A code that has once been in a stored report keeps its meaning for ever and is never reused.
 */
import { clipCodes } from './codes/clip.ts';
import { colourCodes } from './codes/colour.ts';
import { coordinatorCodes } from './codes/coordinator.ts';
import { deliverableCodes } from './codes/deliverable.ts';
import { handoverCodes } from './codes/handover.ts';
import { leaseCodes } from './codes/lease.ts';
import { machineCodes } from './codes/machine.ts';
import { masterCodes } from './codes/master.ts';
import { pageCodes } from './codes/page.ts';
import { runCodes } from './codes/run.ts';
import { profileCodes } from './codes/profile.ts';
import { pullCodes } from './codes/pull.ts';
import { provenanceCodes } from './codes/provenance.ts';
import { rawCodes } from './codes/raw.ts';
import { rollCodes } from './codes/roll.ts';
import { settingsCodes } from './codes/settings.ts';
import { soundCodes } from './codes/sound.ts';
import { proofCodes } from './codes/proof.ts';
import type { CodeEntry } from './entry.ts';

/** The areas of the registry, in the order of a roll's way through a run. */
export const codesByArea = {
  roll: rollCodes,
  clip: clipCodes,
  profile: profileCodes,
  sound: soundCodes,
  raw: rawCodes,
  colour: colourCodes,
  deliverable: deliverableCodes,
  proof: proofCodes,
  master: masterCodes,
  settings: settingsCodes,
  provenance: provenanceCodes,
  handover: handoverCodes,
  pull: pullCodes,
  lease: leaseCodes,
  run: runCodes,
  page: pageCodes,
  machine: machineCodes,
  coordinator: coordinatorCodes,
} as const satisfies Record<string, Record<string, CodeEntry>>;

export const registry = {
  ...rollCodes,
  ...clipCodes,
  ...profileCodes,
  ...soundCodes,
  ...rawCodes,
  ...colourCodes,
  ...deliverableCodes,
  ...proofCodes,
  ...masterCodes,
  ...settingsCodes,
  ...provenanceCodes,
  ...handoverCodes,
  ...pullCodes,
  ...leaseCodes,
  ...runCodes,
  ...pageCodes,
  ...machineCodes,
  ...coordinatorCodes,
} as const satisfies Record<string, CodeEntry>;

export type FindingCode = keyof typeof registry;
export const findingCodes = Object.keys(registry) as [FindingCode, ...FindingCode[]];
