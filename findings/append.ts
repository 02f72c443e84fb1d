/**
 * Puts items behind those that a list has. `list.push(...items)` hands each over as an argument of a call, and some hundred
 * thousand arguments (frames, files, findings) overflow the stack.
 */
export function append<Item>(list: Item[], items: Iterable<Item>): void {
  for (const item of items) list.push(item);
}
