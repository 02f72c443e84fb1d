/** Numbers and findings as people read them. Pure. */
import { describeFinding, type Finding, blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';

/** Decimal units, as drives are sold by: `1.2 GB`. */
export function bytesText(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB', 'TB', 'PB'];
  let value = bytes;
  let unit = 0;
  while (value >= 999.5 && unit < units.length - 1) {
    value /= 1000;
    unit += 1;
  }
  return `${unit === 0 || value >= 99.5 ? value.toFixed(0) : value.toFixed(1)} ${units[unit]}`;
}

/** `2 h 05 min`, `4 min 10 s`, `9 s`. */
export function durationText(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole} s`;
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return `${minutes} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}

export function count(number: number, one: string, many = `${one}s`): string {
  return `${number} ${number === 1 ? one : many}`;
}

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
