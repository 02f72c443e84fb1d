/**
 * What frames say beside their pictures: camera, lens, exposure, place and time, by the names, types and units of OpenEXR's standard
 * attributes (openexr.com, "Standard Attributes"), whatever the frames' own form calls them. A value that nobody says is absent.
 */
import type { ClipAttribute, LeftOut, Stated, StatedValue, statedTypes } from './stated-schema.ts';

/** Of one frame. */
export interface StatedAttribute {
  readonly name: string;
  readonly type: (typeof statedTypes)[number];
  readonly value: StatedValue;
  readonly from: string;
}
export interface StatedFrame {
  readonly attributes: readonly StatedAttribute[];
  readonly left: readonly LeftOut[];
}

const MOST_TEXT = 4096;
/** A header of a master has room for 256 KiB. */
const MOST_ATTRIBUTES = 256;
/** Letters of JSON, of a clip: its job has it once among its facts and once for each master, and a job has room for a megabyte. */
const MOST_OF_A_CLIP = 96 * 1024;

/** An absolute path, an address, or names apart by slashes of which the last has an extension. */
const PATH =
  /(?:^|[\s"'=;,(])(?:\/[^\s/]|~\/|[A-Za-z]:[\\/]|\\\\)|\w:\/\/|[\w.-]+[\\/](?:[\w. -]+[\\/])*[\w -]+\.[A-Za-z][A-Za-z0-9]{1,4}\b/;

/** Why a text is not carried; null: it is. A header never says where files lie. */
export function textObjection(text: string): string | null {
  if (PATH.test(text)) return 'holds a path';
  if (text.includes('\ufffd')) return 'not UTF-8';
  // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for.
  if (/[\x00-\x08\x0b-\x1f\x7f]/.test(text)) return 'holds control characters';
  return Buffer.byteLength(text) > MOST_TEXT ? `longer than ${MOST_TEXT} bytes` : null;
}

/** What one frame says, while it is gathered: the first of a name counts. */
export class StatedGatherer {
  readonly #attributes = new Map<string, StatedAttribute>();
  readonly #left = new Map<string, string>();

  add(attribute: StatedAttribute | null): void {
    if (attribute === null || this.#attributes.has(attribute.name)) return;
    const texts = [attribute.value].flat().filter((one) => typeof one === 'string');
    const why =
      texts.map(textObjection).find((objection) => objection !== null) ??
      (this.#attributes.size >= MOST_ATTRIBUTES ? `more than ${MOST_ATTRIBUTES} attributes` : null);
    if (why === null) this.#attributes.set(attribute.name, attribute);
    else this.leave(attribute.from, why);
  }

  /** A text that says nothing is not said. */
  text(name: string, value: string | null, from: string): void {
    const trimmed = value?.trim() ?? '';
    if (trimmed !== '') this.add({ name, type: 'string', value: trimmed, from });
  }

  /** Rounded to what a float holds, so that it is the same wherever it is read. */
  float(name: string, value: number | null, from: string): void {
    if (value === Number.POSITIVE_INFINITY) this.add({ name, type: 'float', value: 'infinity', from });
    else if (value !== null && Number.isFinite(Math.fround(value)))
      this.add({ name, type: 'float', value: Math.fround(value), from });
  }

  leave(name: string, why: string): void {
    if (!this.#left.has(name)) this.#left.set(name, why);
  }

  frame(): StatedFrame {
    return {
      attributes: [...this.#attributes.values()],
      left: [...this.#left].map(([name, why]) => ({ name, why })),
    };
  }
}

/**
 * What a clip says, from its frames in order; null where one could not be read. Values that stay are there once; what changes more often
 * than records hold is left out, the heaviest first. Null: nothing is said.
 */
export function statedOfFrames(frames: readonly (StatedFrame | null)[]): Stated | null {
  const clips = new Map<string, ClipAttribute>();
  const left = new Map<string, string>();
  const last = new Map<string, string>();
  for (const [frame, one] of frames.entries()) {
    if (one === null) continue;
    const here = new Set<string>();
    for (const { name, type, value, from } of one.attributes) {
      here.add(name);
      const known = clips.get(name);
      if (known === undefined) {
        clips.set(name, { name, type, from, values: [{ frame, value }] });
        last.set(name, JSON.stringify(value));
      } else if (known.type !== type) left.set(known.from, 'of another type in other frames');
      else if (last.get(name) !== JSON.stringify(value)) {
        known.values.push({ frame, value });
        last.set(name, JSON.stringify(value));
      }
    }
    for (const [name, attribute] of clips)
      if (!here.has(name) && last.get(name) !== 'null') {
        attribute.values.push({ frame, value: null });
        last.set(name, 'null');
      }
    for (const { name, why } of one.left) left.set(name, why);
  }
  for (const [name, { from }] of clips)
    if (left.get(from) === 'of another type in other frames') clips.delete(name);
  const heavy = [...clips.values()]
    .map((attribute) => ({
      attribute,
      weight: JSON.stringify(attribute).length,
    }))
    .sort((a, b) => b.weight - a.weight);
  let all = heavy.reduce((sum, one) => sum + one.weight, 0);
  for (const { attribute, weight: own } of heavy) {
    if (all <= MOST_OF_A_CLIP) break;
    clips.delete(attribute.name);
    left.set(attribute.from, `changes ${attribute.values.length} times: more than the records hold`);
    all -= own;
  }
  const byName = (a: { name: string }, b: { name: string }): number => (a.name < b.name ? -1 : 1);
  if (clips.size === 0 && left.size === 0) return null;
  return {
    attributes: [...clips.values()].sort(byName),
    left: [...left].map(([name, why]) => ({ name, why })).sort(byName),
  };
}

/** The value in a frame, counted from 0; null: not said there. */
export function valueAt({ values }: Pick<ClipAttribute, 'values'>, frame: number): StatedValue | null {
  let found: StatedValue | null = null;
  for (const one of values) {
    if (one.frame > frame) break;
    found = one.value;
  }
  return found;
}

/** Frames share what they have in common: an hour of them says the same thing a hundred thousand times. */
export class SharedFrames {
  readonly #known = new Map<string, StatedAttribute>();

  share({ attributes, left }: StatedFrame): StatedFrame {
    return {
      left,
      attributes: attributes.map((attribute) => {
        const key = JSON.stringify(attribute);
        const known = this.#known.get(key);
        if (known === undefined) this.#known.set(key, attribute);
        return known ?? attribute;
      }),
    };
  }
}
