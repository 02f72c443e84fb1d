/** The picture of a still of ours, in light of the primaries of BT.709. Pure. */
import { type ReadStill, readStill, StillDamaged } from '../../check/stills/png.ts';
import { gamuts, toXyz } from '../../media/colour/gamuts.ts';
import { invert, type Matrix, multiply } from '../../media/colour/matrix.ts';
import { type Light, lightOfCode } from './scale.ts';

/** Code points of H.273, Table 2, whose pictures look otherwise as BT.709. Those of standard definition are so near that at this size nobody sees it. */
const WIDE: Readonly<Record<number, 'bt2020' | 'p3d65'>> = { 9: 'bt2020', 12: 'p3d65' };

const tables = new Map<number, Float32Array>();
function lightTable(bits: 8 | 16): Float32Array {
  const known = tables.get(bits);
  if (known !== undefined) return known;
  const most = 2 ** bits - 1;
  const table = Float32Array.from({ length: most + 1 }, (_, code) => lightOfCode(code / most));
  tables.set(bits, table);
  return table;
}

function turned(samples: Float32Array, matrix: Matrix): void {
  const [red, green, blue] = matrix;
  for (let at = 0; at < samples.length; at += 3) {
    const [r, g, b] = [samples[at], samples[at + 1], samples[at + 2]] as [number, number, number];
    samples[at] = red[0] * r + red[1] * g + red[2] * b;
    samples[at + 1] = green[0] * r + green[1] * g + green[2] * b;
    samples[at + 2] = blue[0] * r + blue[1] * g + blue[2] * b;
  }
}

/** In the primaries of the still; small pictures are turned after they were made smaller. */
export interface StillLight extends Light {
  readonly inBt709: (light: Light) => Light;
}

export function lightOfRead({ width, height, bits, samples, coding }: ReadStill): StillLight {
  const table = lightTable(bits);
  const light = new Float32Array(samples.length);
  for (let at = 0; at < light.length; at += 1) light[at] = table[samples[at] as number] as number;
  const gamut = WIDE[coding[0] ?? 1];
  const matrix = gamut === undefined ? null : multiply(invert(toXyz(gamuts.bt709)), toXyz(gamuts[gamut]));
  return {
    width,
    height,
    samples: light,
    inBt709: (small) => {
      if (matrix === null) return small;
      const own = Float32Array.from(small.samples);
      turned(own, matrix);
      return { ...small, samples: own };
    },
  };
}

/** null: it is no still of ours, or not whole. */
export function lightOfStill(file: Buffer): StillLight | null {
  try {
    return lightOfRead(readStill(file));
  } catch (error) {
    if (error instanceof StillDamaged) return null;
    throw error;
  }
}
