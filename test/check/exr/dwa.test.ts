/** DWA, ours and OpenEXR's: each reads what the other writes, and no picture loses more than its level may. */
import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { walkExr } from '../../../check/master/exr/chunks.ts';
import { ExrForeign } from '../../../check/master/exr/damage.ts';
import { sourceOfBytes } from '../../../check/master/exr/source.ts';
import { measureExr } from '../../../check/master/exr.ts';
import { decodeAll, decodeHalves } from '../../../check/master/exr/values.ts';
import { FileDamage } from '../../../files/bytes.ts';
import { encoded, grainy } from '../../formats/exr/encoded.ts';
import { fractal, noise, pictures } from '../../formats/exr/lossy-pictures.ts';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { outputOf } from '../../support/pictures.ts';

const read = (bytes: Buffer): Promise<Map<string, Float32Array>> => decodeAll(sourceOfBytes(bytes));

/** The curve of OpenEXR's dwaLookups.cpp: a power up to 1, a logarithm above. */
const curve = (value: number): number => {
  const size = Math.abs(value);
  return Math.sign(value) * (size <= 1 ? size ** (1 / 2.2) : 1 + Math.log(size) / 2.2);
};

/** Root of the mean square of what lies between, on the curve, and the most of it. */
function apart(
  one: Map<string, Float32Array>,
  other: Map<string, Float32Array>,
): { rms: number; most: number } {
  let [sum, count, most] = [0, 0, 0];
  for (const name of ['R', 'G', 'B']) {
    const [a, b] = [one.get(name) as Float32Array, other.get(name) as Float32Array];
    for (let at = 0; at < a.length; at += 1) {
      const off = curve(a[at] as number) - curve(b[at] as number);
      sum += off * off;
      most = Math.max(most, Math.abs(off));
      count += 1;
    }
  }
  return { rms: Math.sqrt(sum / count), most };
}

/** By arithmetic: of a coefficient nobody may lose more than level / 100000 times its entry of the table, of an even spread of them the third of its square. */
const usual = (level: number): number => {
  const base = level / 100_000;
  const [light, colour] = [(base ** 2 * 45.004375) / 3, (base ** 2 * 28.114133) / 3];
  return Math.sqrt((3 * light + (1.5747 ** 2 + 0.1873 ** 2 + 0.4682 ** 2 + 1.8556 ** 2) * colour) / 3);
};

const LEVEL = 45;
const [WIDTH, HEIGHT] = [75, 301];
const cases = (['dwaa', 'dwab'] as const).flatMap((compression) =>
  pictures.map(([name, make]) => ({ compression, name, make, key: `${compression}-${name}` })),
);

/** Five files of each case: without compression, ours, ours as OpenEXR reads it, OpenEXR's own, and that as it reads it. */
type Files = Readonly<Record<'plain' | 'ours' | 'back' | 'theirs' | 'theirs-back', Buffer>>;
const files = new Map<string, Files>();
// One start of its program for all cases.
beforeAll(async () => {
  const folder = mkdtempSync(join(sharedFolder, 'dwa-'));
  const path = (key: string, name: keyof Files): string => join(folder, `${key}-${name}.exr`);
  for (const { compression, make, key } of cases) {
    const [form, picture] = [
      { width: WIDTH, height: HEIGHT, container: 'exr' } as const,
      make(WIDTH, HEIGHT),
    ];
    writeFileSync(path(key, 'plain'), (await encoded({ ...form, compression: 'none' }, picture)).bytes);
    writeFileSync(path(key, 'ours'), (await encoded({ ...form, compression, level: LEVEL }, picture)).bytes);
  }
  await outputOf('oiiotool', [
    '--nosoftwareattrib',
    ...cases.flatMap(({ compression, key }) => [
      ...[path(key, 'ours'), '--compression', 'none', '-o', path(key, 'back')],
      ...[path(key, 'plain'), '--compression', `${compression}:${LEVEL}`, '-o', path(key, 'theirs')],
      ...[path(key, 'theirs'), '--compression', 'none', '-o', path(key, 'theirs-back')],
    ]),
  ]);
  for (const { key } of cases) {
    const of = (name: keyof Files): Buffer => readFileSync(path(key, name));
    files.set(key, {
      plain: of('plain'),
      ours: of('ours'),
      back: of('back'),
      theirs: of('theirs'),
      'theirs-back': of('theirs-back'),
    });
  }
  rmSync(folder, { recursive: true });
});

test.each(cases.map(({ compression, name, ...row }) => [compression, name, row] as const))(
  "%s of %s: OpenEXR's reader finds what ours finds, within what the level may lose",
  async (_, _name, { make, key }) => {
    const { plain, ours, back, theirs, 'theirs-back': theirsBack } = files.get(key) as Files;
    const wanted = await read(plain);
    const found = await read(ours);
    const lost = apart(found, wanted);
    // Of a narrow picture of noise the codes are longer than the values: those are stored, and nothing is lost.
    if (make !== noise) expect(ours.length).toBeLessThan(0.75 * plain.length);
    expect(lost.rms).toBeLessThan(Math.SQRT2 * usual(LEVEL));
    // A half in its last place: readers differ in the precision of their arithmetic.
    const last = 2 ** -8;
    expect(apart(await read(back), found).most).toBeLessThan(last);
    expect(apart(await read(theirs), await read(theirsBack)).most).toBeLessThan(last);
  },
);

test('bytes are those that they were, on whatever machine', async () => {
  const { bytes } = await encoded(
    { width: 90, height: 40, container: 'exr', compression: 'dwaa', level: 45 },
    grainy(90, 40),
  );
  expect(createHash('sha256').update(bytes).digest('hex')).toBe(
    '2edbfdc9c770cf524a3ee454b9ed6984aa83ad622862a56e433d4b96c6a31dd8',
  );
});

test("values near the largest half: infinite beside others, to our reader and to OpenEXR's alike; half as large they are not", async () => {
  const [width, height] = [64, 64];
  const folder = freshFolder();
  const file = (greatest: number): string => join(folder, `${greatest}.exr`);
  const own = async (greatest: number): Promise<number> => {
    // Bars whose edges lie within blocks: what is coded overshoots.
    const plane = Float32Array.from({ length: width * height }, (_, at) => (at % 16 < 7 ? greatest : 0.2));
    const { bytes } = await encoded(
      { width, height, container: 'exr', compression: 'dwaa', level: 45 },
      { r: plane, g: plane, b: plane },
    );
    writeFileSync(file(greatest), bytes);
    return (await measureExr({ bytes, base: 24, aces: false, points: [], spot: [] })).notFinite;
  };
  const ours = [await own(65_504), await own(30_000)];
  const stats = (await outputOf('oiiotool', ['--stats', file(65_504), file(30_000)])).toString();
  const theirs = [...stats.matchAll(/InfCount: (\d+) (\d+) (\d+)/g)].map(([, ...counts]) =>
    counts.map(Number).reduce((sum, count) => sum + count, 0),
  );
  expect(ours[0]).toBeGreaterThan(1000);
  expect(ours[1]).toBe(0);
  expect(theirs).toEqual(ours);
});

test('twice the level loses up to twice as much, and each more than the one before', async () => {
  const [width, height] = [160, 64];
  const form = { width, height, container: 'exr' } as const;
  const wanted = await read((await encoded({ ...form, compression: 'none' }, grainy(width, height))).bytes);
  let before = 0;
  for (const level of [5, 45, 90, 200]) {
    const { bytes } = await encoded({ ...form, compression: 'dwab', level }, grainy(width, height));
    const { rms } = apart(await read(bytes), wanted);
    expect(rms).toBeGreaterThan(before);
    // And what rounding to halves costs.
    expect(rms).toBeLessThan(Math.SQRT2 * usual(level) + 5e-4);
    before = rms;
  }
});

test('a chunk of which a bit is changed has other values or is damaged', async () => {
  const { bytes } = await encoded(
    { width: 64, height: 32, container: 'exr', compression: 'dwaa' },
    fractal(64, 32),
  );
  const halves = async (file: Buffer): Promise<string> =>
    [...(await decodeHalves(sourceOfBytes(file)))]
      .map(([name, plane]) => name + createHash('sha256').update(Buffer.from(plane.buffer)).digest('hex'))
      .join();
  const good = await halves(bytes);
  const [chunk] = (await walkExr(sourceOfBytes(bytes))).chunks;
  if (chunk === undefined) throw new Error('no chunk');
  expect(chunk.bytes).toBeLessThan(6 * 64 * 32);
  const same: number[] = [];
  let tried = 0;
  for (let at = chunk.at; at < chunk.at + chunk.bytes; at += at < chunk.at + 120 ? 1 : 23) {
    tried += 1;
    const spoiled = Buffer.from(bytes);
    spoiled[at] = (spoiled[at] as number) ^ (1 << (at % 8));
    try {
      if ((await halves(spoiled)) === good) same.push(at - chunk.at);
    } catch (error) {
      if (!(error instanceof FileDamage) && !(error instanceof ExrForeign)) throw error;
    }
  }
  expect(same.filter((at) => at < 120)).toEqual([]);
  expect(same.length / tried).toBeLessThan(0.02);
});
