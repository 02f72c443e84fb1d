/**
 * Manifests of more than one roll: at the top of the shoot day, of a copy, or of a folder of manifests. Their paths begin
 * with the name of a roll, or with its path in the day; each line counts for the roll in which it lies.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { tallied } from '../../findings/tally.ts';
import { printable } from '../names.ts';
import { HISTORY_FOLDER } from './chain.ts';
import { isManifestName, isManifestPath, isNamedAfter } from './manifest-name.ts';
import {
  listFolder,
  type ListedFolder,
  type ManifestReading,
  type ReadManifest,
  readHistoryFolder,
  readList,
} from './read.ts';
import type { ManifestFinding, Statement } from './statement.ts';

export interface RollPlace {
  readonly name: string;
  /** From the day's folder, `/` between parts: the name, or with the folders that lie between. */
  readonly path: string;
}

/** A folder at whose top manifests of the day are looked for. */
export interface DayTop {
  readonly folder: string;
  /** The rolls as they lie in it; below a folder of manifests, as they lie in the day. */
  readonly rolls: readonly RollPlace[];
  /** Of a folder of manifests: the folder of the day, in which nested histories lie. null: it is the day, or a copy of it. */
  readonly apartFrom: string | null;
}

/** What manifests of the day say of one roll; paths relative to the roll. */
export interface OfRoll {
  readonly manifests: readonly ReadManifest[];
  readonly findings: readonly ManifestFinding[];
}

export interface DayManifests {
  /** By the name of the roll. */
  readonly byRoll: ReadonlyMap<string, OfRoll>;
  /** About the day: what is not used, and which rolls are not there. */
  readonly findings: readonly Finding[];
}

export const noDayManifests: DayManifests = { byRoll: new Map(), findings: [] };

interface Split {
  readonly byRoll: ReadonlyMap<string, Statement[]>;
  /** Paths that lie in no roll. */
  readonly outside: readonly string[];
}

/** A path of a list of the day: the roll, and the path in it. A backslash parts folders where a roll's name comes before it. */
function rollOf(
  path: string,
  byPath: ReadonlyMap<string, string>,
): { roll: string; rest: string } | undefined {
  for (const slashed of path.includes('\\') ? [path, path.replaceAll('\\', '/')] : [path]) {
    for (let end = slashed.indexOf('/'); end !== -1; end = slashed.indexOf('/', end + 1)) {
      const roll = byPath.get(slashed.slice(0, end));
      // The rest as it is written: whether its backslashes part folders is seen by the files that are there.
      if (roll !== undefined) return { roll, rest: path.slice(end + 1) };
    }
  }
  return undefined;
}

function splitBy(statements: readonly Statement[], byPath: ReadonlyMap<string, string>): Split {
  const byRoll = new Map<string, Statement[]>();
  const outside: string[] = [];
  for (const statement of statements) {
    const place = rollOf(statement.path, byPath);
    if (place === undefined) {
      outside.push(statement.path);
      continue;
    }
    const of = byRoll.get(place.roll) ?? [];
    byRoll.set(place.roll, of);
    of.push({ ...statement, path: place.rest });
  }
  return { byRoll, outside };
}

/** By what a path may begin with, the roll. `day`: set where the list was made in the folder above the day. */
function beginnings(rolls: readonly RollPlace[], day: string | null): Map<string, string> {
  const start = day === null ? '' : `${day}/`;
  return new Map([
    ...rolls.map(({ name }): [string, string] => [start + name, name]),
    ...rolls.map(({ name, path }): [string, string] => [start + path, name]),
  ]);
}

/** A pattern of the day's folder as the roll's has it; null: it speaks of something else. */
function patternIn(pattern: string, { name, path }: RollPlace): string | null {
  const [, not, body] = /^(!?)(.*)$/s.exec(pattern) as unknown as [string, string, string];
  if (!body.slice(0, -1).includes('/')) return pattern;
  const inner = body.replace(/^\//, '');
  const start = [`${path}/`, `${name}/`].find((text) => inner.startsWith(text));
  if (start !== undefined) return `${not}/${inner.slice(start.length)}`;
  return inner.startsWith('**/') ? pattern : null;
}

class Gatherer {
  readonly #byRoll = new Map<string, { manifests: ReadManifest[]; findings: ManifestFinding[] }>();
  readonly findings: Finding[] = [];
  readonly #day: string;

  constructor(day: string) {
    this.#day = day;
  }

  notUsed(file: string, found: string): void {
    this.findings.push(
      finding('manifest-not-used', found, 'paths that begin with the name of a roll of this day', { file }),
    );
  }

  #of(roll: string): { manifests: ReadManifest[]; findings: ManifestFinding[] } {
    const of = this.#byRoll.get(roll) ?? { manifests: [], findings: [] };
    this.#byRoll.set(roll, of);
    return of;
  }

  add(file: string, reading: ManifestReading, top: DayTop): void {
    const { manifest } = reading;
    const statements = manifest?.statements ?? [];
    const within = beginnings(top.rolls, null);
    const above = beginnings(top.rolls, this.#day);
    const splits = [within, above].map((byPath) => ({ byPath, ...splitBy(statements, byPath) }));
    const [first, second] = splits as [(typeof splits)[0], (typeof splits)[0]];
    const { byPath, byRoll, outside } = second.outside.length < first.outside.length ? second : first;
    const nested = reading.references.flatMap((path) => rollOf(path, byPath)?.roll ?? []);
    const covered = new Set([...byRoll.keys(), ...nested]);
    // What cannot be read may be about any of them.
    const concerned = covered.size === 0 ? top.rolls.map(({ name }) => name) : [...covered];
    for (const item of reading.findings) {
      const only = item.path === undefined ? undefined : rollOf(item.path, byPath)?.roll;
      for (const roll of only === undefined ? concerned : [only]) this.#of(roll).findings.push(item);
    }
    if (manifest !== null)
      for (const place of top.rolls) {
        const of = byRoll.get(place.name);
        if (of === undefined) continue;
        const ignore = manifest.ignore.flatMap((pattern) => patternIn(pattern, place) ?? []);
        this.#of(place.name).manifests.push({ ...manifest, statements: of, ignore });
      }
    if (statements.length > 0 && covered.size === 0)
      this.notUsed(file, `its paths begin otherwise: ${printable(statements[0]?.path ?? '')}`);
    else this.#outside(file, outside, top, byPath === above);
  }

  /** Where the list lies in the day, a folder that it names and that is not there is a roll that is not there. */
  #outside(file: string, outside: readonly string[], top: DayTop, fromAbove: boolean): void {
    const start = fromAbove ? `${this.#day}/` : '';
    const folders = new Set(top.rolls.map(({ path }) => path.split('/')[0]));
    const absent = new Map<string, number>();
    const loose: string[] = [];
    for (const path of outside) {
      if (isManifestPath(path)) continue;
      const [folder, ...rest] = path.slice(path.startsWith(start) ? start.length : 0).split('/');
      const ofOther = start !== '' && !path.startsWith(start);
      if (
        top.apartFrom === null &&
        !ofOther &&
        folder !== undefined &&
        rest.length > 0 &&
        !folders.has(folder) &&
        !folder.startsWith('.')
      )
        absent.set(folder, (absent.get(folder) ?? 0) + 1);
      else loose.push(path);
    }
    for (const [folder, count] of absent)
      this.findings.push(
        finding('roll-only-in-manifest', `${count} files of ${printable(folder)}`, 'a folder of that name', {
          roll: folder,
          file,
        }),
      );
    if (loose.length > 0)
      this.findings.push(
        finding(
          'manifest-entries-outside-rolls',
          `${loose.length} files, the first is ${printable(loose[0] as string)}`,
          'files in rolls',
          { file },
        ),
      );
  }

  result(): DayManifests {
    return { byRoll: this.#byRoll, findings: tallied(this.findings) };
  }
}

async function gatherTop(top: DayTop, list: ListedFolder, into: Gatherer): Promise<void> {
  const ofRoll = (name: string): boolean => top.rolls.some((roll) => isNamedAfter(name, roll.name));
  for (const name of list.files.filter(isManifestName)) {
    const file = `${top.folder}/${name}`;
    // A roll's own: it is found with the roll.
    if (!ofRoll(name)) into.add(file, await readList(file), top);
  }
  for (const name of list.links)
    if (isManifestName(name) || name === HISTORY_FOLDER)
      into.notUsed(`${top.folder}/${name}`, 'it is a symbolic link, and links are never followed');
  if (list.folders.includes(HISTORY_FOLDER)) {
    const folder = `${top.folder}/${HISTORY_FOLDER}`;
    const reading = await readHistoryFolder(folder, top.apartFrom ?? top.folder);
    if (reading !== null) into.add(folder, reading, top);
  }
}

/** Folders of other rolls or days among those of manifests: one word for all of them. */
async function tellOthers(top: DayTop, day: string, list: ListedFolder, into: Gatherer): Promise<void> {
  const known = new Set([HISTORY_FOLDER, day, ...top.rolls.map(({ name }) => name)]);
  const others: string[] = [];
  for (const name of list.folders) {
    if (known.has(name)) continue;
    const inner = await listFolder(`${top.folder}/${name}`);
    if (
      inner !== null &&
      !('fault' in inner) &&
      (inner.folders.includes(HISTORY_FOLDER) || inner.files.some(isManifestName))
    )
      others.push(name);
  }
  if (others.length > 0)
    into.notUsed(
      top.folder,
      `${others.length} ${others.length === 1 ? 'folder has the name' : 'folders have names'} of no roll of this day, the first is ${printable(others[0] as string)}`,
    );
}

/** `day`: the name of the day. What is the matter with a roll's part of a manifest is in the findings of the roll. */
export async function findDayManifests(day: string, tops: readonly DayTop[]): Promise<DayManifests> {
  const gatherer = new Gatherer(day);
  for (const top of tops) {
    const list = await listFolder(top.folder);
    // That a copy or a folder of manifests cannot be listed is a finding of each roll.
    if (list === null || 'fault' in list) continue;
    await gatherTop(top, list, gatherer);
    if (top.apartFrom !== null) await tellOthers(top, day, list, gatherer);
  }
  return gatherer.result();
}
