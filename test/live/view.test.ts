/** What changed between two views is enough to make the one of the other, and no more than that. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { type Changes, changesOf, type Row, type View } from '../../coordinator/live/view.ts';

/** As a page does it: the order last, rows that it does not name away. */
function applied(view: View, changes: Changes | null): View {
  const lists = Object.entries(view.lists).map(([list, rows]): [string, Row[]] => {
    const given = changes?.lists?.[list];
    const known = new Map(rows.map(({ key, cells }) => [key, cells]));
    for (const [key, cells] of Object.entries(given?.rows ?? {}))
      known.set(key, { ...known.get(key), ...cells });
    const order = given?.order ?? rows.map(({ key }) => key);
    return [list, order.map((key) => ({ key, cells: known.get(key) ?? {} }))];
  });
  return { texts: { ...view.texts, ...changes?.texts }, lists: Object.fromEntries(lists) };
}

const text = fc.constantFrom('', 'a', 'b', '<b>');
/** Names that an object of JavaScript has by itself, too. */
const key = fc.constantFrom('A001', 'A002', 'B001', '__proto__', 'constructor', 'A\nB');
const row = fc.record({ key, cells: fc.record({ text, share: text }) });
const view = fc.record({
  texts: fc.record({ headline: text, news: text }),
  lists: fc.record({
    rolls: fc.uniqueArray(row, { selector: ({ key }) => key, maxLength: 5 }),
    held: fc.uniqueArray(row, { selector: ({ key }) => key, maxLength: 3 }),
  }),
});

test('changes over a wire make the later view of the earlier one', () => {
  fc.assert(
    fc.property(view, view, (before, after) => {
      const changes = changesOf(before, after);
      const sent = changes === null ? null : (JSON.parse(JSON.stringify(changes)) as Changes);
      expect(JSON.stringify(applied(before, sent))).toBe(JSON.stringify(after));
    }),
  );
});

test('equal views have no changes, and one cell is one cell', () => {
  const rows = Array.from({ length: 60 }, (_, at) => ({ key: `R${at}`, cells: { text: 'x', share: '0.1' } }));
  const before: View = { texts: { headline: 'a' }, lists: { rolls: rows } };
  expect(changesOf(before, structuredClone(before))).toBeNull();
  const after = {
    ...before,
    lists: {
      rolls: rows.map((one, at) => (at === 7 ? { ...one, cells: { ...one.cells, share: '0.2' } } : one)),
    },
  };
  expect(JSON.stringify(changesOf(before, after))).toBe(
    '{"lists":{"rolls":{"rows":{"R7":{"share":"0.2"}}}}}',
  );
});
