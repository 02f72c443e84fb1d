/** Raw frames that a profile for looking at develops at half their size: how large its picture may be. */
import { expect, test } from 'vitest';
import type { ClipFacts } from '../../media/facts.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { isMovie, type Profile } from '../../profiles/schema.ts';
import { clipFacts } from '../support/facts.ts';
import { rawPicture } from '../support/raw-picture.ts';

const review = (await builtInProfiles())
  .filter(isMovie)
  .find(({ profile }) => profile.name === 'review-h264');
if (review === undefined) throw new Error('no review-h264');
const { profile: fine } = review;

const raw = (width: number, height: number, orientation: 1 | 6 = 1): ClipFacts => {
  const none = { model: null, label: null, serial: null, reel: null, iso: null, exposureSeconds: null };
  return clipFacts({
    video: { width, height },
    raw: {
      picture: rawPicture(width, height, { orientation }),
      camera: { ...none, fNumber: null, tStop: null, capturedAt: null },
      decoder: { name: 'own', version: '1' },
    },
  });
};
const decide = (facts: ClipFacts, raster: Partial<Profile['raster']>, demosaic: 'fine' | 'half') => {
  if (fine.display === undefined) throw new Error('no display');
  const profile: Profile = {
    ...fine,
    // The height that a width makes, whatever it is.
    raster: { ...fine.raster, height: null, ...raster },
    display: { ...fine.display, development: { ...fine.display.development, demosaic } },
  };
  return outcomeOf({ day: 'd', roll: 'r', clip: { id: 'c', name: 'c' }, facts, profile });
};

test.each<[string, ClipFacts, Partial<Profile['raster']>, string]>([
  ['a quarter of the width', raw(4096, 2160), { width: 1024 }, '1024x540 of 2048x1080'],
  ['half of it', raw(4096, 2160), { width: 2048 }, '2048x1080 of 2048x1080'],
  ['half of sides that do not divide by four', raw(4098, 2162), { width: 2048 }, '2048x1080 of 2049x1081'],
  ['upright, half of the height', raw(4096, 2160, 6), { width: 1080 }, '1080x2048 of 1080x2048'],
  ['a little more than half', raw(4096, 2160), { width: 2064 }, 'half-too-small'],
  ['upright, a little more than half of the height', raw(4096, 2160, 6), { width: 1090 }, 'half-too-small'],
  ['as large as the frames', raw(4096, 2160), { policy: 'native', width: null }, 'half-too-small'],
  ['more than half, where nothing is enlarged', raw(1920, 1080), { width: 1280 }, 'half-too-small'],
  [
    'a square cut out of half',
    raw(4096, 2160),
    { policy: 'fill', width: 1000, height: 1000 },
    '1000x1000 of 2048x1080',
  ],
  [
    'a square cut out of more',
    raw(4096, 2160),
    { policy: 'fill', width: 1200, height: 1200 },
    'half-too-small',
  ],
])('%s', (_, facts, raster, expected) => {
  const decided = decide(facts, raster, 'half');
  if (decided.outcome === null) {
    expect(decided.findings.map(({ code }) => code).join(' ')).toBe(expected);
    expect(decide(facts, raster, 'fine').outcome).not.toBeNull();
    return;
  }
  const { width, height, shown } = decided.outcome;
  if (shown?.from !== 'developed') throw new Error('not developed');
  expect(`${width}x${height} of ${shown.size.width}x${shown.size.height}`).toBe(expected);
  expect(shown.linearisation).toMatchObject({ demosaic: 'half' });
});
