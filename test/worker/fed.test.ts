/** What an encoder was fed with, against the source: a single code that is off names its frame, channel and pixel. */
import { expect, test } from 'vitest';
import { checkFed } from '../../check/master/fed.ts';
import { yuv10Of } from '../../media/colour/acescct.ts';
import { POINTS, type Point, pointsOf, type PointTrail } from '../../proof/points.ts';

const [WIDTH, HEIGHT, FRAMES] = [40, 30, 3];
const light = (r: number, g: number, b: number): [number, number, number] => [2 * r, 2 * g, 2 * b];
const values = Float32Array.from({ length: FRAMES * POINTS * 3 }, (_, index) => ((index * 37) % 101) / 120);
const codesOf = (linear: ArrayLike<number>): Uint16Array =>
  Uint16Array.from(
    Array.from({ length: linear.length / 3 }, (_, pixel) =>
      yuv10Of([
        linear[3 * pixel] as number,
        linear[3 * pixel + 1] as number,
        linear[3 * pixel + 2] as number,
      ]),
    ).flat(),
  );
const pixels: Point[] = [
  { x: 3, y: 4 },
  { x: 5, y: 6 },
  { x: 7, y: 8 },
];
// A spot may leave out pixels that nobody can say anything of.
const spotted = [pixels[0], pixels[2]] as Point[];
const spotLight = Float64Array.of(0.18, 0.18, 0.18, 0.5, 0.1, 0.02);
const points: PointTrail = {
  frames: FRAMES,
  width: WIDTH,
  height: HEIGHT,
  values,
  spots: [{ frame: 2, pixels: spotted, light: spotLight }],
};

function fed(): Parameters<typeof checkFed>[0] {
  const spot = codesOf(spotLight);
  return {
    points: codesOf(values.map((value) => 2 * value)),
    spots: [
      { frame: 2, pixels, codes: Uint16Array.of(...spot.subarray(0, 3), 1, 2, 3, ...spot.subarray(3)) },
    ],
  };
}

test('codes that are right pass, and the results say how near they are', () => {
  const { passed, results, findings } = checkFed(fed(), points, light, {});
  expect({ passed, findings }).toEqual({ passed: true, findings: [] });
  expect(results.map(({ check, outcome }) => [check, outcome])).toEqual([
    ['fed-values', 'passed'],
    ['fed-spots', 'passed'],
  ]);
});

test.each([
  [0, 0, 0, "Y'"],
  [1, 17, 1, 'Cb'],
  [2, 63, 2, 'Cr'],
])('a code that is two more, in frame %i, point %i, channel %i', (frame, point, channel, name) => {
  const spoiled = fed();
  const at = 3 * (frame * POINTS + point) + channel;
  spoiled.points[at] = (spoiled.points[at] as number) + 2;
  const { passed, findings } = checkFed(spoiled, points, light, { clip: 'A001C001' });
  const place = pointsOf(frame, WIDTH, HEIGHT)[point];
  expect(passed).toBe(false);
  expect(findings).toMatchObject([
    {
      code: 'master-values-differ',
      clip: 'A001C001',
      found: `frame ${frame}: ${name} ${spoiled.points[at]} at ${place?.x}, ${place?.y}`,
    },
  ]);
});

test('a spot that is off, one whose codes nobody kept, and none at all do not pass', () => {
  const off = fed();
  const [spot] = off.spots;
  if (spot !== undefined) spot.codes[7] = (spot.codes[7] as number) + 2;
  expect(checkFed(off, points, light, {}).findings).toMatchObject([
    { code: 'master-spots-differ', found: `frame 2: Cb ${spot?.codes[7]} at 7, 8` },
  ]);
  expect(checkFed({ ...fed(), spots: [] }, points, light, {})).toMatchObject({
    passed: false,
    findings: [{ code: 'master-spots-differ' }],
  });
  expect(checkFed(fed(), { ...points, spots: [] }, light, {})).toMatchObject({
    passed: false,
    findings: [{ code: 'master-spots-differ' }],
  });
  const elsewhere = {
    ...fed(),
    spots: [{ frame: 2, pixels: pixels.map(({ x, y }) => ({ x: x + 1, y })), codes: new Uint16Array(9) }],
  };
  expect(checkFed(elsewhere, points, light, {}).passed).toBe(false);
});
