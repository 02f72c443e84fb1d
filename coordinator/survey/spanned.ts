/**
 * Which movies of a roll are parts of one recording, by their names. Cameras and file systems cut a long take into several files
 * and number these (common practice, no source). A name alone proves nothing: what must run on from part to part is in join-parts.ts. Pure.
 */
import { collisionKey } from '../../files/safe-names.ts';
import { printable } from '../../files/names.ts';

export interface SpannedRule {
  /**
   * `suffix`: NAME.MOV, then NAME_1.MOV or NAME-1.MOV and so on, from 1 or 2. `none`: every movie is a clip of its own. Patterns of names
   * without their extension: one `*` is the take, one run of `#` the number of the part.
   */
  readonly names: 'suffix' | 'none' | readonly string[];
  readonly continuesBy: 'timecode' | 'order';
}

export interface SpannedRules {
  readonly ofRoll: SpannedRule;
  /** Of the clip whose first part has this name, nearer than `ofRoll`. */
  ofClip(name: string): SpannedRule;
  /** Files that the settings name as the parts of one clip, in order. */
  readonly named: readonly (readonly string[])[];
}

const usualRule: SpannedRule = { names: 'suffix', continuesBy: 'timecode' };
export const usualRules: SpannedRules = { ofRoll: usualRule, ofClip: () => usualRule, named: [] };

export interface SpannedGroup {
  /** In order. */
  readonly paths: readonly string[];
  readonly namedBy: string;
  readonly continuesBy: SpannedRule['continuesBy'];
  /** What is wrong with their numbers; null: each follows the one before. */
  readonly gap: string | null;
}

interface Name {
  readonly path: string;
  readonly folder: string;
  readonly stem: string;
  readonly extension: string;
}

function nameOf(path: string): Name {
  const slash = path.lastIndexOf('/');
  const base = path.slice(slash + 1);
  const dot = base.lastIndexOf('.');
  return {
    path,
    folder: path.slice(0, Math.max(0, slash)),
    stem: dot <= 0 ? base : base.slice(0, dot),
    extension: dot <= 0 ? '' : base.slice(dot + 1).toLowerCase(),
  };
}

interface Numbered {
  readonly path: string;
  readonly number: number;
}

/** Numbers that a part can have: what follows is the next one. */
function gapIn(parts: readonly Numbered[], firsts: readonly number[]): string | null {
  const numbers = parts.map(({ number }) => number);
  const [first = 0] = numbers;
  const allowed = firsts.includes(first) ? first : 1;
  const last = numbers.at(-1) ?? first;
  const missing: number[] = [];
  for (let number = allowed; number < last; number += 1) if (!numbers.includes(number)) missing.push(number);
  return missing.length === 0 ? null : missing.join(', ');
}

const byNumber = (a: Numbered, b: Numbered): number => a.number - b.number;

interface Candidate {
  readonly parts: readonly Numbered[];
  readonly namedBy: string;
  readonly gap: string | null;
}

const SUFFIX = /^(.+)([_-])(\d{1,3})$/s;

/** NAME and what is numbered behind it, in one way; a number without NAME beside it is a name like any other. */
function bySuffix(names: readonly Name[]): Candidate[] {
  const key = ({ folder, extension }: Name, stem: string): string =>
    JSON.stringify([folder, extension, collisionKey(stem)]);
  const whole = new Map(names.map((name) => [key(name, name.stem), name]));
  const groups = new Map<string, { first: Name; parts: Numbered[] }>();
  for (const name of names) {
    const match = SUFFIX.exec(name.stem);
    if (match === null) continue;
    const [, stem, separator, digits] = match as unknown as [string, string, string, string];
    const first = whole.get(key(name, stem));
    if (first === undefined) continue;
    const written = digits.startsWith('0') ? digits.length : 0;
    const group = JSON.stringify([key(name, stem), separator, written]);
    const one = groups.get(group) ?? { first, parts: [] };
    one.parts.push({ path: name.path, number: Number(digits) });
    groups.set(group, one);
  }
  return [...groups.values()].map(({ first, parts }) => {
    parts.sort(byNumber);
    return {
      parts: [{ path: first.path, number: 0 }, ...parts],
      namedBy: 'suffix',
      gap: gapIn(parts, [1, 2]),
    };
  });
}

const SPECIAL = /[.+?^${}()|[\]\\]/g;

/** null: the pattern has not one `*` and one run of `#`. */
export function partPattern(pattern: string): RegExp | null {
  if (!/^[^*#]*(?:\*[^*#]*#+|#+[^*#]*\*)[^*#]*$/s.test(pattern)) return null;
  const expression = pattern
    .replace(SPECIAL, '\\$&')
    .replace('*', '(?<take>.+)')
    .replace(/#+/, (run) => `(?<part>\\d{${run.length}})`);
  return new RegExp(`^${expression}$`, 'isu');
}

function byPattern(names: readonly Name[], pattern: string): Candidate[] {
  const expression = partPattern(pattern);
  const groups = new Map<string, Numbered[]>();
  for (const name of expression === null ? [] : names) {
    const { take, part } = expression?.exec(name.stem)?.groups ?? {};
    if (take === undefined || part === undefined) continue;
    const group = JSON.stringify([name.folder, name.extension, collisionKey(take)]);
    groups.set(group, [...(groups.get(group) ?? []), { path: name.path, number: Number(part) }]);
  }
  return [...groups.values()].flatMap((parts) => {
    parts.sort(byNumber);
    const gap = gapIn(parts, [0, 1]);
    // One file alone with the number of a first part is a recording that was not cut.
    return parts.length === 1 && gap === null ? [] : [{ parts, namedBy: pattern, gap }];
  });
}

const stemOf = (path: string): string => nameOf(path).stem;

/** `paths`: of movies. No file is in two groups. */
export function spannedGroups(paths: readonly string[], rules: SpannedRules): SpannedGroup[] {
  const groups: SpannedGroup[] = [];
  const taken = new Set<string>();
  const take = (group: SpannedGroup): void => {
    if (group.paths.some((path) => taken.has(path))) return;
    groups.push(group);
    for (const path of group.paths) taken.add(path);
  };
  const present = new Set(paths);
  for (const files of rules.named) {
    const there = files.filter((file) => present.has(file));
    const [first] = there;
    if (first === undefined) continue;
    const absent = files.filter((file) => !present.has(file)).map(printable);
    take({
      paths: there,
      namedBy: 'settings',
      continuesBy: rules.ofClip(stemOf(files[0] as string)).continuesBy,
      gap: absent.length === 0 ? null : absent.join(', '),
    });
  }
  const names = paths.filter((path) => !taken.has(path)).map(nameOf);
  const { ofRoll } = rules;
  const candidates =
    ofRoll.names === 'none'
      ? []
      : ofRoll.names === 'suffix'
        ? bySuffix(names)
        : ofRoll.names.flatMap((pattern) => byPattern(names, pattern));
  for (const { parts, namedBy, gap } of candidates) {
    const of = rules.ofClip(stemOf(parts[0]?.path ?? ''));
    if (of.names === 'none') continue;
    take({ paths: parts.map(({ path }) => path), namedBy, continuesBy: of.continuesBy, gap });
  }
  return groups;
}
