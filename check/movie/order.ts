/** Pictures that are decoded in another order than they are shown. */
import type { SampleTables } from './samples.ts';

/** How many pictures are decoded before one that is shown before them, at most; null where the tables do not say. */
export function reordered(samples: SampleTables | null): number | null {
  if (samples === null || samples.composition === null) return 0;
  const { times, composition, sizes } = samples;
  if (times.rows !== 1 || samples.composed !== sizes.count || sizes.all !== null) return null;
  const step = times.value(0, 1);
  const shown: number[] = [];
  for (let row = 0; row < composition.rows; row += 1)
    for (let index = 0; index < composition.value(row, 0); index += 1)
      shown.push(shown.length * step + composition.value(row, 1));
  // Groups of pictures are short: what is shown later and decoded earlier lies a few pictures back.
  let most = 0;
  for (let at = 0; at < shown.length; at += 1) {
    let later = 0;
    for (let before = Math.max(0, at - MOST_REFERENCES); before < at; before += 1)
      if ((shown[before] as number) > (shown[at] as number)) later += 1;
    most = Math.max(most, later);
  }
  return most;
}
/** ITU-T H.264, A.3.1, and H.265, A.4.2: pictures that a decoder keeps. */
const MOST_REFERENCES = 16;

export function isRoomy(said: readonly [out: number, kept: number] | null, needed: number | null): boolean {
  if (said === null || needed === null) return true;
  const [out, kept] = said;
  return out >= needed && out <= kept && kept <= MOST_REFERENCES;
}
