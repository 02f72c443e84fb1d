/** Raw frames in pictures for looking at: beside a master of the same development, and developed at half their size. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { runJob } from '../../worker/job.ts';
import { prepareOutput } from '../../media/colour/output/index.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { codesBesideLimits, groupFolder, interpretation, reportOf } from '../support/master.ts';
import { masterJob, rawClip } from '../support/masters.ts';
import { outputOf } from '../support/pictures.ts';
import { ycbcrOf } from '../support/patches.ts';
import { workContext } from '../support/work.ts';

const [WIDTH, HEIGHT] = [512, 288];
const NEUTRAL = [0.45, 1, 0.6] as const;

/** Light at a place of the scene, by channel: slopes, soft bells of colour, and fine lines; nothing that fills the sensor. */
function light(x: number, y: number, channel: number): number {
  const bell = (u: number, v: number, wide: number): number =>
    Math.exp(-((x - u) ** 2 + (y - v) ** 2) / (2 * wide ** 2));
  const ground = 0.06 + (0.3 * x) / WIDTH + (0.1 * y) / HEIGHT;
  const colours = [
    0.3 * bell(130, 90, 40) + 0.05 * bell(350, 200, 30),
    0.1 * bell(130, 90, 40) + 0.25 * bell(350, 200, 30),
    0.05 * bell(130, 90, 40) + 0.2 * bell(350, 200, 30),
  ];
  return (ground + (colours[channel] as number)) * (1 + 0.15 * Math.sin(x / 3) * Math.cos(y / 4));
}

let job: Job;
const fileOf = async (profile: string): Promise<string> => {
  const report = await reportOf(job, profile);
  expect([profile, report.state, codesBesideLimits(report)]).toEqual([profile, 'published', []]);
  return layout.deliverable(job.deliveryFolder, profile, report.outcome.fileName);
};
beforeAll(async () => {
  const samples = Uint16Array.from({ length: WIDTH * HEIGHT }, (_, at) => {
    const [x, y] = [at % WIDTH, Math.floor(at / WIDTH)];
    // Red and green above green and blue.
    const channel = (x & 1) + (y & 1);
    return Math.round(65_535 * light(x, y, channel) * (NEUTRAL[channel] as number));
  });
  const clip = await rawClip(groupFolder('raw'), { width: WIDTH, height: HEIGHT, frames: 2 }, () => ({
    samples,
    bits: 16,
  }));
  const folder = groupFolder('half');
  const file = (name: string, text: string): string => {
    const path = join(folder, `${name}.yaml`);
    writeFileSync(path, `version: 1\nname: ${name}\nsummary: for tests\nextends: editorial-rdd36\n${text}`);
    return path;
  };
  const best =
    'video: { codec: rdd36, quality: 4444-xq }\npixels: 4:4:4 10-bit\ntimecode: { missing: zero }\n';
  const quarter = `${best}raster: { policy: fit, width: ${WIDTH / 2}, height: null, multiple_of: 2, enlarge: false }\n`;
  job = await masterJob(
    clip,
    join(folder, 'delivery'),
    [
      'grading-master-exr',
      file(
        'whole',
        `${best}raster: { policy: native, width: null, height: null, multiple_of: 1, enlarge: false }\n`,
      ),
      file('quarter', quarter),
      file('by-half', `${quarter}display: { development: { demosaic: half } }\n`),
    ],
    { ...interpretation, input: null },
  );
  await runJob(job, await workContext());
}, 240_000);

interface Picture {
  readonly width: number;
  readonly planes: readonly [Uint16Array, Uint16Array, Uint16Array];
}
/** Y', Cb, Cr of the first frame, 12 bits: as many as its decoder gives. */
async function decoded(profile: string, width: number, height: number): Promise<Picture> {
  const bytes = await outputOf('ffmpeg', [
    ...['-v', 'error', '-i', await fileOf(profile), '-frames:v', '1', '-pix_fmt', 'yuv444p12le'],
    ...['-f', 'rawvideo', '-'],
  ]);
  const words = new Uint16Array(new Uint8Array(bytes).buffer);
  const count = width * height;
  expect(words.length).toBe(3 * count);
  return {
    width,
    planes: [words.subarray(0, count), words.subarray(count, 2 * count), words.subarray(2 * count)],
  };
}

test('the whole size is what the output transform makes of the master, within two codes of 10 bits', async () => {
  const picture = await decoded('whole', WIDTH, HEIGHT);
  const folder = await fileOf('grading-master-exr');
  const [first] = (await outputOf('ls', [folder]))
    .toString()
    .split('\n')
    .filter((name) => name.endsWith('.exr'));
  const bytes = await outputOf('ffmpeg', [
    ...['-v', 'error', '-i', join(folder, first as string), '-pix_fmt', 'gbrpf32le', '-f', 'rawvideo', '-'],
  ]);
  const master = new Float32Array(new Uint8Array(bytes).buffer);
  const count = WIDTH * HEIGHT;
  expect(master.length).toBe(3 * count);
  const output = prepareOutput({
    rendering: { version: 'aces-2', peak: 100, limiting: 'bt709' },
    display: 'bt1886-bt709',
  });
  let worst = 0;
  for (let at = 0; at < count; at += 7) {
    const plane = (index: number): number => master[index * count + at] as number;
    // Planes lie in the order G, B, R.
    const [r, g, b] = output([plane(2), plane(0), plane(1)]);
    const wanted = ycbcrOf([r, g, b] satisfies Triple);
    for (const channel of [0, 1, 2] as const)
      worst = Math.max(worst, Math.abs((picture.planes[channel][at] as number) / 4 - wanted[channel]));
  }
  expect(worst).toBeLessThan(2);
  expect(readFileSync(join(folder, first as string)).length).toBeGreaterThan(count);
});

test('developed by half and scaled, regions of 16 by 16 have the light of the whole, within one percent', async () => {
  const [width, height] = [WIDTH / 2, HEIGHT / 2];
  const [whole, half] = [await decoded('quarter', width, height), await decoded('by-half', width, height)];
  const linear = ({ planes }: Picture, at: number): number[] => {
    const [y, cb, cr] = [
      ((planes[0][at] as number) / 4 - 64) / 876,
      ((planes[1][at] as number) / 4 - 512) / 896,
      ((planes[2][at] as number) / 4 - 512) / 896,
    ];
    const [r, b] = [y + 1.5748 * cr, y + 1.8556 * cb];
    const g = (y - 0.2126 * r - 0.0722 * b) / 0.7152;
    return [r, g, b].map((code) => Math.max(code, 0) ** 2.4);
  };
  let worst = 0;
  for (let top = 0; top + 16 <= height; top += 16)
    for (let left = 0; left + 16 <= width; left += 16)
      for (const channel of [0, 1, 2]) {
        const mean = (picture: Picture): number => {
          let sum = 0;
          for (let y = top; y < top + 16; y += 1)
            for (let x = left; x < left + 16; x += 1)
              sum += linear(picture, y * width + x)[channel] as number;
          return sum / 256;
        };
        worst = Math.max(worst, Math.abs(mean(half) / mean(whole) - 1));
      }
  expect(worst).toBeLessThan(0.01);
  expect(half.planes[0]).not.toEqual(whole.planes[0]);
});
