/** Findings on a page: what was found, what was expected, what to do, and which drive it is about. Pure. */
import { blocks, describeFinding, type Finding } from '../../findings/finding.ts';
import { count } from '../../findings/human.ts';
import { driveOf } from '../words.ts';
import { prose } from './document.ts';
import { code, type Markup, markup, name, type Piece } from './markup.ts';

/** How many of one code are written out before they are counted. */
const WRITTEN_OUT = 3;

interface Group {
  readonly items: Finding[];
  /** Counted in the record, and not written out there either. */
  more: number;
}

/** By code, in the order of their first appearance. */
export function groupedFindings(list: readonly Finding[]): Group[] {
  const groups = new Map<string, Group>();
  for (const item of list) {
    const key = item.counted?.code ?? item.code;
    const group = groups.get(key) ?? { items: [], more: 0 };
    groups.set(key, group);
    if (item.counted === undefined || group.items.length === 0) group.items.push(item);
    if (item.counted !== undefined) group.more += item.counted.more;
  }
  return [...groups.values()];
}

const row = (term: string, text: Piece): Markup => markup`<dt>${term}</dt><dd>${text}</dd>`;

function whereRows(item: Finding, day: string): Piece {
  const { roll, copy, clip, file, profile } = item;
  const names = [
    ...(clip === undefined ? [] : [markup`clip ${name(clip)}`]),
    ...(profile === undefined ? [] : [markup`profile ${name(profile)}`]),
    ...(file === undefined ? [] : [code(file)]),
  ];
  const where = names.map((one, index) => (index === 0 ? one : markup`, ${one}`));
  return [
    copy === undefined
      ? null
      : row('Drive', markup`${name(driveOf(copy, { day, roll: roll ?? '' }))} (${code(copy)})`),
    names.length === 0 ? null : row('Where', where),
  ];
}

const rows = (item: Finding, day: string): Markup =>
  markup`${whereRows(item, day)}${row('Found', markup`<bdi>${item.found}</bdi>`)}${row('Expected', markup`<bdi>${item.expected}</bdi>`)}`;

export interface FindingsRequest {
  readonly day: string;
  /** Heading of each: 3 or 4. */
  readonly level: 3 | 4;
}

function groupMarkup({ items, more }: Group, { day, level }: FindingsRequest): Markup {
  const first = items[0] as Finding;
  const { title, remedy } = describeFinding(first, '');
  const total = first.counted === undefined ? items.length + more : more;
  const heading = markup`${title[0]?.toUpperCase() ?? ''}${title.slice(1)}${total > 1 ? `, ${total} times` : ''}`;
  const rest = total - Math.min(items.length, WRITTEN_OUT);
  const shown = items
    .slice(0, WRITTEN_OUT)
    .map((item, index) => (index === 0 ? rows(item, day) : markup`<hr>${rows(item, day)}`));
  return markup`<div class="finding${blocks(first) ? null : ' note'}">
${level === 3 ? markup`<h3>${heading}</h3>` : markup`<h4>${heading}</h4>`}
<dl>${shown}${rest > 0 ? row('And', markup`${rest} more, in the record of the roll`) : null}<dt>What to do</dt><dd class="do">${prose(remedy)}</dd></dl>
<p class="small">Code ${code(first.code)}</p>
</div>`;
}

export const findingsMarkup = (list: readonly Finding[], request: FindingsRequest): Markup =>
  markup`${groupedFindings(list).map((group) => groupMarkup(group, request))}`;

export const countedNotes = (list: readonly Finding[]): string =>
  count(
    groupedFindings(list).reduce((sum, { items, more }) => sum + items.length + more, 0),
    'note',
  );
