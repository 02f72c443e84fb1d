/** Numbers drawn from a seed: the same seed and case draw the same on every machine. */
import { createHash } from 'node:crypto';

export interface Random {
  /** A whole number from 0 to below `limit`. */
  below(limit: number): number;
  /** A whole number, both ends included. */
  between(least: number, most: number): number;
  /** One of a list that is not empty. */
  of<Value>(list: readonly Value[]): Value;
  /** A list in another order. */
  shuffled<Value>(list: readonly Value[]): Value[];
}

/** `names` tell draws apart that must not depend on each other. */
export function randomOf(...names: readonly (string | number)[]): Random {
  let counter = 0;
  const next = (): number => {
    const digest = createHash('sha256')
      .update(JSON.stringify([...names, counter]))
      .digest();
    counter += 1;
    return digest.readUIntBE(0, 6);
  };
  const below = (limit: number): number => {
    if (!(limit >= 1)) throw new RangeError(`nothing to draw from: ${limit}`);
    return next() % limit;
  };
  return {
    below,
    between: (least, most) => least + below(most - least + 1),
    of: (list) => list[below(list.length)] as (typeof list)[number],
    shuffled: (list) => {
      const left = [...list];
      return list.map(() => left.splice(below(left.length), 1)[0] as (typeof list)[number]);
    },
  };
}
