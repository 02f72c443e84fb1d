/** `extends`: a profile file over the ones it builds on. Groups merge, lists and plain values replace. */
import type { Finding } from '../findings/finding.ts';
import { findingAt, type Path, type ProfileDocument } from './document.ts';

type Values = Readonly<Record<string, unknown>>;

export interface Extended {
  readonly values: Values;
  /** Where a field is stated: the file nearest to the top that states it, and the line there. */
  readonly placeOf: (path: Path) => { origin: string; line: number };
}

/** Looks a profile up by name, as seen from the file that asks. Null: there is none. */
export type FindProfile = (
  name: string,
  from: ProfileDocument,
) => Promise<{ document: ProfileDocument } | { findings: Finding[] } | null>;

const isGroup = (value: unknown): value is Values =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

function merge(below: Values, above: Values): Values {
  const merged: Record<string, unknown> = { ...below };
  for (const [name, value] of Object.entries(above)) {
    const under = Object.hasOwn(below, name) ? below[name] : undefined;
    // Another codec has other settings: what the one below said of its own is not carried over.
    const otherCodec =
      isGroup(value) &&
      isGroup(under) &&
      value.codec !== undefined &&
      under.codec !== undefined &&
      value.codec !== under.codec;
    merged[name] = isGroup(value) && isGroup(under) && !otherCodec ? merge(under, value) : value;
  }
  return merged;
}

function states(values: unknown, path: Path): boolean {
  let at = values;
  for (const part of path) {
    if (typeof at !== 'object' || at === null || !Object.hasOwn(at, part)) return false;
    at = (at as Record<string | number, unknown>)[part];
  }
  return true;
}

/** The file with everything it builds on. The fields `extends` are used up. */
export async function extend(
  top: ProfileDocument,
  find: FindProfile,
): Promise<{ extended: Extended } | { findings: Finding[] }> {
  const layers: { document: ProfileDocument; values: Values }[] = [];
  let document = top;
  for (;;) {
    const { extends: below, ...values } = document.values;
    layers.push({ document, values });
    if (below === undefined) break;
    const place = { origin: document.origin, line: document.lineOf(['extends']), field: 'extends' };
    if (typeof below !== 'string')
      return {
        findings: [findingAt('profile-value-wrong', place, JSON.stringify(below), 'the name of one profile')],
      };
    const found = await find(below, document);
    if (found === null)
      return {
        findings: [
          findingAt(
            'profile-extends-missing',
            place,
            JSON.stringify(below),
            `${below}.yaml beside this file, or a built-in profile`,
          ),
        ],
      };
    if ('findings' in found) return found;
    if (layers.some((layer) => layer.document.origin === found.document.origin)) {
      const circle = [...layers.map((layer) => layer.document.stem), found.document.stem].join(' → ');
      return { findings: [findingAt('profile-extends-circle', place, circle, 'an end')] };
    }
    document = found.document;
  }
  const values = layers.map((layer) => layer.values).reduceRight((below, above) => merge(below, above), {});
  const placeOf = (path: Path): { origin: string; line: number } => {
    const layer = layers.find((item) => states(item.values, path)) ?? (layers[0] as (typeof layers)[number]);
    return { origin: layer.document.origin, line: layer.document.lineOf(path) };
  };
  return { extended: { values, placeOf } };
}
