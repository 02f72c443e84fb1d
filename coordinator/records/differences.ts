/** Where two records differ, field by field. Pure. */

export interface Difference {
  /** `clips[A001C001].deliverables[cut].sha256`. */
  readonly path: string;
  readonly found: string;
  readonly expected: string;
}

type Group = Record<string, unknown>;

const isGroup = (value: unknown): value is Group =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

/** What an entry of a list is known by; null for one that has no name of its own. */
function nameOf(entry: unknown): string | null {
  if (!isGroup(entry)) return null;
  for (const field of ['name', 'id', 'check', 'profile', 'folder', 'file']) {
    const value = entry[field];
    if (typeof value === 'string') return value;
  }
  return isGroup(entry.clip) ? nameOf({ id: entry.clip.id }) : null;
}

/** Long values are cut: the path says where to look. */
function shown(value: unknown): string {
  if (value === undefined) return 'nothing';
  const text = typeof value === 'string' ? value : JSON.stringify(value);
  return text.length > 120 ? `${text.slice(0, 117)}…` : text;
}

/**
 * Entries of lists are matched by their names where all of them have one, each its own, and otherwise by their place. A
 * field that holds undefined is as good as absent. `ignore`: names of fields that may differ.
 */
export function differences(
  found: unknown,
  expected: unknown,
  ignore: ReadonlySet<string> = new Set(),
  path = '',
): Difference[] {
  if (Object.is(found, expected)) return [];
  if (Array.isArray(found) && Array.isArray(expected))
    return ofEntries(entriesOf(found, expected), ignore, (name) => `${path}[${name}]`);
  if (isGroup(found) && isGroup(expected)) {
    const names = [...new Set([...Object.keys(expected), ...Object.keys(found)])].filter(
      (name) => !ignore.has(name),
    );
    return ofEntries(
      names.map((name) => [name, found[name], expected[name]]),
      ignore,
      (name) => (path === '' ? name : `${path}.${name}`),
    );
  }
  return [{ path, found: shown(found), expected: shown(expected) }];
}

type Entry = readonly [name: string, found: unknown, expected: unknown];

function ofEntries(
  entries: readonly Entry[],
  ignore: ReadonlySet<string>,
  pathOf: (name: string) => string,
): Difference[] {
  return entries.flatMap(([name, found, expected]) => differences(found, expected, ignore, pathOf(name)));
}

function entriesOf(found: readonly unknown[], expected: readonly unknown[]): Entry[] {
  const named = (list: readonly unknown[]): Map<string, unknown> | null => {
    const map = new Map(list.map((entry) => [nameOf(entry), entry]));
    return map.size === list.length && !map.has(null) ? (map as Map<string, unknown>) : null;
  };
  const [a, b] = [named(found), named(expected)];
  if (a === null || b === null)
    return Array.from({ length: Math.max(found.length, expected.length) }, (_, index) => [
      String(index),
      found[index],
      expected[index],
    ]);
  return [...new Set([...b.keys(), ...a.keys()])].map((name) => [name, a.get(name), b.get(name)]);
}
