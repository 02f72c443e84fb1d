/** What an encoder was fed with, against the source: a single code that is off names its frame, channel and pixel. */
import { expect, test } from 'vitest';
import { checkEncoderInput } from '../../check/master/encoder-input.ts';
import { yuv10Of } from '../../media/colour/acescct.ts';
import { POINTS, type Point, pointsOf, type PixelSamples } from '../../proof/pixel-samples.ts';

const [WIDTH, HEIGHT, FRAMES] = [40, 30, 3];
const sceneLinear = (r: number, g: number, b: number): [number, number, number] => [2 * r, 2 * g, 2 * b];
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
const spotSceneLinear = Float64Array.of(0.18, 0.18, 0.18, 0.5, 0.1, 0.02);
const points: PixelSamples = {
  frames: FRAMES,
  width: WIDTH,
  height: HEIGHT,
  values,
  spots: [{ frame: 2, pixels: spotted, sceneLinear: spotSceneLinear }],
};

function encoderInput(): Parameters<typeof checkEncoderInput>[0] {
  const spot = codesOf(spotSceneLinear);
  return {
    format: 'rdd36',
    points: codesOf(values.map((value) => 2 * value)),
    spots: [
      { frame: 2, pixels, codes: Uint16Array.of(...spot.subarray(0, 3), 1, 2, 3, ...spot.subarray(3)) },
    ],
  };
}

test('codes that are right pass, and the results say how near they are', () => {
  const { passed, results, findings } = checkEncoderInput(encoderInput(), points, sceneLinear, {});
  expect({ passed, findings }).toEqual({ passed: true, findings: [] });
  expect(results.map(({ check, status }) => [check, status])).toEqual([
    ['encoder-input', 'passed'],
    ['encoder-input-spot-check', 'passed'],
  ]);
});

test.each([
  [0, 0, 0, "Y'"],
  [1, 17, 1, 'Cb'],
  [2, 63, 2, 'Cr'],
])('a code that is two more, in frame %i, point %i, channel %i', (frame, point, channel, name) => {
  const spoiled = encoderInput();
  const at = 3 * (frame * POINTS + point) + channel;
  spoiled.points[at] = (spoiled.points[at] as number) + 2;
  const { passed, findings } = checkEncoderInput(spoiled, points, sceneLinear, { clip: 'A001C001' });
  const place = pointsOf(frame, WIDTH, HEIGHT)[point];
  expect(passed).toBe(false);
  expect(findings).toMatchObject([
    {
      code: 'master-pixels-differ',
      clip: 'A001C001',
      found: `frame ${frame}: ${name} ${spoiled.points[at]} at ${place?.x}, ${place?.y}`,
    },
  ]);
});

test('a spot that is off, one whose codes nobody kept, and none at all do not pass', () => {
  const off = encoderInput();
  const [spot] = off.spots;
  if (spot !== undefined) spot.codes[7] = (spot.codes[7] as number) + 2;
  expect(checkEncoderInput(off, points, sceneLinear, {}).findings).toMatchObject([
    { code: 'master-spot-check-differs', found: `frame 2: Cb ${spot?.codes[7]} at 7, 8` },
  ]);
  expect(checkEncoderInput({ ...encoderInput(), spots: [] }, points, sceneLinear, {})).toMatchObject({
    passed: false,
    findings: [{ code: 'master-spot-check-differs' }],
  });
  expect(checkEncoderInput(encoderInput(), { ...points, spots: [] }, sceneLinear, {})).toMatchObject({
    passed: false,
    findings: [{ code: 'master-spot-check-differs' }],
  });
  const elsewhere = {
    ...encoderInput(),
    spots: [{ frame: 2, pixels: pixels.map(({ x, y }) => ({ x: x + 1, y })), codes: new Uint16Array(9) }],
  };
  expect(checkEncoderInput(elsewhere, points, sceneLinear, {}).passed).toBe(false);
});
