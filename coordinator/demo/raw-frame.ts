/** A frame of the demo's raw roll: what a sensor of two by two colours gives of the scene, as a DNG file (TIFF 6.0; DNG specification 1.4). Pure. */
import { gamuts, toXyz } from '../../media/colour/gamuts.ts';
import { apply, type Matrix, type Triple } from '../../media/colour/matrix.ts';
import { SCENE } from './scene.ts';

/** From CIE XYZ to the sensor of a camera that does not exist. */
const SENSOR: Matrix = [
  [0.8, -0.25, -0.08],
  [-0.4, 1.2, 0.22],
  [-0.05, 0.2, 0.65],
];
const TO_XYZ = toXyz(gamuts.bt709);
const seen = (light: Triple): Triple => apply(SENSOR, apply(TO_XYZ, light));
/** Of a white that reflects everything. */
const WHITE = seen([1, 1, 1]);

const BLACK_LEVEL = 512;
const WHITE_LEVEL = 16_383;
const MILLION = 1_000_000;

/** Codes of the mosaic: red and green in even rows, green and blue in odd ones. A scene-linear 1 fills the channel that is filled first. */
function mosaicOf(scene: Float64Array): Uint16Array {
  const { width, height } = SCENE;
  const out = new Uint16Array(width * height);
  const fullest = Math.max(...WHITE);
  for (let at = 0; at < out.length; at += 1) {
    const light: Triple = [scene[3 * at] as number, scene[3 * at + 1] as number, scene[3 * at + 2] as number];
    const channel = (at % 2) + (Math.floor(at / width) % 2);
    const value = (seen(light)[channel as 0 | 1 | 2] as number) / fullest;
    out[at] = Math.max(
      0,
      Math.min(WHITE_LEVEL, Math.round(BLACK_LEVEL + value * (WHITE_LEVEL - BLACK_LEVEL))),
    );
  }
  return out;
}

const SIZES = { byte: 1, ascii: 1, short: 2, long: 4, rational: 4, srational: 4 } as const;
const NUMBERS = { byte: 1, ascii: 2, short: 3, long: 4, rational: 5, srational: 10 } as const;
interface Tag {
  readonly tag: number;
  readonly type: keyof typeof SIZES;
  /** Of rationals: numerator, denominator, and so on. */
  readonly values: readonly number[];
}
const text = (tag: number, words: string): Tag => ({
  tag,
  type: 'ascii',
  values: [...Buffer.from(`${words}\0`)],
});

export interface RawFrame {
  readonly scene: Float64Array;
  /** HH:MM:SS:FF, non-drop. */
  readonly timecode: string;
  readonly rate: readonly [num: number, den: number];
  readonly reel: string;
}

/** SMPTE ST 12-1 time address in binary coded decimals: frames, seconds, minutes, hours, and four bytes of nothing (DNG, TimeCodes). */
const timeCodes = (label: string): number[] => [
  ...label
    .split(':')
    .reverse()
    .map((digits) => Number.parseInt(digits, 16)),
  ...[0, 0, 0, 0],
];

export function rawFrame({ scene, timecode, rate, reel }: RawFrame): Buffer {
  const { width, height } = SCENE;
  const mosaic = mosaicOf(scene);
  const pixels = Buffer.alloc(mosaic.length * 2);
  for (const [at, code] of mosaic.entries()) pixels.writeUInt16LE(code, 2 * at);
  const fullest = Math.max(...WHITE);
  const tags: Tag[] = [
    { tag: 254, type: 'long', values: [0] },
    { tag: 256, type: 'long', values: [width] },
    { tag: 257, type: 'long', values: [height] },
    { tag: 258, type: 'short', values: [16] },
    { tag: 259, type: 'short', values: [1] },
    { tag: 262, type: 'short', values: [32_803] },
    text(271, 'The Third Casting'),
    text(272, 'Camera that does not exist'),
    { tag: 273, type: 'long', values: [8] },
    { tag: 274, type: 'short', values: [1] },
    { tag: 277, type: 'short', values: [1] },
    { tag: 278, type: 'long', values: [height] },
    { tag: 279, type: 'long', values: [pixels.length] },
    { tag: 284, type: 'short', values: [1] },
    { tag: 33_421, type: 'short', values: [2, 2] },
    { tag: 33_422, type: 'byte', values: [0, 1, 1, 2] },
    { tag: 50_706, type: 'byte', values: [1, 4, 0, 0] },
    { tag: 50_707, type: 'byte', values: [1, 1, 0, 0] },
    text(50_708, 'The Third Casting, camera that does not exist'),
    { tag: 50_714, type: 'short', values: [BLACK_LEVEL] },
    { tag: 50_717, type: 'short', values: [WHITE_LEVEL] },
    {
      tag: 50_721,
      type: 'srational',
      values: SENSOR.flat().flatMap((value) => [Math.round(value * MILLION), MILLION]),
    },
    {
      tag: 50_728,
      type: 'rational',
      values: WHITE.flatMap((value) => [Math.round((value / fullest) * MILLION), MILLION]),
    },
    // D65.
    { tag: 50_778, type: 'short', values: [21] },
    { tag: 51_043, type: 'byte', values: timeCodes(timecode) },
    { tag: 51_044, type: 'srational', values: rate },
    text(51_105, reel),
  ];
  const head = 8 + pixels.length;
  const entries = Buffer.alloc(2 + 12 * tags.length + 4);
  entries.writeUInt16LE(tags.length, 0);
  const behind: Buffer[] = [];
  let end = head + entries.length;
  for (const [index, { tag, type, values }] of tags.entries()) {
    const size = SIZES[type];
    const bytes = Buffer.alloc(Math.max(4, values.length * size));
    for (const [at, value] of values.entries())
      if (type === 'srational') bytes.writeInt32LE(value, 4 * at);
      else bytes.writeUIntLE(value, at * size, size);
    const at = 2 + 12 * index;
    entries.writeUInt16LE(tag, at);
    entries.writeUInt16LE(NUMBERS[type], at + 2);
    entries.writeUInt32LE(type.endsWith('rational') ? values.length / 2 : values.length, at + 4);
    if (bytes.length <= 4) bytes.copy(entries, at + 8);
    else {
      entries.writeUInt32LE(end, at + 8);
      const whole = Buffer.concat([bytes, Buffer.alloc(bytes.length % 2)]);
      behind.push(whole);
      end += whole.length;
    }
  }
  const start = Buffer.from('49492a0000000000', 'hex');
  start.writeUInt32LE(head, 4);
  return Buffer.concat([start, pixels, entries, ...behind]);
}
