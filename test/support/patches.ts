/** Flat patches of known light, as cameras record them and as a display of BT.709 shows them: each 64 by 64 pixels, from the left and then down. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';
import { packageFolder } from '../../files/installation.ts';
import { apply, invert, type Matrix, type Triple } from '../../media/colour/matrix.ts';
import { ffmpeg } from './media.ts';

export const SIDE = 64;

export interface Patch {
  readonly name: string;
  /** Linear AP0. */
  readonly aces: Triple;
  /** R'G'B' of BT.709 by BT.1886, 0 to 1, of ACES 2 at 100 cd/m². */
  readonly shown: Triple;
}

const triple = z.tuple([z.number(), z.number(), z.number()]);
const OUTPUT = 'Output.Academy.Rec709-D65_100nit_in_Rec709-D65_BT1886';
const values = z
  .object({
    patches: z.array(z.object({ name: z.string(), aces: triple })),
    aces2: z.record(z.string(), z.object({ encoded_ctl: z.array(triple) })),
  })
  .parse(JSON.parse(readFileSync(join(packageFolder, 'test/fixtures/colour/aces-output.json'), 'utf8')));
/** Made by ctlrender (test/fixtures/SOURCES.md). */
export const patches: readonly Patch[] = values.patches.map((patch, at) => {
  const shown = values.aces2[OUTPUT]?.encoded_ctl[at];
  if (shown === undefined) throw new Error(`no ${OUTPUT} of ${patch.name}`);
  return { ...patch, shown };
});
export const patchNamed = (name: string): Patch => {
  const found = patches.find((patch) => patch.name === name);
  if (found === undefined) throw new Error(`no patch ${name}`);
  return found;
};

/** A recording camera, by the numbers that its maker publishes (here from memory): linear light of its own primaries to codes 0 to 1, and to AP0. */
export interface Log {
  readonly encode: (linear: number) => number;
  readonly toAces: Matrix;
}
export const logs = {
  'slog3-sgamut3cine': {
    encode: (x) =>
      x >= 0.01125
        ? (420 + Math.log10((x + 0.01) / 0.19) * 261.5) / 1023
        : ((x * (171.2102946929 - 95)) / 0.01125 + 95) / 1023,
    toAces: [
      [0.6387886672, 0.2723514337, 0.0888598992],
      [-0.0039159061, 1.0880732308, -0.0841573249],
      [-0.0299072021, -0.0264325799, 1.056339782],
    ],
  },
  'logc3-awg3': {
    encode: (x) =>
      x > 0.010591 ? 0.24719 * Math.log10(5.555556 * x + 0.052272) + 0.385537 : 5.367655 * x + 0.092809,
    toAces: [
      [0.680206, 0.236137, 0.083658],
      [0.085415, 1.017471, -0.102886],
      [0.002057, -0.062563, 1.060506],
    ],
  },
} as const satisfies Record<string, Log>;
export type LogName = keyof typeof logs;

export function recorded({ encode, toAces }: Log, { aces }: Patch): Triple {
  const [r, g, b] = apply(invert(toAces), aces);
  return [encode(r), encode(g), encode(b)];
}

/** Parts of R' and B' in Y' (Recommendations ITU-R BT.709-6 and BT.2020-2). */
const partsOf = { bt709: [0.2126, 0.0722], bt2020: [0.2627, 0.0593] } as const;
export type PatchMatrix = keyof typeof partsOf;

/** Y', Cb, Cr in limited range of 10 bits, not rounded. */
export function ycbcrOf([r, g, b]: Triple, matrix: PatchMatrix = 'bt709'): Triple {
  const [red, blue] = partsOf[matrix];
  const y = red * r + (1 - red - blue) * g + blue * b;
  return [64 + 876 * y, 512 + (896 * (b - y)) / (2 * (1 - blue)), 512 + (896 * (r - y)) / (2 * (1 - red))];
}

export const sizeOfPatches = (count: number): { readonly width: number; readonly height: number } => {
  const columns = Math.min(count, 10);
  return { width: SIDE * columns, height: SIDE * Math.ceil(count / columns) };
};
/** Which patch lies at a pixel; places behind the last are of the last. */
export const patchAt = (count: number, x: number, y: number): number =>
  Math.min(count - 1, Math.floor(y / SIDE) * Math.min(count, 10) + Math.floor(x / SIDE));

/** ffmpeg's names of tags. */
export interface PatchTags {
  readonly matrix: PatchMatrix;
  readonly transfer: string;
}

/** Uncompressed 10-bit 4:2:2 in a MOV, tagged BT.709 where nothing is said, as an encoder of a log camera leaves it that nobody has asked. */
export async function patchMovie(
  path: string,
  codes: readonly Triple[],
  { matrix, transfer }: PatchTags = { matrix: 'bt709', transfer: 'bt709' },
  frames = 2,
): Promise<void> {
  const { width, height } = sizeOfPatches(codes.length);
  const rounded = codes.map((code) => ycbcrOf(code, matrix).map((value) => Math.round(value)));
  const plane = (channel: number, columns: number): Uint16Array =>
    Uint16Array.from({ length: columns * height }, (_, at) => {
      const x = ((at % columns) * width) / columns;
      return rounded[patchAt(codes.length, x, Math.floor(at / columns))]?.[channel] as number;
    });
  const picture = Buffer.concat(
    [plane(0, width), plane(1, width / 2), plane(2, width / 2)].map((words) => Buffer.from(words.buffer)),
  );
  writeFileSync(`${path}.raw`, Buffer.concat(Array.from({ length: frames }, () => picture)));
  await ffmpeg(
    ...['-f', 'rawvideo', '-pix_fmt', 'yuv422p10le', '-s', `${width}x${height}`, '-r', '24'],
    ...['-i', `${path}.raw`],
    ...[
      '-vf',
      `setparams=color_primaries=${matrix}:color_trc=${transfer}:colorspace=${matrix === 'bt2020' ? 'bt2020nc' : matrix}:range=tv`,
    ],
    ...['-c:v', 'v210', '-timecode', '01:00:00:00', path],
  );
}

/** Means of Y', Cb, Cr in the middle of each patch of the first frame, codes of 10 bits. */
export async function patchesIn(path: string, count: number): Promise<Triple[]> {
  const { width, height } = sizeOfPatches(count);
  const raw = `${path}.decoded`;
  await ffmpeg(...['-i', path, '-frames:v', '1', '-f', 'rawvideo', '-pix_fmt', 'yuv422p10le', raw]);
  const bytes = readFileSync(raw);
  return Array.from({ length: count }, (_, patch): Triple => {
    const [left, top] = [
      SIDE * (patch % Math.min(count, 10)),
      SIDE * Math.floor(patch / Math.min(count, 10)),
    ];
    const mean = (from: number, columns: number, x: number, wide: number): number => {
      let sum = 0;
      for (let row = 24; row < 40; row += 1)
        for (let column = 0; column < wide; column += 1)
          sum += bytes.readUInt16LE(2 * (from + (top + row) * columns + x + column));
      return sum / (16 * wide);
    };
    const [luma, half] = [width * height, width / 2];
    return [
      mean(0, width, left + 24, 16),
      mean(luma, half, left / 2 + 12, 8),
      mean(luma + half * height, half, left / 2 + 12, 8),
    ];
  });
}
