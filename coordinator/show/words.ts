/** Findings as people read them. Pure. */
import { describeFinding, type Finding, blocks } from '../../findings/finding.ts';
import { count } from '../../findings/human.ts';
import { printable } from '../../files/names.ts';

export { bytesText, count, durationText } from '../../findings/human.ts';

/** `ready` speaks of the copies that were named and can be told apart; a single one is no backup. */
/** What a roll holds and how much of it is ready: clips, or of a sound roll its recordings. */
export const clipsReadyText = (roll: {
  readonly clips: number;
  readonly clipsReady: number;
  readonly recordings: number;
}): string =>
  roll.clips === 0 && roll.recordings > 0
    ? `${count(roll.recordings, 'recording')} of sound`
    : `${roll.clipsReady} of ${count(roll.clips, 'clip')} ready`;

export function readyText(copies: number): string {
  return `ready (${count(copies, 'copy', 'copies')})`;
}

/** Head of a finding that blocks: `held` where a roll is stopped, `error` where the command was not carried out. */
type Blocking = 'held' | 'error';

/** What, where, found, expected, remedy: five lines, or as many as `same` findings share the remedy. */
export function findingText(item: Finding, indent = '', blocking: Blocking = 'held'): string {
  const { title, about, found, expected, remedy } = describeFinding(item);
  const lines = [`${blocks(item) ? blocking : 'note'}  ${title} [${item.code}]`];
  if (about !== '') lines.push(`      at        ${printable(about)}`);
  lines.push(
    `      found     ${printable(found)}`,
    `      expected  ${printable(expected)}`,
    `      remedy    ${remedy}`,
  );
  return lines.map((line) => indent + line).join('\n');
}

/** How many findings of one code are written out before they are counted. */
const WRITTEN_OUT = 3;

interface Group {
  readonly items: Finding[];
  /** Counted beside the items (see `findings-more`). */
  more: number;
}

function groupsOf(list: readonly Finding[]): Group[] {
  const byCode = new Map<string, Group>();
  const groupOf = (code: string): Group => {
    const group = byCode.get(code) ?? { items: [], more: 0 };
    byCode.set(code, group);
    return group;
  };
  for (const item of list) if (item.counted === undefined) groupOf(item.code).items.push(item);
  for (const item of list) {
    if (item.counted === undefined) continue;
    if (byCode.has(item.counted.code)) groupOf(item.counted.code).more += item.counted.more;
    else groupOf(item.code).items.push(item);
  }
  return [...byCode.values()].sort(
    (a, b) => Number(blocks(b.items[0] as Finding)) - Number(blocks(a.items[0] as Finding)),
  );
}

function groupText({ items, more }: Group, indent: string, blocking: Blocking): string {
  const first = items[0] as Finding;
  const total = items.length + more;
  if (total === 1) return findingText(first, indent, blocking);
  const { title, remedy } = describeFinding(first);
  const lines = [`${blocks(first) ? blocking : 'note'}  ${title} [${first.code}], ${total} times`];
  for (const item of items.slice(0, WRITTEN_OUT)) {
    const { about, found, expected } = describeFinding(item);
    if (about !== '') lines.push(`      at        ${printable(about)}`);
    lines.push(`      found     ${printable(found)}`, `      expected  ${printable(expected)}`);
  }
  const named = more === 0 ? 'all in the records' : `the first ${items.length} in the records`;
  if (total > WRITTEN_OUT) lines.push(`      and ${total - WRITTEN_OUT} more, ${named}`);
  lines.push(`      remedy    ${remedy}`);
  return lines.map((line) => indent + line).join('\n');
}

/** Findings by code, blocking ones first; the remedy once for each code. */
export function findingsText(list: readonly Finding[], indent = '', blocking: Blocking = 'held'): string {
  return groupsOf(list)
    .map((group) => groupText(group, indent, blocking))
    .join('\n');
}
