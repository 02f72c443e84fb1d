/**
 * Our own reader of TrueType outlines, as far as proving a text needs it: which glyph a character has, how wide it is, and its contours in units of
 * the em (OpenType 1.9, tables head, maxp, hhea, hmtx, cmap, loca and glyf). Instructions are not run: glyphs are taken as they were drawn.
 */

/** A point of a contour; off the curve: the control point of a quadratic one. */
export interface OutlinePoint {
  readonly x: number;
  readonly y: number;
  readonly on: boolean;
}
export type Contour = readonly OutlinePoint[];

export interface FontMetrics {
  readonly unitsPerEm: number;
  /** Of `hhea`: highest and lowest of a line; the second is negative. */
  readonly ascender: number;
  readonly descender: number;
}

export interface Font extends FontMetrics {
  /** Number of the glyph of a code point; 0: the font has none. */
  glyphOf(codePoint: number): number;
  /** Units of the em. */
  advanceOf(glyph: number): number;
  /** Empty: nothing is drawn. Throws RangeError for a glyph that the font does not have, and FontDamage. */
  contoursOf(glyph: number): readonly Contour[];
}

/** What is no font, or not whole. */
export class FontDamage extends Error {
  constructor(what: string) {
    super(what);
    this.name = 'FontDamage';
  }
}

/** Parts of parts; more is a circle. */
const DEEPEST = 8;

/** `glyf`, simple glyph: flags of a point. */
const ON_CURVE = 0x01;
const X_SHORT = 0x02;
const Y_SHORT = 0x04;
const REPEAT = 0x08;
const X_SAME_OR_POSITIVE = 0x10;
const Y_SAME_OR_POSITIVE = 0x20;

/** `glyf`, composite glyph: flags of a part. */
const ARGS_ARE_WORDS = 0x0001;
const ARGS_ARE_XY = 0x0002;
const HAS_SCALE = 0x0008;
const MORE_PARTS = 0x0020;
const HAS_TWO_SCALES = 0x0040;
const HAS_MATRIX = 0x0080;
const SCALED_OFFSET = 0x0800;

/** A table of the font, whose reads beyond its end are damage. */
class Table {
  readonly #bytes: Buffer;
  readonly #name: string;

  constructor(bytes: Buffer, name: string) {
    this.#bytes = bytes;
    this.#name = name;
  }

  get length(): number {
    return this.#bytes.length;
  }

  #within(at: number, size: number): number {
    if (at < 0 || at + size > this.#bytes.length)
      throw new FontDamage(`${this.#name} ends at ${this.#bytes.length}, before ${at + size}`);
    return at;
  }

  u8(at: number): number {
    return this.#bytes.readUInt8(this.#within(at, 1));
  }
  i8(at: number): number {
    return this.#bytes.readInt8(this.#within(at, 1));
  }
  u16(at: number): number {
    return this.#bytes.readUInt16BE(this.#within(at, 2));
  }
  i16(at: number): number {
    return this.#bytes.readInt16BE(this.#within(at, 2));
  }
  u32(at: number): number {
    return this.#bytes.readUInt32BE(this.#within(at, 4));
  }
  /** F2DOT14. */
  fraction(at: number): number {
    return this.i16(at) / 16_384;
  }
  part(from: number, to: number): Table {
    if (from > to) throw new FontDamage(`a part of ${this.#name} ends before it begins`);
    this.#within(from, to - from);
    return new Table(this.#bytes.subarray(from, to), this.#name);
  }
}

function tablesOf(bytes: Buffer): (name: string) => Table {
  const file = new Table(bytes, 'the font');
  const version = file.u32(0);
  // Outlines of glyf: 1.0, or the name that older systems gave it.
  if (version !== 0x0001_0000 && version !== 0x7472_7565)
    throw new FontDamage(`no TrueType outlines: the file begins with ${version.toString(16)}`);
  const places = new Map<string, readonly [from: number, to: number]>();
  for (let index = 0; index < file.u16(4); index += 1) {
    const at = 12 + 16 * index;
    const tag = bytes.toString('latin1', at, at + 4);
    places.set(tag, [file.u32(at + 8), file.u32(at + 8) + file.u32(at + 12)]);
  }
  return (name) => {
    const place = places.get(name);
    if (place === undefined) throw new FontDamage(`no table ${name}`);
    const [from, to] = place;
    if (to > bytes.length) throw new FontDamage(`${name} goes on beyond the end of the file`);
    return new Table(bytes.subarray(from, to), name);
  };
}

/** Format 4: segments of the first 65 536 characters. */
function segmentsOf(cmap: Table): (code: number) => number {
  const double = cmap.u16(6);
  return (code) => {
    if (code > 0xffff) return 0;
    for (let at = 0; at < double; at += 2) {
      if (code > cmap.u16(14 + at)) continue;
      const start = cmap.u16(16 + double + at);
      if (code < start) return 0;
      const delta = cmap.i16(16 + 2 * double + at);
      const place = 16 + 3 * double + at;
      const offset = cmap.u16(place);
      if (offset === 0) return (code + delta) & 0xffff;
      const glyph = cmap.u16(place + offset + 2 * (code - start));
      return glyph === 0 ? 0 : (glyph + delta) & 0xffff;
    }
    return 0;
  };
}

/** Format 12: groups of all characters. */
function groupsOf(cmap: Table): (code: number) => number {
  const count = cmap.u32(12);
  return (code) => {
    for (let at = 16; at < 16 + 12 * count; at += 12)
      if (code >= cmap.u32(at) && code <= cmap.u32(at + 4)) return cmap.u32(at + 8) + code - cmap.u32(at);
    return 0;
  };
}

/** The widest table of Unicode that the font has. */
function glyphsOf(cmap: Table): (code: number) => number {
  let chosen: { worth: number; read: (code: number) => number } | null = null;
  for (let index = 0; index < cmap.u16(2); index += 1) {
    const at = 4 + 8 * index;
    const [platform, encoding] = [cmap.u16(at), cmap.u16(at + 2)];
    if (platform !== 0 && !(platform === 3 && (encoding === 1 || encoding === 10))) continue;
    const table = cmap.part(cmap.u32(at + 4), cmap.length);
    const format = table.u16(0);
    const worth = format === 12 ? 2 : format === 4 ? 1 : 0;
    if (worth > (chosen?.worth ?? 0))
      chosen = { worth, read: format === 12 ? groupsOf(table) : segmentsOf(table) };
  }
  if (chosen === null) throw new FontDamage('no characters of Unicode in cmap');
  return chosen.read;
}

/** Contours of a simple glyph. */
function simple(table: Table, count: number): Contour[] {
  const ends = Array.from({ length: count }, (_, index) => table.u16(10 + 2 * index));
  const points = (ends.at(-1) ?? -1) + 1;
  let at = 10 + 2 * count;
  at += 2 + table.u16(at);
  const flags: number[] = [];
  while (flags.length < points) {
    const flag = table.u8(at++);
    flags.push(flag);
    if ((flag & REPEAT) === 0) continue;
    for (let again = table.u8(at++); again > 0; again -= 1) flags.push(flag);
  }
  const side = (short: number, sameOrPositive: number): number[] => {
    let value = 0;
    return flags.slice(0, points).map((flag) => {
      if ((flag & short) !== 0) value += (flag & sameOrPositive) !== 0 ? table.u8(at++) : -table.u8(at++);
      else if ((flag & sameOrPositive) === 0) {
        value += table.i16(at);
        at += 2;
      }
      return value;
    });
  };
  const xs = side(X_SHORT, X_SAME_OR_POSITIVE);
  const ys = side(Y_SHORT, Y_SAME_OR_POSITIVE);
  return ends.map((end, index) => {
    const first = index === 0 ? 0 : (ends[index - 1] as number) + 1;
    return xs.slice(first, end + 1).map((x, place) => ({
      x,
      y: ys[first + place] as number,
      on: ((flags[first + place] as number) & ON_CURVE) !== 0,
    }));
  });
}

export function readFont(bytes: Buffer): Font {
  const table = tablesOf(bytes);
  const [head, hhea, maxp] = [table('head'), table('hhea'), table('maxp')];
  const [hmtx, loca, glyf] = [table('hmtx'), table('loca'), table('glyf')];
  const glyphs = maxp.u16(4);
  const advances = hhea.u16(34);
  const isLong = head.i16(50) === 1;
  const glyphOf = glyphsOf(table('cmap'));
  const place = (glyph: number): number => (isLong ? loca.u32(4 * glyph) : 2 * loca.u16(2 * glyph));

  const contoursOf = (glyph: number, depth: number): Contour[] => {
    if (glyph < 0 || glyph >= glyphs) throw new RangeError(`no glyph ${glyph} among ${glyphs}`);
    if (depth > DEEPEST) throw new FontDamage(`glyph ${glyph} has parts of parts without an end`);
    const [from, to] = [place(glyph), place(glyph + 1)];
    if (from === to) return [];
    const own = glyf.part(from, to);
    const count = own.i16(0);
    return count >= 0 ? simple(own, count) : composite(own, depth);
  };

  const composite = (own: Table, depth: number): Contour[] => {
    const contours: Contour[] = [];
    for (let at = 10, more = true; more; ) {
      const flags = own.u16(at);
      const part = own.u16(at + 2);
      at += 4;
      if ((flags & ARGS_ARE_XY) === 0) throw new FontDamage('parts put together by points are not read');
      const isWide = (flags & ARGS_ARE_WORDS) !== 0;
      const [dx, dy] = isWide ? [own.i16(at), own.i16(at + 2)] : [own.i8(at), own.i8(at + 1)];
      at += isWide ? 4 : 2;
      let [xx, xy, yx, yy] = [1, 0, 0, 1];
      if ((flags & HAS_SCALE) !== 0) {
        xx = yy = own.fraction(at);
        at += 2;
      } else if ((flags & HAS_TWO_SCALES) !== 0) {
        [xx, yy] = [own.fraction(at), own.fraction(at + 2)];
        at += 4;
      } else if ((flags & HAS_MATRIX) !== 0) {
        [xx, xy, yx, yy] = [
          own.fraction(at),
          own.fraction(at + 2),
          own.fraction(at + 4),
          own.fraction(at + 6),
        ];
        at += 8;
      }
      if ((flags & SCALED_OFFSET) !== 0) throw new FontDamage('scaled offsets of parts are not read');
      for (const contour of contoursOf(part, depth + 1))
        contours.push(
          contour.map(({ x, y, on }) => ({ x: xx * x + yx * y + dx, y: xy * x + yy * y + dy, on })),
        );
      more = (flags & MORE_PARTS) !== 0;
    }
    return contours;
  };

  return {
    unitsPerEm: head.u16(18),
    ascender: hhea.i16(4),
    descender: hhea.i16(6),
    glyphOf,
    advanceOf: (glyph) => hmtx.u16(4 * Math.min(glyph, advances - 1)),
    contoursOf: (glyph) => contoursOf(glyph, 0),
  };
}
