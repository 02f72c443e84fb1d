/** What a live page shows, as texts by name and lists of rows, and what changed between two of them. Pure; it knows nothing of runs. */

export interface Row {
  readonly key: string;
  readonly cells: Readonly<Record<string, string>>;
}

export interface View {
  readonly texts: Readonly<Record<string, string>>;
  readonly lists: Readonly<Record<string, readonly Row[]>>;
}

export interface ListChanges {
  /** Keys of all rows, in order; absent: as before. */
  readonly order?: readonly string[];
  /** Cells that changed, by key of the row; of a new row all of them. */
  readonly rows?: Readonly<Record<string, Readonly<Record<string, string>>>>;
}

export interface Changes {
  readonly texts?: Readonly<Record<string, string>>;
  readonly lists?: Readonly<Record<string, ListChanges>>;
}

/** Without a prototype: a key may be any name. */
const record = <Value>(entries: readonly (readonly [string, Value])[]): Record<string, Value> => {
  const made = Object.create(null) as Record<string, Value>;
  for (const [key, value] of entries) made[key] = value;
  return made;
};

/** Values of `after` that `before` does not have so. Both have the same keys, or `before` has none. */
function changed(
  before: Readonly<Record<string, string>> | undefined,
  after: Readonly<Record<string, string>>,
): Record<string, string> | null {
  const entries = Object.entries(after).filter(([key, value]) => before?.[key] !== value);
  return entries.length === 0 ? null : record(entries);
}

function listChanges(before: readonly Row[], after: readonly Row[]): ListChanges | null {
  const cellsBefore = new Map(before.map(({ key, cells }) => [key, cells]));
  const rows = after.flatMap(({ key, cells }) => {
    const cellsNow = changed(cellsBefore.get(key), cells);
    return cellsNow === null ? [] : [[key, cellsNow] as const];
  });
  const sameOrder =
    before.length === after.length && before.every(({ key }, index) => key === after[index]?.key);
  if (rows.length === 0 && sameOrder) return null;
  return {
    ...(sameOrder ? {} : { order: after.map(({ key }) => key) }),
    ...(rows.length === 0 ? {} : { rows: record(rows) }),
  };
}

/** null: nothing. */
export function changesOf(before: View, after: View): Changes | null {
  const texts = changed(before.texts, after.texts);
  const lists = Object.entries(after.lists).flatMap(([list, rows]) => {
    const found = listChanges(before.lists[list] ?? [], rows);
    return found === null ? [] : [[list, found] as const];
  });
  if (texts === null && lists.length === 0) return null;
  return {
    ...(texts === null ? {} : { texts }),
    ...(lists.length === 0 ? {} : { lists: record(lists) }),
  };
}
