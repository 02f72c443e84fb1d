/** One look at the folders of a show: its days, their rolls, and what each roll looks like. Reads manifests, and lists. */
import { readdir } from 'node:fs/promises';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { lookAtRoll, type RollLook } from '../intake/look.ts';
import { findRolls } from '../roll/rolls.ts';
import type { Show } from './config.ts';
import { mayBeDay } from './day-names.ts';

export interface SeenDay {
  readonly day: string;
  readonly folder: string;
  /** Where its other copies are, or ought to be. */
  readonly copies: readonly string[];
  readonly rolls: readonly { readonly roll: string; readonly look: RollLook }[];
}

export interface ShowLook {
  readonly days: readonly SeenDay[];
  /** What could not be looked at, for the log. */
  readonly troubles: readonly string[];
}

/** A drive that is not there takes no other one with it. Throws the signal's reason after an abort. */
export async function lookAtShow(show: Show, signal: AbortSignal): Promise<ShowLook> {
  const days = new Map<string, SeenDay>();
  const troubles: string[] = [];
  for (const watched of show.watch) {
    for (const name of await foldersIn(watched, troubles)) {
      const folder = join(watched, name);
      if (days.has(name)) {
        troubles.push(`${folder}: a second day of that name`);
        continue;
      }
      try {
        const seen = await lookAtDay(show, name, folder, signal);
        if (seen.rolls.length > 0) days.set(name, seen);
      } catch (error) {
        signal.throwIfAborted();
        if (codeOf(error) === '') throw error;
        troubles.push(String(error));
      }
    }
  }
  return { days: [...days.values()], troubles };
}

async function foldersIn(watched: string, troubles: string[]): Promise<string[]> {
  try {
    return (await readdir(fsPath(watched), { withFileTypes: true }))
      .filter((entry) => entry.isDirectory() && mayBeDay(entry.name))
      .map(({ name }) => name)
      .sort();
  } catch (error) {
    if (codeOf(error) === '') throw error;
    troubles.push(String(error));
    return [];
  }
}

async function lookAtDay(show: Show, day: string, folder: string, signal: AbortSignal): Promise<SeenDay> {
  const copies = show.copies.map((copy) => join(copy, day));
  const { manifests } = show;
  const there = copies.filter((copy) => existsSync(copy));
  const found = await findRolls({ day: folder, dayName: day, copies: there, manifests: [...manifests] });
  const rolls: { roll: string; look: RollLook }[] = [];
  for (const { name, folder: ofRoll } of found.rolls) {
    const places = { day, roll: name, folder: ofRoll, copies, manifests, dayManifests: found.dayManifests };
    rolls.push({ roll: name, look: await lookAtRoll(places, signal) });
  }
  return { day, folder, copies, rolls };
}
