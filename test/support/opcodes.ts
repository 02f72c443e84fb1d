/** Writes lists of opcodes (DNG specification, chapter 7): big end first. It knows nothing of the reader. */
import type { DngTag } from './dng.ts';

export type Field = readonly ['u16' | 'u32' | 'f32' | 'f64', ...number[]];

export interface TestOpcode {
  readonly id: number;
  /** Bit 0: optional; bit 1: previews may pass over it. */
  readonly flags?: number;
  readonly fields: readonly Field[];
}

export function parameters(fields: readonly Field[]): Buffer {
  return Buffer.concat(
    fields.flatMap(([type, ...values]) =>
      values.map((value) => {
        const bytes = Buffer.alloc({ u16: 2, u32: 4, f32: 4, f64: 8 }[type]);
        if (type === 'u16') bytes.writeUInt16BE(value);
        else if (type === 'u32') bytes.writeUInt32BE(value);
        else if (type === 'f32') bytes.writeFloatBE(value);
        else bytes.writeDoubleBE(value);
        return bytes;
      }),
    ),
  );
}

/** `list`: 1, 2 or 3. */
export function opcodeList(list: 1 | 2 | 3, opcodes: readonly TestOpcode[]): DngTag {
  const bytes = Buffer.concat([
    parameters([['u32', opcodes.length]]),
    ...opcodes.flatMap(({ id, flags = 0, fields }) => {
      const said = parameters(fields);
      // The version that a reader must know: 1.3.0.0.
      return [parameters([['u32', id, 0x0103_0000, flags, said.length]]), said];
    }),
  ]);
  return { tag: { 1: 51_008, 2: 51_009, 3: 51_022 }[list], type: 'undefined', values: [...bytes] };
}

/** Top, left, bottom, right, first plane, planes, every so many rows and columns. */
export const reach = (
  area: readonly [number, number, number, number],
  plane = 0,
  planes = 1,
  rowPitch = 1,
  columnPitch = 1,
): Field => ['u32', ...area, plane, planes, rowPitch, columnPitch];

/** Red, green and blue, by planes. */
export const gainMap = (
  area: Field,
  rows: number,
  columns: number,
  gains: readonly number[],
  planes = 1,
): TestOpcode => ({
  id: 9,
  fields: [
    area,
    ['u32', rows, columns],
    ['f64', rows > 1 ? 1 / (rows - 1) : 1, columns > 1 ? 1 / (columns - 1) : 1, 0, 0],
    ['u32', planes],
    ['f32', ...gains],
  ],
});
export const vignette = (k: readonly number[], x = 0.5, y = 0.5): TestOpcode => ({
  id: 3,
  fields: [['f64', ...k, x, y]],
});
export const warp = (planes: readonly (readonly number[])[], x = 0.5, y = 0.5): TestOpcode => ({
  id: 1,
  fields: [
    ['u32', planes.length],
    ['f64', ...planes.flat(), x, y],
  ],
});
