/** What every profile writes passes as a closed world: rates, drop-frame, tracks and channels, colours, fields, sizes, and a file of one frame. */
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { loadProfiles } from '../../../profiles/load.ts';
import { isMovie, type Profile } from '../../../profiles/schema.ts';
import { freshFolder } from '../../support/folder.ts';
import { further } from '../../support/lane.ts';
import { makeAll } from '../../support/make.ts';
import { makeMovie, type MovieOptions } from '../../support/media.ts';

const vc3 = 'test/fixtures/profiles/small-vc3.yaml';
const h264 = 'test/fixtures/profiles/small-h264.yaml';
const rdd36 = 'test/campaign/profiles/small-rdd36.yaml';
const h265 = 'test/fixtures/profiles/small-h265.yaml';
const lossless = 'archive-ffv1';
const every = [vc3, h264, rdd36, lossless] as const;
const small = { size: '256x144', frames: 10 } as const;

const tagged = (filters: string): readonly string[] => [
  '-vf',
  `trim=end_frame=10,format=yuv422p10le,${filters}`,
];
const pq = tagged('setparams=color_primaries=bt2020:color_trc=smpte2084:colorspace=bt2020nc:range=tv');
const pixels = tagged(
  'setsar=10/11,setparams=color_primaries=smpte170m:color_trc=bt709:colorspace=smpte170m:range=tv',
);
const fields = [
  ...tagged(
    'setfield=tff,setparams=field_mode=tff:color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv',
  ),
  ...['-flags:v', '+ildct+ilme', '-top', '1'],
];

type Row = readonly [title: string, options: MovieOptions, profiles: readonly string[]];

test.each<Row>([
  [
    '29.97 drop-frame, six channels',
    { ...small, rate: '30000/1001', timecode: '01:00:59;20', audio: [6] },
    every,
  ],
  [
    '25, tracks of one and of eight channels, and many blocks',
    { ...small, rate: '25', frames: 60, audio: [1, 8] },
    [h264, lossless],
  ],
  ['one frame', { ...small, frames: 1 }, [h264]],
  ...further<Row>(
    ['23.976, stereo', { ...small, audio: [2] }, every],
    ['the built-in ones', { ...small }, ['editorial-vc3', 'editorial-rdd36', 'review-h264', lossless]],
    ['H.265 at 29.97 drop-frame', { ...small, rate: '30000/1001', timecode: '01:00:59;20' }, [h265]],
    ['H.265 at 59.94', { ...small, rate: '60000/1001' }, [h265]],
    ['H.265 of one frame', { ...small, frames: 1 }, [h265]],
    ['24, two mono tracks', { ...small, rate: '24', audio: [1, 1] }, every],
    ['30, eight channels', { ...small, rate: '30', audio: [8] }, [vc3, h264, rdd36]],
    ['48, four channels', { ...small, rate: '48', audio: [4] }, [vc3, h264]],
    ['47.952, mono', { ...small, rate: '48000/1001', audio: [1] }, [vc3, h264]],
    ['50, no audio', { ...small, rate: '50', audio: [] }, every],
    [
      '59.94 drop-frame, eight mono tracks',
      { ...small, rate: '60000/1001', timecode: '01:00:59;40', audio: [1, 1, 1, 1, 1, 1, 1, 1] },
      [vc3, h264, rdd36],
    ],
    ['120, five channels', { ...small, rate: '120', audio: [5] }, [vc3, h264]],
    ['no timecode', { ...small, timecode: null }, [h264]],
    ['untagged', { ...small, tagged: false }, every],
    ['PQ', { ...small, extra: pq }, every],
    ['pixels that are not square', { ...small, size: '320x240', extra: pixels }, every],
    ['fields', { ...small, size: '320x240', rate: '25', extra: fields }, [h264, lossless]],
    ['odd sides', { ...small, size: '321x181' }, every],
    ['upright', { ...small, size: '144x256' }, [h264, rdd36]],
  ),
])('%s', async (_title, options, names) => {
  const folder = freshFolder('container');
  const source = await makeMovie(join(folder, 'A001C001.mov'), options);
  const { profiles } = await loadProfiles({ wanted: [...names] });
  const wanted = profiles.filter(isMovie).map(({ profile }): Profile => profile);
  expect(wanted).toHaveLength(names.length);
  for (const { checked } of await makeAll(source, wanted, folder)) {
    const [result] = checked.results.filter(({ check }) => check === 'container');
    expect(result?.status, result?.measured).toBe('passed');
    expect(
      checked.findings.filter(({ code }) => code.startsWith('container') || code.startsWith('samples')),
    ).toEqual([]);
  }
});
