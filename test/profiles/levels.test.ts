/** What the filters of a recipe give their encoder, in code values: exact levels from every range and depth, and chroma where it lies. */
import { execFileSync } from 'node:child_process';
import { describe, expect, test } from 'vitest';
import type { VideoFacts } from '../../media/facts.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { pictureFilters } from '../../profiles/recipe/picture.ts';
import { type Profile, profileSchema } from '../../profiles/schema.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';

/** What VC-3 takes at least. */
const WIDTH = 256;
const HEIGHT = 120;

async function profileNamed(name: string, over: object = {}): Promise<Profile> {
  const found = (await builtInProfiles()).find(({ profile }) => profile.name === name)?.profile;
  return profileSchema.parse({ ...found, ...over });
}
const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
const native = { policy: 'native', width: null, height: null, multiple_of: 2, enlarge: false };

interface Given {
  readonly plane: (index: 0 | 1 | 2) => number[][];
}

/** Planes of the encoder's input, of each picture that one of `graphs` draws: one stream of them, from one program. */
async function given(
  profile: Profile,
  video: Partial<VideoFacts>,
  ...graphs: readonly string[]
): Promise<Given[]> {
  const facts = clipFacts({ video: { width: WIDTH, height: HEIGHT, ...video } });
  const { outcome, ...rest } = outcomeOf({
    day: 'day-01',
    roll: 'A001',
    clip: clipNamed('bell', 'bell'),
    facts,
    profile,
  });
  if (outcome === null) throw new Error(JSON.stringify(rest));
  const drawn = graphs.map(
    (graph, index) => `nullsrc=s=${WIDTH}x${HEIGHT},trim=end_frame=1,${graph}[p${index}]`,
  );
  const pictures = graphs.map((_, index) => `[p${index}]`).join('');
  const raw = execFileSync('ffmpeg', [
    ...['-hide_banner', '-loglevel', 'error', '-nostdin', '-noauto_conversion_filters', '-filter_complex'],
    `${drawn.join(';')};${pictures}concat=n=${graphs.length},${pictureFilters(facts, profile, outcome).join(',')}[out]`,
    ...['-map', '[out]', '-fps_mode', 'passthrough', '-f', 'rawvideo', '-'],
  ]);
  const bytes = /10/.test(profile.pixels) ? 2 : 1;
  const across = profile.pixels.startsWith('4:4:4') ? WIDTH : WIDTH / 2;
  const down = profile.pixels.startsWith('4:2:0') ? HEIGHT / 2 : HEIGHT;
  const samples = WIDTH * HEIGHT + 2 * across * down;
  expect(raw.length).toBe(graphs.length * samples * bytes);
  return graphs.map((_, picture) => ({
    plane: (index) => {
      const [width, height] = index === 0 ? [WIDTH, HEIGHT] : [across, down];
      const start = picture * samples + (index === 0 ? 0 : WIDTH * HEIGHT + (index - 1) * across * down);
      return Array.from({ length: height }, (_row, y) =>
        Array.from({ length: width }, (_unused, x) => raw.readUIntLE((start + y * width + x) * bytes, bytes)),
      );
    },
  }));
}

const rgbTags = { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' } as const;
const fullTags = { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'full' } as const;
/** By `geq`: tables of ffmpeg end RGB at 255 * 2^(n-8), which is the very mistake. */
const drawn = {
  RGB: (bits: number, code: number) =>
    `format=gbrp${bits === 8 ? '' : `${bits}le`},geq=r=${code}:g=${code}:b=${code}`,
  YUV: (bits: number, code: number) =>
    `format=yuv422p${bits === 8 ? '' : `${bits}le`},lutyuv=y=${code}:u=${2 ** (bits - 1)}:v=${2 ** (bits - 1)}`,
};

/** ITU-T H.273, clause 8.3, and ITU-R BT.709 / BT.2020: full range 0 to 2^n - 1, limited range black 16 and white 235 times 2^(n-8). */
describe('levels of full range become those of limited range, to the nearest code', () => {
  const profiles = ['editorial-rdd36', 'editorial-vc3', 'review-h264'] as const;
  test.each(
    profiles.flatMap((profile) =>
      (['RGB', 'YUV'] as const).flatMap((kind) => [8, 10, 12].map((bits) => [profile, kind, bits] as const)),
    ),
  )('%s of %s with %i bits', async (name, kind, bits) => {
    const profile = await profileNamed(name, { raster: native, burn_in: [] });
    const most = 2 ** bits - 1;
    const unit = /10/.test(profile.pixels) ? 4 : 1;
    const pixels = `${kind === 'RGB' ? 'gbrp' : 'yuv422p'}${bits === 8 ? '' : `${bits}le`}`;
    const codes = [0, Math.round(most * 0.4), 2 ** (bits - 1), most];
    const pictures = await given(
      profile,
      { pixelFormat: pixels, bitDepth: bits, colour: kind === 'RGB' ? { ...rgbTags } : { ...fullTags } },
      ...codes.map((code) => drawn[kind](bits, code)),
    );
    for (const [index, code] of codes.entries()) {
      const { plane } = pictures[index] as Given;
      const right = unit * (16 + (219 * code) / most);
      const found = [...new Set(plane(0).flat())];
      // Each of two roundings, in the table and in the scaler, is half a code of its own depth; fewer bits are dithered over one.
      const allowed =
        0.5 +
        (bits === 8 ? 0 : 0.5 * unit * (219 / 256) * (256 / 2 ** bits)) +
        (bits > 8 && unit === 1 ? 0.5 : 0);
      for (const value of found)
        expect(Math.abs(value - right), `${code} became ${value}, not ${right}`).toBeLessThanOrEqual(
          allowed + 1e-9,
        );
      if (code === 0) expect(found).toEqual([16 * unit]);
      if (code === most) expect(Math.abs(mean(plane(0).flat()) - 235 * unit)).toBeLessThan(0.05);
      expect([...new Set([...plane(1).flat(), ...plane(2).flat()])]).toEqual([128 * unit]);
    }
  });

  test('limited range becomes full range of 10 bits: white 1023, black 0', async () => {
    const profile = await profileNamed('editorial-vc3', {
      raster: native,
      video: { codec: 'vc3', quality: 'hqx' },
      pixels: '4:2:2 10-bit',
      colour: { primaries: 'source', transfer: 'source', matrix: 'bt709', range: 'full', untagged: 'bt709' },
    });
    const rows = [
      [64, 0],
      [502, 512],
      [940, 1023],
    ] as const;
    const pictures = await given(
      profile,
      { pixelFormat: 'yuv422p10le', bitDepth: 10 },
      ...rows.map(([code]) => drawn.YUV(10, code)),
    );
    for (const [index, [, right]] of rows.entries()) {
      const { plane } = pictures[index] as Given;
      expect([...new Set(plane(0).flat())]).toEqual([right]);
      expect([...new Set(plane(1).flat())]).toEqual([512]);
    }
  });
});

/** ITU-T H.273, figure 10: where chroma samples of 4:2:0 lie against luma, for `chroma_sample_loc_type` 0 to 5. */
describe('chroma comes from where it lies', () => {
  /** A slope of 2 codes of 10 bits a luma sample and 4 a line, as chroma of 4:2:0 holds it whose first sample lies so far from the first luma sample. */
  const slope = (across: number, down: number): string =>
    `format=yuv420p10le,geq=lum=512:cb=80+2*(2*X+${across}):cr=80+4*(2*Y+${down})`;
  test.each<[string | undefined, number, number]>([
    [undefined, 0, 0.5],
    ['left', 0, 0.5],
    ['center', 0.5, 0.5],
    ['topleft', 0, 0],
    ['top', 0.5, 0],
    ['bottomleft', 0, 1],
    ['bottom', 0.5, 1],
  ])('4:2:0 with chroma at %s', async (siting, across, down) => {
    const profile = await profileNamed('editorial-rdd36', { raster: native, burn_in: [] });
    const [{ plane }] = (await given(
      profile,
      {
        codec: 'h264',
        pixelFormat: 'yuv420p10le',
        bitDepth: 10,
        ...(siting === undefined ? {} : { chromaSiting: siting }),
      },
      slope(across, down),
    )) as [Given];
    const [cb, cr] = [plane(1), plane(2)];
    // 4:2:2 has chroma on every second luma sample, on every line (ITU-R BT.601, BT.709).
    for (let line = 6; line < HEIGHT - 6; line += 1)
      for (let sample = 3; sample < WIDTH / 2 - 3; sample += 1) {
        expect(Math.abs((cb[line]?.[sample] as number) - (80 + 2 * 2 * sample))).toBeLessThanOrEqual(0.75);
        expect(Math.abs((cr[line]?.[sample] as number) - (80 + 4 * line))).toBeLessThanOrEqual(0.75);
      }
  });

  test('RGB becomes 4:2:2 whose chroma lies on luma samples, not between them', async () => {
    const profile = await profileNamed('editorial-rdd36', { raster: native, burn_in: [] });
    const [{ plane }] = (await given(
      profile,
      { codec: 'ffv1', pixelFormat: 'gbrp10le', bitDepth: 10, colour: { ...rgbTags } },
      'format=gbrp10le,geq=r=60+3*X:g=60:b=60',
    )) as [Given];
    const cr = plane(2);
    // Cr of R' - Y': (1 - 0.2126) / 1.5748 = half of it, times 224 of 255 steps (H.273, clause 8.3).
    for (let sample = 4; sample < WIDTH / 2 - 4; sample += 1)
      expect(
        Math.abs((cr[20]?.[sample] as number) - (512 + ((3 * 2 * sample) / 2) * (896 / 1023))),
      ).toBeLessThanOrEqual(1.2);
  });
});
