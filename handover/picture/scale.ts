/**
 * Makes a picture smaller: every pixel is the mean of the light of all that lies under it. Light is averaged and not code
 * values, or fine detail would come out too dark.
 */
import type { Picture } from './picture.ts';

/** Linear R, G, B by pixel, 0 to 1 and beyond. */
export interface Light {
  readonly width: number;
  readonly height: number;
  readonly samples: Float32Array;
}

/** IEC 61966-2-1, 5.2. */
export function lightOfCode(code: number): number {
  return code <= 0.04045 ? code / 12.92 : ((code + 0.055) / 1.055) ** 2.4;
}

function codeOfLight(light: number): number {
  return light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
}

/** Steps between 0 and 1 so fine that none of 8 bits is left out: a step is a twentieth of a code at the steepest. */
const STEPS = 65_535;
let codes: Uint8Array | null = null;
function codeTable(): Uint8Array {
  codes ??= Uint8Array.from({ length: STEPS + 1 }, (_, step) => Math.round(255 * codeOfLight(step / STEPS)));
  return codes;
}

/** Which lines or columns lie under one of the smaller picture, and how much of the first and the last. */
function spans(from: number, to: number): { first: number; last: number; head: number; tail: number }[] {
  return Array.from({ length: to }, (_, index) => {
    const [begin, end] = [(index * from) / to, ((index + 1) * from) / to];
    const first = Math.min(from - 1, Math.floor(begin));
    const last = Math.min(from - 1, Math.ceil(end) - 1);
    return first === last
      ? { first, last, head: end - begin, tail: 0 }
      : { first, last, head: first + 1 - begin, tail: end - last };
  });
}

/** `width`, `height`: at most those of the picture. */
export function reduced(light: Light, { width, height }: Pick<Picture, 'width' | 'height'>): Light {
  if (width > light.width || height > light.height)
    throw new RangeError(`${light.width}x${light.height} does not become larger`);
  const narrow = new Float32Array(3 * width * light.height);
  const across = spans(light.width, width);
  const share = width / light.width;
  for (let y = 0; y < light.height; y += 1)
    for (let x = 0; x < width; x += 1) {
      const { first, last, head, tail } = across[x] as (typeof across)[number];
      const out = 3 * (y * width + x);
      for (let column = first; column <= last; column += 1) {
        const weight = (column === first ? head : column === last ? tail : 1) * share;
        const at = 3 * (y * light.width + column);
        for (let channel = 0; channel < 3; channel += 1)
          narrow[out + channel] =
            (narrow[out + channel] as number) + weight * (light.samples[at + channel] as number);
      }
    }
  const samples = new Float32Array(3 * width * height);
  const part = height / light.height;
  for (const [y, { first, last, head, tail }] of spans(light.height, height).entries())
    for (let line = first; line <= last; line += 1) {
      const weight = (line === first ? head : line === last ? tail : 1) * part;
      for (let x = 0; x < 3 * width; x += 1)
        samples[3 * width * y + x] =
          (samples[3 * width * y + x] as number) + weight * (narrow[3 * width * line + x] as number);
    }
  return { width, height, samples };
}

export function shownAs({ width, height, samples }: Light): Picture {
  const table = codeTable();
  const shown = new Uint8Array(samples.length);
  for (let at = 0; at < samples.length; at += 1)
    shown[at] = table[Math.round(STEPS * Math.min(1, Math.max(0, samples[at] as number)))] as number;
  return { width, height, samples: shown };
}
