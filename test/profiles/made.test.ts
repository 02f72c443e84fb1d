/** The built-in profiles on real clips: what comes out passes the independent checker, and MediaInfo reads the same. */
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { isMovie, type Profile } from '../../profiles/schema.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { makeAll } from '../support/make.ts';
import { makeMovie, type MovieOptions } from '../support/media.ts';

async function profilesNamed(...wanted: string[]): Promise<Profile[]> {
  const loaded = await loadProfiles({ wanted });
  expect(loaded.findings).toEqual([]);
  return loaded.profiles.filter(isMovie).map((item) => item.profile);
}

type Track = Readonly<Record<string, string>>;
function mediaInfo(path: string): Track[] {
  const text = execFileSync('mediainfo', ['--Output=JSON', path], { encoding: 'utf8' });
  return (JSON.parse(text) as { media: { track: Track[] } }).media.track;
}
const trackOf = (tracks: readonly Track[], type: string): Track | undefined =>
  tracks.find((track) => track['@type'] === type);

const small = ['test/fixtures/profiles/small-vc3.yaml', 'test/fixtures/profiles/small-h264.yaml'];

describe('every rate that timecode counts', () => {
  test.each<readonly [string, string]>([
    ['30000/1001', '01:00:59;29'],
    // At 23.976 nearly every other test makes what it makes.
    ...further(
      ['25', '10:59:59:24'],
      ['60000/1001', '01:00:00;04'],
      ['24000/1001', '01:00:00:00'],
      ['24', '01:00:00:12'],
      ['30000/1001', '01:00:00:00'],
      ['30', '23:59:59:29'],
      ['48', '02:00:00:47'],
      ['50', '02:00:00:49'],
      ['60', '00:00:00:00'],
    ),
  ])('%s from %s: both deliverables pass every check', async (rate, timecode) => {
    const folder = freshFolder('rates');
    const source = await makeMovie(join(folder, 'A001C001.mov'), { rate, timecode, frames: 24 });
    for (const { checked, outcome } of await makeAll(source, await profilesNamed(...small), folder)) {
      expect(checked.findings).toEqual([]);
      expect(checked.passed).toBe(true);
      expect(outcome.frames).toBe(24);
    }
  });
});

// ST 2019-1, resolution-independent classes: the size follows from the macroblocks and the class's weight, in steps of 4096 bytes.
test('MediaInfo reads the frames, start timecode, raster, colours and audio of an editing proxy, and VC-3 LB frames have the size of SMPTE ST 2019-1 at 1920x1080', async () => {
  const folder = freshFolder('proxy');
  const source = await makeMovie(join(folder, 'A001C002.mov'), {
    rate: '30000/1001',
    timecode: '01:00:59;28',
    frames: 30,
    audio: [1, 1, 2],
  });
  const [made] = await makeAll(source, await profilesNamed('editorial-vc3'), folder);
  const tracks = mediaInfo(made?.path ?? '');
  const video = trackOf(tracks, 'Video');
  expect(video).toMatchObject({
    Format: 'VC-3',
    Width: '1920',
    Height: '1080',
    FrameCount: '30',
    ColorSpace: 'YUV',
    ChromaSubsampling: '4:2:2',
    BitDepth: '8',
    colour_primaries: 'BT.709',
  });
  expect(trackOf(tracks, 'Other')).toMatchObject({ TimeCode_FirstFrame: '01:00:59;28' });
  const audio = tracks.filter((track) => track['@type'] === 'Audio');
  expect(audio.map((track) => track.Channels)).toEqual(['1', '1', '2']);
  // 30 frames at 30000/1001 are 48 048 samples at 48 kHz.
  expect(audio.map((track) => track.SamplingCount)).toEqual(['48048', '48048', '48048']);
  expect(made?.checked.findings).toEqual([]);
  expect(made?.checked.passed).toBe(true);
  expect(made?.outcome.packetBytes).toBe(188_416);
  expect(made?.checked.facts?.video).toMatchObject({ smallestPacket: 188_416, largestPacket: 188_416 });
});

test('the RDD 36 proxy carries reel name and 24-bit audio', async () => {
  const folder = freshFolder('rdd36');
  const source = await makeMovie(join(folder, 'B001C001.mov'), {
    frames: 4,
    codec: 'h264',
    timecode: '09:00:00:00',
  });
  const [made] = await makeAll(source, await profilesNamed('editorial-rdd36'), folder);
  expect(made?.checked.findings).toEqual([]);
  expect(made?.checked.facts).toMatchObject({ reel: 'A001', audio: [{ codec: 'pcm_s24le' }] });
});

test.each<readonly [string, MovieOptions]>([
  ['audio that ends early is filled to the picture', { audioSeconds: 0.98 }],
  ...further<readonly [string, MovieOptions]>(
    ['a clip without audio comes out without audio', { audio: [] }],
    ['odd sizes come out even where the codec wants it', { size: '321x181', picture: 'testsrc' }],
  ),
])('%s', async (_title, options) => {
  const folder = freshFolder('odd');
  const source = await makeMovie(join(folder, 'clip.mov'), { frames: 24, rate: '24', ...options });
  const profiles = await profilesNamed(...(everyRow ? small : small.slice(0, 1)));
  for (const { checked } of await makeAll(source, profiles, folder)) expect(checked.findings).toEqual([]);
});
