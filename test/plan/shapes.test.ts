/** What is decided of pictures of another shape, and what the plan says of it. */
import { expect, test } from 'vitest';
import { shapeTexts } from '../../coordinator/plan/shapes.ts';
import type { VideoFacts } from '../../media/facts.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import type { Profile } from '../../profiles/schema.ts';
import { clipFacts } from '../support/facts.ts';

async function decided(
  video: Partial<VideoFacts>,
  raster: Partial<Profile['raster']> = {},
): Promise<unknown> {
  const review = (await builtInProfiles())
    .map(({ profile }) => profile)
    .find(({ name }) => name === 'review-h264') as Profile;
  const profile = { ...review, raster: { ...review.raster, ...raster } };
  const facts = clipFacts({ video });
  const { outcome } = outcomeOf({
    day: 'day-02',
    roll: 'A001',
    clip: { id: 'id-1', name: 'bell-01' },
    facts,
    profile,
  });
  return outcome === null
    ? null
    : [outcome.width, outcome.height, outcome.pixelAspect, shapeTexts(facts, outcome)];
}

const SQUARE = { num: 1, den: 1 };

test('shapes come out as they are asked for, and are said', async () => {
  // 720 x 576 of pixels of 16:15: 768 columns of square ones.
  const pal = { width: 720, height: 576, pixelAspect: { num: 16, den: 15 } };
  expect(await decided(pal)).toEqual([768, 576, SQUARE, ['pixels of 16/15 made square']]);
  expect(await decided(pal, { pixel_aspect: 'keep' })).toEqual([
    720,
    576,
    pal.pixelAspect,
    ['pixels of 16/15 kept: 16/15'],
  ]);
  expect(await decided({ ...pal, rotation: 270, mirrored: true }, { pixel_aspect: 'keep' })).toEqual([
    576,
    720,
    { num: 15, den: 16 },
    [
      'made upright: mirrored left for right, then turned by 270 degrees clockwise',
      'pixels of 16/15 kept: 15/16',
    ],
  ]);
  // A frame line cuts what is upright: half of the lines of a picture on its side.
  expect(await decided({ rotation: 90, frameLine: { left: 0, top: 0.25, width: 1, height: 0.5 } })).toEqual([
    1080,
    960,
    SQUARE,
    ['made upright: turned by 90 degrees clockwise'],
  ]);
  expect(await decided({ fieldOrder: 'bottom-first', rotation: 180 })).toEqual([
    1280,
    720,
    SQUARE,
    ['made upright: turned by 180 degrees clockwise', 'fields, bottom first, made into one frame each two'],
  ]);
  expect(await decided({ fieldOrder: 'bottom-first', rotation: 90 })).toBeNull();
});
