/** Findings in great numbers: the first of each kind as they are, the rest counted. */
import { type Finding, finding } from './finding.ts';

/** How many findings of one code, roll and copy are kept; the others are counted. */
export const KEPT_OF_A_KIND = 100;

interface Kind {
  readonly first: Finding;
  kept: number;
  more: number;
}

/** What says how many there were beyond those that are kept. A tally takes it up again and goes on counting. */
function moreOf({ first, more }: Kind): Finding {
  const { code, roll, copy } = first;
  return {
    ...finding('findings-more', `${more} more of ${code}`, `the first ${KEPT_OF_A_KIND}, written out`, {
      ...(roll === undefined ? {} : { roll }),
      ...(copy === undefined ? {} : { copy }),
    }),
    counted: { code, more },
  };
}

/** Bounded by the number of kinds, whatever is added. */
export class FindingTally {
  readonly #kept: Finding[] = [];
  readonly #kinds = new Map<string, Kind>();

  add(item: Finding): void {
    const { counted, ...rest } = item;
    const kind = this.#kindOf(counted === undefined ? item : { ...rest, code: counted.code });
    if (counted !== undefined) kind.more += counted.more;
    else if (kind.kept < KEPT_OF_A_KIND) {
      kind.kept += 1;
      this.#kept.push(item);
    } else kind.more += 1;
  }

  addAll(items: Iterable<Finding>): void {
    for (const item of items) this.add(item);
  }

  #kindOf(item: Finding): Kind {
    const key = JSON.stringify([item.code, item.roll, item.copy]);
    const known = this.#kinds.get(key);
    if (known !== undefined) return known;
    const made = { first: item, kept: 0, more: 0 };
    this.#kinds.set(key, made);
    return made;
  }

  /** In the order of adding; last, for each kind of which there are more, how many. */
  findings(): Finding[] {
    return [...this.#kept, ...[...this.#kinds.values()].filter(({ more }) => more > 0).map(moreOf)];
  }
}

export function tallied(items: Iterable<Finding>): Finding[] {
  const tally = new FindingTally();
  tally.addAll(items);
  return tally.findings();
}
