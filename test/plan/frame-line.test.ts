/** The part of a picture that was framed for: which it is by the settings, and what proxies show of it. */
import { describe, expect, test } from 'vitest';
import { frameLineOf, type WrittenFrameLine } from '../../coordinator/settings/frame-line.ts';
import { cutOf, rasterOf } from '../../profiles/outcome/raster.ts';
import type { Profile } from '../../profiles/schema.ts';
import type { VideoFacts } from '../../media/facts.ts';
import { videoFacts } from '../support/facts.ts';

const fit: Profile['raster'] = { policy: 'fit', width: 1920, height: 1080, multiple_of: 2, enlarge: false };
const native: Profile['raster'] = { ...fit, policy: 'native', width: null, height: null };
const fill: Profile['raster'] = { ...fit, policy: 'fill' };

function shown(written: WrittenFrameLine, video: VideoFacts, raster: Profile['raster']): string {
  const line = frameLineOf(written, video);
  if (line !== null && 'code' in line) return `${line.code}: ${line.found}`;
  const out = rasterOf(line === null ? video : { ...video, frameLine: line }, raster);
  const { left, top } = cutOf(out);
  return `${out.width}x${out.height} at ${left},${top} of ${out.scaled.width}x${out.scaled.height}`;
}

describe('a frame line', () => {
  const openGate = videoFacts({ width: 4448, height: 3096 });
  const pixels = {
    pixels: { left: 304, top: 468, width: 3840, height: 2160 },
    of: { width: 4448, height: 3096 },
  };
  test.each<[string, WrittenFrameLine, VideoFacts, Profile['raster'], string]>([
    // By hand: 3840 to 1920 is a half; so are the picture and the place.
    ['in pixels, fitted', pixels, openGate, fit, '1920x1080 at 152,234 of 2224x1548'],
    [
      'in pixels, as shot: nothing is resampled',
      pixels,
      openGate,
      native,
      '3840x2160 at 304,468 of 4448x3096',
    ],
    // 1920 / 2.39 = 803.3: lines 138 to 942.
    ['by its shape, wide', { aspect: 2.39 }, videoFacts(), native, '1920x802 at 0,138 of 1920x1080'],
    ['by its shape, narrow', { aspect: 1 }, videoFacts(), native, '1080x1080 at 420,0 of 1920x1080'],
    [
      'in parts, of an upright picture: what is left and top is so when it is upright',
      { left: 0, top: 0.25, width: 1, height: 0.5 },
      videoFacts({ rotation: 90 }),
      native,
      '1080x960 at 0,480 of 1080x1920',
    ],
    ['that fills what is asked', { aspect: 1 }, videoFacts(), fill, '1920x1080 at 746,420 of 3413x1920'],
    ['none', 'none', videoFacts(), native, '1920x1080 at 0,0 of 1920x1080'],
    ['of another size', pixels, videoFacts(), fit, 'frame-line-misfit: a picture of 1920x1080'],
    [
      'that leaves the picture',
      { left: 0.6, top: 0, width: 0.5, height: 1 },
      videoFacts(),
      fit,
      'frame-line-misfit: a frame line that ends at 110.0 % of the width and 100.0 % of the height',
    ],
    [
      'of a picture whose pixels are not square',
      { aspect: 1 },
      videoFacts({ width: 720, height: 480, pixelAspect: { num: 8, den: 9 } }),
      native,
      '480x480 at 80,0 of 640x480',
    ],
  ])('%s', (_, written, video, raster, expected) => {
    expect(shown(written, video, raster)).toBe(expected);
  });

  test('a lossless copy keeps the whole picture', () => {
    expect(shown({ aspect: 1 }, videoFacts(), { ...native, policy: 'coded' })).toBe(
      '1920x1080 at 0,0 of 1920x1080',
    );
  });
});
