/**
 * Pictures of one range in a profile of another, as jobs: patches of known code values go the whole way, and are held against ITU-R BT.2408 and BT.2100, and
 * against what ctlrender made of the same light (test/fixtures/SOURCES.md). The formulas of the sources are written out here, from their standards.
 */
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { z } from 'zod';
import { mkdirSync, readFileSync, rmSync } from 'node:fs';
import { blocks } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { inputOfTags } from '../../media/colour/input.ts';
import { apply, invert, type Matrix, type Triple } from '../../media/colour/matrix.ts';
import { runJob } from '../../worker/job.ts';
import { decisionOf } from '../support/decide.ts';
import { packageFolder } from '../../files/installation.ts';
import { further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { codesBesideLimits, groupFolder, interpretation, reportOf } from '../support/master.ts';
import { masterJob } from '../support/masters.ts';
import { type PatchTags, patches, patchesIn, patchMovie, ycbcrOf } from '../support/patches.ts';
import { workContext } from '../support/work.ts';

const profile = (name: string): string => `test/fixtures/profiles/${name}.yaml`;

/** SMPTE ST 2084: cd/m² to a signal. */
function pq(light: number): number {
  const power = (Math.max(light, 0) / 10_000) ** (2610 / 16_384);
  return ((3424 / 4096 + (2413 / 128) * power) / (1 + (2392 / 128) * power)) ** (2523 / 32);
}
/** ITU-R BT.2100, Table 5: light of the scene, 1 at the peak, to a signal. */
const hlg = (light: number): number =>
  light <= 1 / 12 ? Math.sqrt(3 * light) : 0.17883277 * Math.log(12 * light - 0.28466892) + 0.55991073;
/** Of which the signal is 0.75, the reference white (ITU-R BT.2408, Table 1). */
const HLG_WHITE = (Math.exp((0.75 - 0.55991073) / 0.17883277) + 0.28466892) / 12;
/** ITU-R BT.2087, as printed: linear BT.709 to BT.2020. */
const TO_BT2020: Matrix = [
  [0.6274, 0.3293, 0.0433],
  [0.0691, 0.9195, 0.0114],
  [0.0164, 0.088, 0.8956],
];
/** Linear BT.2020 to AP0, by the chromaticities of both (from memory; zscale and colour-science agree to the sixth digit). */
const BT2020_TO_AP0: Matrix = [
  [0.6790855, 0.1577009, 0.1632136],
  [0.046002, 0.8590546, 0.0949433],
  [-0.0005739, 0.0284678, 0.9721061],
];

const triple = z.tuple([z.number(), z.number(), z.number()]);
const { aces2 } = z
  .object({ aces2: z.record(z.string(), z.object({ encoded_ctl: z.array(triple) })) })
  .parse(JSON.parse(readFileSync(join(packageFolder, 'test/fixtures/colour/aces-output.json'), 'utf8')));
const renderedFor = (output: string): readonly Triple[] => aces2[output]?.encoded_ctl ?? [];
const RENDERED = {
  'native-rdd36': renderedFor('Output.Academy.Rec709-D65_100nit_in_Rec709-D65_BT1886'),
  'native-pq': renderedFor('Output.Academy.P3-D65_1000nit_in_Rec2100-D65_ST2084'),
  'native-hlg': renderedFor('Output.Academy.P3-D65_1000nit_in_Rec2100-D65_HLG'),
} as const;
type Profile = keyof typeof RENDERED;

/** Made with `profiles`, of patches of R'G'B'. */
async function jobOf(codes: readonly Triple[], tags: PatchTags, profiles: readonly Profile[]): Promise<Job> {
  const folder = groupFolder('ranges');
  const path = join(folder, 'card', 'A001C001.mov');
  mkdirSync(join(folder, 'card'));
  await patchMovie(path, codes, tags);
  rmSync(`${path}.raw`);
  const facts = await factsOf(path);
  const job = await masterJob(
    { rollFolder: join(folder, 'card'), place: { kind: 'movie', file: 'A001C001.mov' }, facts },
    join(folder, 'delivery'),
    profiles.map(profile),
    { ...interpretation, input: inputOfTags(facts.video.colour), inputFrom: 'tags' },
  );
  await runJob(job, await workContext());
  return job;
}

async function codesIn(job: Job, name: Profile, count: number): Promise<Triple[]> {
  const report = await reportOf(job, name);
  expect([report.state, codesBesideLimits(report)]).toEqual(['published', []]);
  expect(report.checks.find(({ check }) => check === 'colour-way')?.status).toBe('passed');
  const { decision } = await decisionOf(job);
  expect(
    decision.verdict.findings.filter((item) => blocks(item) && item.profile === name).map(({ code }) => code),
  ).toEqual([]);
  return await patchesIn(layout.deliverable(job.deliveryFolder, name, report.outcome.fileName), count);
}

/** The farthest of them, in codes of 10 bits, with its place. */
function farthest(found: readonly Triple[], wanted: readonly Triple[]): [number, number, Triple, Triple] {
  const off = found.map((codes, at): [number, number, Triple, Triple] => {
    const here = wanted[at] as Triple;
    return [
      Math.max(...codes.map((code, channel) => Math.abs(code - (here[channel] as number)))),
      at,
      codes,
      here,
    ];
  });
  return off.reduce((most, one) => (one[0] > most[0] ? one : most));
}

describe('BT.709', () => {
  const codes: readonly Triple[] = [
    [0, 0, 0],
    [0.1, 0.1, 0.1],
    [0.25, 0.25, 0.25],
    [0.5, 0.5, 0.5],
    [0.75, 0.75, 0.75],
    [1, 1, 1],
    [0.8, 0.55, 0.45],
    [0.3, 0.5, 0.8],
    [1, 0, 0],
    [0, 1, 0],
  ];
  let job: Job;
  beforeAll(async () => {
    job = await jobOf(codes, { matrix: 'bt709', transfer: 'bt709' }, ['native-pq', 'native-hlg']);
  }, 120_000);
  const light = (rgb: Triple): Triple => {
    const [r, g, b] = rgb.map((code) => 203 * code ** 2.4) as [number, number, number];
    return apply(TO_BT2020, [r, g, b]);
  };

  test('is placed in PQ with its white at 203 cd/m²', async () => {
    const found = await codesIn(job, 'native-pq', codes.length);
    const wanted = codes.map((rgb) => ycbcrOf(light(rgb).map(pq) as [number, number, number], 'bt2020'));
    // ITU-R BT.2408, Table 1: 58 % of the signal.
    expect(Math.abs((found[5]?.[0] as number) - (64 + 876 * 0.58))).toBeLessThan(2);
    expect(farthest(found, wanted)).toEqual([
      expect.toSatisfy((off: number) => off < 3),
      ...[1, 2, 3].map(() => expect.anything()),
    ]);
  });

  test('is placed in HLG with its white at 75 % of the signal', async () => {
    const found = await codesIn(job, 'native-hlg', codes.length);
    const wanted = codes.map((rgb) => {
      const shown = light(rgb).map((value) => value / 1000) as [number, number, number];
      const luminance = 0.2627 * shown[0] + 0.678 * shown[1] + 0.0593 * shown[2];
      const undone = luminance > 0 ? luminance ** (1 / 1.2 - 1) : 0;
      return ycbcrOf(shown.map((value) => hlg(value * undone)) as [number, number, number], 'bt2020');
    });
    expect(Math.abs((found[5]?.[0] as number) - (64 + 876 * 0.75))).toBeLessThan(2);
    expect(farthest(found, wanted)).toEqual([
      expect.toSatisfy((off: number) => off < 3),
      ...[1, 2, 3].map(() => expect.anything()),
    ]);
  });
});

type Row = [string, PatchTags, (light: number) => number, readonly Profile[]];
describe.each<Row>([
  [
    'PQ',
    { matrix: 'bt2020', transfer: 'smpte2084' },
    (light) => pq(100 * light),
    ['native-rdd36', 'native-hlg'],
  ],
  ...further<Row>([
    'HLG',
    { matrix: 'bt2020', transfer: 'arib-std-b67' },
    (light) => hlg(light * HLG_WHITE),
    ['native-rdd36', 'native-pq'],
  ]),
])('%s', (_, tags, encode, profiles) => {
  const coded = patches.map(({ aces }) => apply(invert(BT2020_TO_AP0), aces));
  const brightest = tags.transfer === 'smpte2084' ? 100 : 1 / HLG_WHITE;
  const of = patches.flatMap(({ name }, at) => {
    const rgb = coded[at] as Triple;
    return rgb.every((value) => value >= -1e-9 && value <= brightest) && !/ (1\.0|8)$/.test(name)
      ? [{ at, rgb }]
      : [];
  });
  let job: Job;
  beforeAll(async () => {
    expect(of.length).toBeGreaterThanOrEqual(20);
    job = await jobOf(
      of.map(({ rgb }) => rgb.map((value) => encode(Math.max(value, 0))) as [number, number, number]),
      tags,
      profiles,
    );
  }, 120_000);

  test.each(profiles)('comes out in %s as the output transform has its light', async (name) => {
    const found = await codesIn(job, name, of.length);
    const wanted = of.map(({ at }) =>
      ycbcrOf(RENDERED[name][at] as Triple, name === 'native-rdd36' ? 'bt709' : 'bt2020'),
    );
    expect(farthest(found, wanted)).toEqual([
      expect.toSatisfy((off: number) => off < 4),
      ...[1, 2, 3].map(() => expect.anything()),
    ]);
  });
});
