/** Clips that are awkward and have no fault are ready: dark, flat, strobing, very short, of fields at odd rasters, of long open groups, of other audio. */
import { basename, dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { masterJob } from '../support/masters.ts';
import { jobFor } from '../support/work.ts';
import { type FormName, makeClip, type PictureName } from './material.ts';
import { runCase } from './run-case.ts';

const vc3 = 'test/fixtures/profiles/small-vc3.yaml';
const h264 = 'test/fixtures/profiles/small-h264.yaml';
const rdd36 = 'test/campaign/profiles/small-rdd36.yaml';
const fitted = 'test/campaign/profiles/fitted-vc3.yaml';
const full = 'test/campaign/profiles/full-vc3.yaml';
const filled = 'test/campaign/profiles/filled-h264.yaml';

test.each<[PictureName, FormName, readonly string[], take?: number]>([
  ['near-black', 'film', [vc3, h264]],
  // Of one frame H.264 keeps nothing, and all around it look like what is there.
  ['near-black', 'drop-frame-60', [h264], 2],
  ...further<[PictureName, FormName, readonly string[], take?: number]>(
    ['grey', 'upright', [full], 2],
    ['zoom', 'long-open-group', [vc3, h264]],
    ['strobe', 'one-frame', [vc3, h264]],
    ['chart', 'two-frames', [vc3, h264]],
    ['zoom', 'two-frames', [rdd36]],
    ['chart', 'fields-odd-raster', [full]],
    ['zoom', 'fields-coded', [full, h264]],
    ['near-black', 'fields-coded', [filled], 1],
    ['near-black', 'long-open-group', [h264], 0],
    ['near-black', 'long-open-group', [h264], 1],
    ['chart', 'open-group-mpeg2', [h264, rdd36], 1],
    ['strobe', 'film', [vc3, h264]],
    ['strobe', 'audio-44100', [rdd36]],
    ['black', 'silence', [vc3, h264]],
    ['flat-colour', 'audio-96000', [rdd36, h264]],
    ['near-black', 'eight-channels', [full, rdd36]],
    ['dark-noise', 'full-range', [full, h264]],
    ['dark-noise', 'film', [vc3, rdd36]],
    ['dark-noise', 'two-frames', [rdd36], 2],
    ['fade-out', 'whole-24', [rdd36], 1],
    ['fade-in', 'drop-frame-60', [rdd36], 2],
    ['black', 'fields-top', [full]],
    ['near-black', 'full-range', [full, rdd36]],
    ['fade-in', 'upright', [rdd36], 1],
    ['flicker', 'full-range', [h264, filled], 1],
    ['cuts', 'fields-bottom', [h264], 1],
    ['cuts', 'fields-bottom', [rdd36, full], 2],
    ['strobe', 'fields-coded', [full], 2],
    ['strobe', 'open-group-mpeg2', [full], 1],
    ['strobe', 'fields-odd-raster', [rdd36, full], 1],
    ['strobe', 'fields-odd-raster', [rdd36], 2],
    ['flat-colour', 'film-two-tracks', [full], 2],
    ['flat-colour', 'film', [full], 2],
    ['fade-out', 'drop-frame-30', [full], 2],
    ['focus', 'pal', [fitted], 1],
    ['focus', 'full-range', [filled], 2],
  ),
])('%s as %s', async (picture, form, wanted, take = 0) => {
  const clip = await makeClip(join(sharedFolder, 'campaign'), { picture, form, take });
  const { verdict, codes, reported } = await runCase(
    await jobFor(clip, join(sharedFolder, 'awkward-jobs'), wanted),
    { do: 'none' },
    join(freshFolder('awkward'), 'case'),
  );
  expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
});

test('white flashes in a fractal with grain, whose overshoot is cut off', async () => {
  const clip = await makeClip(join(sharedFolder, 'campaign'), {
    picture: 'flashes',
    form: 'whole-24',
    take: 1,
  });
  const { verdict, reported } = await runCase(
    await jobFor(clip, join(sharedFolder, 'awkward-jobs'), [vc3]),
    { do: 'none' },
    join(freshFolder('awkward'), 'case'),
  );
  expect(verdict, reported.join('; ')).toBe('ready');
});

/** Strong colours of a chart go below 0 in R'G'B', more here than in a frame before: means of what was cut off place no frame. */
test.each<[PictureName, FormName]>([
  ['chart', 'film-two-tracks'],
  ...further<[PictureName, FormName]>(['zoom', 'full-range'], ['near-black', 'film'], ['cuts', 'two-frames']),
])('%s as %s, said to be log, goes its colour way', async (picture, form) => {
  const path = await makeClip(freshFolder('log-clip'), { picture, form, take: 0 });
  const clip = {
    rollFolder: dirname(path),
    place: { kind: 'movie', file: basename(path) } as const,
    facts: await factsOf(path),
  };
  const { verdict, codes, reported } = await runCase(
    await masterJob(clip, freshFolder('log'), ['test/fixtures/profiles/native-rdd36.yaml'], interpretation),
    { do: 'none' },
    join(freshFolder('awkward'), 'case'),
  );
  expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
});
