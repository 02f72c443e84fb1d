/** What a frame of DWA may lose: no picture is held that lost as much as its level may, and what is otherwise wrong with it is. */
import { describe, expect, test } from 'vitest';
import { sourceOfBytes } from '../../../check/master/exr/source.ts';
import { decodeAll, decodeHalves } from '../../../check/master/exr/values.ts';
import { frameLoss, type FrameLoss, mostLoss, pixelLoss, PointsLoss } from '../../../check/master/loss.ts';
import { curveOf, curveSteps } from '../../../proof/curve-steps.ts';
import { WholeFrameSketch } from '../../../proof/whole-frame-sketch.ts';
import { encoded, grainy, type Picture } from '../../formats/exr/encoded.ts';
import { pictures } from '../../formats/exr/lossy-pictures.ts';

const [width, height] = [240, 136];
const size = { width, height };

const files = new WeakMap<Picture, Map<number | null, Promise<Buffer>>>();
/** The file of a picture at that level, null: without compression; each is made once. */
function written(picture: Picture, level: number | null): Promise<Buffer> {
  const ofPicture = files.get(picture) ?? new Map<number | null, Promise<Buffer>>();
  files.set(picture, ofPicture);
  const form = { ...size, container: 'exr' } as const;
  const file =
    ofPicture.get(level) ??
    encoded(
      level === null ? { ...form, compression: 'none' } : { ...form, compression: 'dwaa', level },
      picture,
    ).then(({ bytes }) => bytes);
  ofPicture.set(level, file);
  return file;
}

async function sketchOf(bytes: Buffer): Promise<Int32Array> {
  const sketch = new WholeFrameSketch(width, height);
  const steps = curveSteps();
  const planes = await decodeHalves(sourceOfBytes(bytes));
  for (const [channel, name] of ['R', 'G', 'B'].entries())
    for (let y = 0; y < height; y += 1)
      sketch.take(
        channel,
        y,
        Int32Array.from(
          (planes.get(name) as Uint16Array).subarray(y * width, (y + 1) * width),
          (bits) => steps[bits] as number,
        ),
      );
  return sketch.sums();
}

const values = new WeakMap<Buffer, Promise<Float32Array>>();
function pixelsOf(bytes: Buffer): Promise<Float32Array> {
  const known =
    values.get(bytes) ??
    decodeAll(sourceOfBytes(bytes)).then((planes) => {
      const all = new Float32Array(3 * width * height);
      for (const [channel, name] of ['R', 'G', 'B'].entries()) {
        const plane = planes.get(name) as Float32Array;
        for (let pixel = 0; pixel < plane.length; pixel += 1)
          all[3 * pixel + channel] = plane[pixel] as number;
      }
      return all;
    });
  values.set(bytes, known);
  return known;
}

async function lossOf(coded: Picture, level: number, claimed: number, truth: Picture): Promise<FrameLoss> {
  const plain = await written(truth, null);
  const greatest = Math.max(...(await pixelsOf(plain)).map((value) => Math.abs(curveOf(value))));
  return frameLoss(
    { dwaLevel: claimed },
    { found: await sketchOf(await written(coded, level)), wanted: await sketchOf(plain), greatest },
    size,
  );
}

/** Drawn once. */
const drawn = pictures.map(([name, make]) => [name, make(width, height)] as const);

describe.each(drawn)('%s', (_name, picture) => {
  test.each([5, 45, 200])('at level %d is not held', async (level) => {
    const { found, allowed, worst } = await lossOf(picture, level, level, picture);
    // A third is left for chance.
    expect(found / allowed).toBeLessThan(0.75);
    expect(worst.found / worst.allowed).toBeLessThan(0.75);
    const [was, is] = [
      await pixelsOf(await written(picture, null)),
      await pixelsOf(await written(picture, level)),
    ];
    const valueAt = (pixel: number): readonly [number, number, number] => [
      was[3 * pixel] as number,
      was[3 * pixel + 1] as number,
      was[3 * pixel + 2] as number,
    ];
    const points = new PointsLoss({ dwaLevel: level });
    const part = points.take(is, (pixel) => ({ value: valueAt(pixel), budget: 0 }), width * height);
    expect(part).toBeLessThan(0.5);
    expect(points.mean().worst).toBeLessThan(1);
    let most = 0;
    for (let pixel = 0; pixel < width * height; pixel += 1) {
      const allowedHere = pixelLoss({ dwaLevel: level }, valueAt(pixel), 0);
      for (const channel of [0, 1, 2] as const)
        most = Math.max(
          most,
          Math.abs(curveOf(is[3 * pixel + channel] as number) - curveOf(valueAt(pixel)[channel])) /
            allowedHere[channel],
        );
    }
    expect(most).toBeLessThan(0.8);
  });
});

const plain = grainy(width, height);
const changed = (change: (value: number, at: number) => number): Picture => ({
  r: plain.r.map(change),
  g: plain.g.map(change),
  b: plain.b.map(change),
});

test.each([
  ['twice its level', plain, 90, 'frame'],
  ['one and a half times its level', plain, 75, 'frame'],
  ['a fiftieth brighter', changed((value) => 1.02 * value), 45, 'frame'],
  ['two channels exchanged', { ...plain, r: plain.b, b: plain.r }, 45, 'frame'],
  ['the grain of another frame', grainy(width, height, 8), 45, 'frame'],
  [
    'a block of 8 x 8 grey',
    changed((value, at) => (at % width < 8 && at / width < 8 ? 0.18 : value)),
    45,
    'region',
  ],
] as const)('%s is held', async (_what, picture, level, by) => {
  const { found, allowed, worst } = await lossOf(picture, level, 45, plain);
  expect(by === 'frame' ? found / allowed : worst.found / worst.allowed).toBeGreaterThan(1);
});

test('a gain of one part in a hundred shows in the mean of a few frames', async () => {
  const truth = await pixelsOf(await written(plain, null));
  const points = new PointsLoss({ dwaLevel: 45 });
  const found = await pixelsOf(
    await written(
      changed((value) => 1.01 * value),
      45,
    ),
  );
  for (let frame = 0; frame < 4; frame += 1) {
    // Of pixels between a twentieth and 1, where a picture is: those of one line in eight.
    const at = Array.from({ length: 64 }, (_, index) => (8 * index + frame) * 67 + 140).filter(
      (pixel) => (truth[3 * pixel] as number) > 0.05 && (truth[3 * pixel] as number) < 4,
    );
    points.take(
      at.flatMap((pixel) => [found[3 * pixel], found[3 * pixel + 1], found[3 * pixel + 2]] as number[]),
      (index) => {
        const pixel = at[index] as number;
        return {
          value: [truth[3 * pixel] as number, truth[3 * pixel + 1] as number, truth[3 * pixel + 2] as number],
          budget: 0,
        };
      },
      at.length,
    );
  }
  expect(points.mean().worst).toBeGreaterThan(1);
});

describe('the most that any pixel can be off', () => {
  test('at level 45, by hand: a quarter of the sums of both tables', () => {
    // 0.00045 / 4 · (368.8 + 1.5747 · 5505 / 17), with 0.6555 and 1.8556 for the others.
    for (const [channel, most] of [0.098858, 0.065371, 0.109091].entries())
      expect(mostLoss({ dwaLevel: 45 }, 0)[channel]).toBeCloseTo(most, 5);
  });

  test.each(drawn)('no pixel of %s is off by more, whatever the level', async (_, picture) => {
    const wanted = await pixelsOf(await written(picture, null));
    for (const level of [5, 45, 200]) {
      const found = await pixelsOf(await written(picture, level));
      const greatest = wanted.reduce((best, value) => Math.max(best, Math.abs(curveOf(value))), 0);
      const most = mostLoss({ dwaLevel: level }, greatest);
      const worst = found.reduce(
        (part, value, at) =>
          Math.max(part, Math.abs(curveOf(value) - curveOf(wanted[at] as number)) / (most[at % 3] as number)),
        0,
      );
      expect(worst).toBeLessThan(1);
    }
  });
});
