/**
 * Lists of corrections of the picture (DNG specification, chapter 7): which there are, whether a reader may pass over them, and what those say
 * that are made here. How they are made: media/raw/corrections.
 */
import { StillDamage } from '../still.ts';

const NAMES = [
  'WarpRectilinear',
  'WarpFisheye',
  'FixVignetteRadial',
  'FixBadPixelsConstant',
  'FixBadPixelsList',
  'TrimBounds',
  'MapTable',
  'MapPolynomial',
  'GainMap',
  'DeltaPerRow',
  'DeltaPerColumn',
  'ScalePerRow',
  'ScalePerColumn',
  'WarpRectilinear2',
];

export function opcodeName(id: number): string {
  return NAMES[id - 1] ?? `opcode ${id}`;
}

/** Rows and columns of the picture that the list works on, end exclusive. */
export interface Rectangle {
  readonly top: number;
  readonly left: number;
  readonly bottom: number;
  readonly right: number;
}

/** Size of the picture that lists 2 and 3 work on, and where it begins, in pixels of the active area. */
export interface Bounds {
  readonly top: number;
  readonly left: number;
  readonly height: number;
  readonly width: number;
}

/** What is left of a picture, never less than a pixel. */
export function trimmed(bounds: Bounds, area: Rectangle): Bounds {
  const top = Math.min(area.top, bounds.height - 1);
  const left = Math.min(area.left, bounds.width - 1);
  return {
    top: bounds.top + top,
    left: bounds.left + left,
    height: Math.max(1, Math.min(area.bottom, bounds.height) - top),
    width: Math.max(1, Math.min(area.right, bounds.width) - left),
  };
}

/** Which samples an opcode changes: every so many rows and columns of an area, in so many planes. */
export interface Reach extends Rectangle {
  readonly plane: number;
  readonly planes: number;
  readonly rowPitch: number;
  readonly columnPitch: number;
}

export interface GainMap {
  /** Points of the map from its top, and from its left. */
  readonly rows: number;
  readonly columns: number;
  /** Of the picture's height and width: from a point to the next, and where the first lies. */
  readonly spacing: { readonly down: number; readonly across: number };
  readonly origin: { readonly down: number; readonly across: number };
  readonly planes: number;
  /** Row by row, point by point, plane by plane. */
  readonly gains: readonly number[];
}

/** Coefficients of one plane of WarpRectilinear: radial 0 to 3, tangential 0 and 1. */
export type WarpPlane = readonly [number, number, number, number, number, number];

/** What an opcode asks. */
export type Correction =
  | { readonly kind: 'warp'; readonly planes: readonly WarpPlane[]; readonly x: number; readonly y: number }
  | { readonly kind: 'vignette'; readonly k: readonly number[]; readonly x: number; readonly y: number }
  | { readonly kind: 'bad-constant'; readonly code: number }
  | {
      readonly kind: 'bad-list';
      readonly points: readonly (readonly [row: number, column: number])[];
      readonly areas: readonly Rectangle[];
    }
  | { readonly kind: 'trim'; readonly area: Rectangle }
  | { readonly kind: 'table'; readonly reach: Reach; readonly entries: readonly number[] }
  | { readonly kind: 'polynomial'; readonly reach: Reach; readonly coefficients: readonly number[] }
  | { readonly kind: 'gain-map'; readonly reach: Reach; readonly map: GainMap }
  | {
      readonly kind: 'line';
      readonly reach: Reach;
      readonly along: 'rows' | 'columns';
      readonly how: 'add' | 'multiply';
      readonly values: readonly number[];
    };

export interface RawOpcode {
  /** 1: on stored values; 2: behind the linearisation; 3: behind the demosaic. */
  readonly list: 1 | 2 | 3;
  readonly id: number;
  /** True: whoever does not know it may pass over it. */
  readonly optional: boolean;
  /** True: previews may pass over it. */
  readonly forQuality: boolean;
  /** null: nobody here knows it, and `why` says so. */
  readonly correction: Correction | null;
  readonly why: string | null;
}

const HEAD_BYTES = 16;
/** Of bad pixels, points and areas each; more is a damaged count. */
const MOST_BAD = 1024 * 1024;

/** Reads the parameters of one opcode from their beginning; past their end it throws StillDamage. */
class Fields {
  readonly #bytes: Buffer;
  readonly #name: string;
  #at = 0;
  constructor(bytes: Buffer, name: string) {
    this.#bytes = bytes;
    this.#name = name;
  }
  fail(what: string): StillDamage {
    return new StillDamage(`${this.#name}: ${what}`);
  }
  #next(size: number): number {
    const at = this.#at;
    if (at + size > this.#bytes.length) throw this.fail(`${this.#bytes.length} bytes are too few`);
    this.#at += size;
    return at;
  }
  u16 = (): number => this.#bytes.readUInt16BE(this.#next(2));
  u32 = (): number => this.#bytes.readUInt32BE(this.#next(4));
  f32 = (): number => this.#finite(this.#bytes.readFloatBE(this.#next(4)));
  f64 = (): number => this.#finite(this.#bytes.readDoubleBE(this.#next(8)));
  #finite(value: number): number {
    if (!Number.isFinite(value)) throw this.fail('a value that is no number');
    return value;
  }
  many(count: number, size: number, read: () => number): number[] {
    if (count * size > this.#bytes.length - this.#at)
      throw this.fail(`${count} values in ${this.#bytes.length - this.#at} bytes`);
    return Array.from({ length: count }, read);
  }
  rectangle(): Rectangle {
    const [top, left, bottom, right] = [this.u32(), this.u32(), this.u32(), this.u32()];
    if (bottom < top || right < left) throw this.fail(`an area ${top} ${left} ${bottom} ${right}`);
    return { top, left, bottom, right };
  }
  reach(): Reach {
    const area = this.rectangle();
    const [plane, planes, rowPitch, columnPitch] = [this.u32(), this.u32(), this.u32(), this.u32()];
    if (rowPitch < 1 || columnPitch < 1 || planes < 1)
      throw this.fail(`${planes} planes, every ${rowPitch} rows and ${columnPitch} columns`);
    return { ...area, plane, planes, rowPitch, columnPitch };
  }
  /** Throws when there is more. */
  end<Value>(value: Value): Value {
    if (this.#at !== this.#bytes.length) throw this.fail(`${this.#bytes.length} bytes, ${this.#at} are said`);
    return value;
  }
}

function gainMapOf(fields: Fields): GainMap {
  const [rows, columns] = [fields.u32(), fields.u32()];
  const spacing = { down: fields.f64(), across: fields.f64() };
  const origin = { down: fields.f64(), across: fields.f64() };
  const planes = fields.u32();
  if (rows < 1 || columns < 1 || planes < 1)
    throw fields.fail(`a map of ${rows} x ${columns} points in ${planes} planes`);
  if ((rows > 1 && !(spacing.down > 0)) || (columns > 1 && !(spacing.across > 0)))
    throw fields.fail(`points ${spacing.down} and ${spacing.across} apart`);
  return {
    rows,
    columns,
    spacing,
    origin,
    planes,
    gains: fields.many(rows * columns * planes, 4, fields.f32),
  };
}

function lineOf(
  fields: Fields,
  along: 'rows' | 'columns',
  how: 'add' | 'multiply',
): Extract<Correction, { kind: 'line' }> {
  const reach = fields.reach();
  const values = fields.many(fields.u32(), 4, fields.f32);
  const lines =
    along === 'rows'
      ? Math.ceil((reach.bottom - reach.top) / reach.rowPitch)
      : Math.ceil((reach.right - reach.left) / reach.columnPitch);
  if (values.length !== lines) throw fields.fail(`${values.length} values for ${lines} ${along}`);
  return { kind: 'line', reach, along, how, values };
}

/** Throws StillDamage where the parameters are not whole. */
function correctionOf(id: number, bytes: Buffer): Correction | null {
  const fields = new Fields(bytes, opcodeName(id));
  switch (opcodeName(id)) {
    case 'WarpRectilinear': {
      const count = fields.u32();
      if (count !== 1 && count !== 3) throw fields.fail(`${count} planes`);
      const planes = Array.from(
        { length: count },
        (): WarpPlane => [fields.f64(), fields.f64(), fields.f64(), fields.f64(), fields.f64(), fields.f64()],
      );
      return fields.end({ kind: 'warp', planes, x: fields.f64(), y: fields.f64() });
    }
    case 'FixVignetteRadial':
      return fields.end({
        kind: 'vignette',
        k: fields.many(5, 8, fields.f64),
        x: fields.f64(),
        y: fields.f64(),
      });
    case 'FixBadPixelsConstant': {
      const code = fields.u32();
      // The phase of the pattern: neighbours of the same colour are two away in any.
      fields.u32();
      return fields.end({ kind: 'bad-constant', code });
    }
    case 'FixBadPixelsList': {
      fields.u32();
      const [points, areas] = [fields.u32(), fields.u32()];
      if (points > MOST_BAD || areas > MOST_BAD) throw fields.fail(`${points} points and ${areas} areas`);
      return fields.end({
        kind: 'bad-list',
        points: Array.from({ length: points }, () => [fields.u32(), fields.u32()] as const),
        areas: Array.from({ length: areas }, () => fields.rectangle()),
      });
    }
    case 'TrimBounds':
      return fields.end({ kind: 'trim', area: fields.rectangle() });
    case 'MapTable': {
      const reach = fields.reach();
      const entries = fields.many(fields.u32(), 2, fields.u16);
      if (entries.length === 0 || entries.length > 65_536) throw fields.fail(`${entries.length} entries`);
      return fields.end({ kind: 'table', reach, entries });
    }
    case 'MapPolynomial': {
      const reach = fields.reach();
      const degree = fields.u32();
      if (degree > 8) throw fields.fail(`degree ${degree}`);
      return fields.end({ kind: 'polynomial', reach, coefficients: fields.many(degree + 1, 8, fields.f64) });
    }
    case 'GainMap':
      return fields.end({ kind: 'gain-map', reach: fields.reach(), map: gainMapOf(fields) });
    case 'DeltaPerRow':
      return fields.end(lineOf(fields, 'rows', 'add'));
    case 'DeltaPerColumn':
      return fields.end(lineOf(fields, 'columns', 'add'));
    case 'ScalePerRow':
      return fields.end(lineOf(fields, 'rows', 'multiply'));
    case 'ScalePerColumn':
      return fields.end(lineOf(fields, 'columns', 'multiply'));
    default:
      return null;
  }
}

/** Parameters that are not whole lie in a list that is: what is wrong is said of the opcode, and the frame stays. */
function readCorrection(id: number, bytes: Buffer): Pick<RawOpcode, 'correction' | 'why'> {
  try {
    const correction = correctionOf(id, bytes);
    return { correction, why: correction === null ? 'not known here' : null };
  } catch (error) {
    if (!(error instanceof StillDamage)) throw error;
    return { correction: null, why: error.message };
  }
}

/** Big end first whatever the file's byte order. Throws StillDamage when the list does not end where it should. */
export function readOpcodes(list: RawOpcode['list'], bytes: Buffer): RawOpcode[] {
  const wrong = (): StillDamage => new StillDamage(`OpcodeList${list} is cut off`);
  if (bytes.length < 4) throw wrong();
  const opcodes: RawOpcode[] = [];
  let at = 4;
  for (let left = bytes.readUInt32BE(0); left > 0; left -= 1) {
    if (at + HEAD_BYTES > bytes.length) throw wrong();
    const id = bytes.readUInt32BE(at);
    const flags = bytes.readUInt32BE(at + 8);
    const start = at + HEAD_BYTES;
    at = start + bytes.readUInt32BE(at + 12);
    if (at > bytes.length) throw wrong();
    opcodes.push({
      list,
      id,
      optional: (flags & 1) !== 0,
      forQuality: (flags & 2) !== 0,
      ...readCorrection(id, bytes.subarray(start, at)),
    });
  }
  return opcodes;
}
