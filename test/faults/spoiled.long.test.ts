/**
 * Each fault spoils what it says and nothing else: the spoiled file beside the good one, both read by ffmpeg and ffprobe
 * alone. VC-3, where a coded picture depends on no other, so that those that are not touched are the same to the bit.
 */
import { statSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { type ClipName, makeClip } from '../campaign/material.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { jobFor } from '../support/work.ts';
import { makeWith } from './make-with.ts';
import { type Differences, differencesOf, isNone, type Observed, observed } from './observed.ts';
import type { Operation, Stage } from './operation.ts';

const material = join(sharedFolder, 'campaign');
const profile = 'full-vc3';
const file = 'test/campaign/profiles/full-vc3.yaml';
const FRAMES = 36;

interface Good {
  readonly job: Job;
  readonly observed: Observed;
  readonly path: string;
}
const good = new Map<string, Good>();

async function goodOf(clip: ClipName): Promise<Good> {
  const source = await makeClip(material, clip);
  const job = await jobFor(source, join(sharedFolder, 'campaign-jobs'), [file]);
  const made = await makeWith(job, { do: 'none' }, join(sharedFolder, `good-${clip.form}`));
  if (made.exitCode !== 0 || !made.done) throw new Error(made.stderr);
  const path = made.paths[profile] as string;
  return { job, path, observed: await observed(path) };
}

const chart = { picture: 'chart', form: 'film-two-tracks', take: 0 } as const;
let other = '';

beforeAll(async () => {
  good.set('chart', await goodOf(chart));
  good.set('drop-frame', await goodOf({ ...chart, form: 'drop-frame-30' }));
  good.set('fields', await goodOf({ ...chart, form: 'fields-top' }));
  other = await makeClip(material, { ...chart, take: 1 });
}, 240_000);

async function differences(
  of: string,
  operation: Operation,
): Promise<Differences & { readonly bytes: number }> {
  const { job, observed: before, path } = good.get(of) as Good;
  const made = await makeWith(job, operation, freshFolder('spoiled'));
  expect(made.stderr).not.toMatch(/^\[(?:error|fatal)\]/m);
  expect([made.exitCode, made.done]).toEqual([0, true]);
  const spoiled = made.paths[profile] as string;
  return {
    ...differencesOf(before, await observed(spoiled)),
    bytes: statSync(spoiled).size - statSync(path).size,
  };
}

const inOrder = Array.from({ length: FRAMES }, (_, index) => index);
const none = { times: false, audioTracks: [], described: [] };
const stages = ['decoder', 'encoder', 'file'] as const satisfies readonly Stage[];

test('the pictures of the clip all differ, and so do its channels', async () => {
  const { pictures, audioTracks } = (good.get('chart') as Good).observed;
  expect(new Set(pictures).size).toBe(FRAMES);
  expect(new Set(audioTracks).size).toBe(2);
});

test('without a fault the file is the good one', async () => {
  const difference = await differences('chart', { do: 'none' });
  expect(isNone(difference)).toBe(true);
  expect(difference.bytes).toBe(0);
});

describe.each(stages)('pictures in another order, from the %s', (stage) => {
  test.each<[string, number[]]>([
    [
      'one dropped and another repeated',
      inOrder.flatMap((index) => (index === 5 ? [] : index === 20 ? [20, 20] : [index])),
    ],
    ['two swapped', inOrder.with(7, 8).with(8, 7)],
    ['all later by one', inOrder.map((index) => Math.max(0, index - 1))],
    [
      'earlier by two from the twelfth on',
      inOrder.map((index) => (index < 12 ? index : Math.min(FRAMES - 1, index + 2))),
    ],
    ['ten frozen', inOrder.map((index) => (index > 3 && index < 13 ? 3 : index))],
  ])('%s: these pictures, at the same times, with the same audio and the same tags', async (_title, map) => {
    const { bytes: _bytes, ...difference } = await differences('chart', {
      do: 'frames',
      stage,
      profile,
      map,
      count: FRAMES,
    });
    // The burnt-in timecode is drawn behind the decoder: it goes on as it should, and no picture is any of the good ones' any more.
    if (stage === 'decoder')
      expect(difference).toEqual({
        ...none,
        pictures: map.map((from, index) => (from === index ? index : null)),
      });
    else expect(difference).toEqual({ ...none, pictures: map });
  });

  test.each([
    ['dropped', inOrder.filter((index) => index !== 9)],
    ['repeated', inOrder.flatMap((index) => (index === 9 ? [9, 9] : [index]))],
  ])('one %s: the others in their order, the audio as it was', async (_title, map) => {
    const difference = await differences('chart', { do: 'frames', stage, profile, map, count: FRAMES });
    if (stage !== 'decoder') expect(difference.pictures).toEqual(map);
    expect(difference.pictures).toHaveLength(map.length);
    expect(difference.audioTracks).toEqual([]);
    expect(
      difference.described.filter(
        (key) => !/^stream\.0\.nb_frames$|^format\.nb_|^stream\.\d\.(?:nb_frames|avg_frame_rate)$/.test(key),
      ),
    ).toEqual([]);
  });
});

describe.each(['encoder', 'file'] as const)('the picture itself, from the %s', (stage) => {
  const filter = (filters: string, retag = true): Operation => ({
    do: 'filter',
    stage,
    profile,
    filters,
    retag,
  });
  const all = inOrder.map(() => null);

  test.each<[string, Operation, (number | null)[]]>([
    [
      'one black',
      filter("lutyuv=y=0:u=128:v=128:enable='eq(n,4)'"),
      inOrder.map((index) => (index === 4 ? null : index)),
    ],
    [
      'one mirrored',
      filter("hflip=enable='eq(n,35)'"),
      inOrder.map((index) => (index === 35 ? null : index)),
    ],
    ['all mirrored', filter('hflip'), all],
    ['other levels', filter('scale=in_range=full:out_range=limited'), all],
    [
      'another matrix',
      filter('scale=in_range=full:out_range=full:in_color_matrix=bt709:out_color_matrix=smpte170m'),
      all,
    ],
    ['another crop', filter('crop=w=376:h=208:x=8:y=8:exact=1,scale=w=384:h=216,setsar=1'), all],
  ])('%s: only those pictures differ', async (_title, operation, pictures) => {
    const { bytes: _bytes, ...difference } = await differences('chart', operation);
    expect(difference).toEqual({ ...none, pictures });
  });

  test('one of another clip: only that picture differs', async () => {
    const { bytes: _bytes, ...difference } = await differences('chart', {
      do: 'other-clip',
      stage,
      profile,
      clip: other,
      at: 17,
    });
    expect(difference).toEqual({ ...none, pictures: inOrder.map((index) => (index === 17 ? null : index)) });
  });

  test('another clip: every picture and every audio differs, and no tag', async () => {
    const { bytes: _bytes, ...difference } = await differences('chart', {
      do: 'other-clip',
      stage,
      profile,
      clip: other,
      at: null,
    });
    expect(difference).toEqual({ ...none, pictures: all, audioTracks: [0, 1] });
  });

  test.each<[string, string, string[]]>([
    ['range', 'setparams=range=limited', ['stream.0.color_range']],
    ['matrix', 'setparams=colorspace=smpte170m', ['stream.0.color_space']],
  ])('a wrong tag of %s alone: pictures and audio are the same', async (_title, filters, described) => {
    const { bytes: _bytes, ...difference } = await differences('chart', filter(filters, false));
    expect(difference).toEqual({ ...none, pictures: null, described });
  });

  test.each<[string, string]>([
    ['late by 1 ms', 'aresample,adelay=delays=48S:all=1,aresample'],
    ['with its channels exchanged', 'aresample,channelmap=map=1|0:channel_layout=stereo,aresample'],
    ['silent', 'volume=0:precision=fixed'],
  ])('audio of the second track %s: nothing else differs', async (_title, filters) => {
    const { bytes: _bytes, ...difference } = await differences('chart', {
      do: 'audio',
      stage,
      profile,
      track: 1,
      filters,
    });
    expect(difference).toEqual({ ...none, pictures: null, audioTracks: [1] });
  });

  test("tracks in each other's place", async () => {
    const { bytes: _bytes, ...difference } = await differences('chart', {
      do: 'swap-tracks',
      stage,
      profile,
    });
    // Which of them is the first choice of a player goes with the track.
    expect(difference).toEqual({
      ...none,
      pictures: null,
      audioTracks: [0, 1],
      described: ['stream.1.disposition.default', 'stream.2.disposition.default'],
    });
  });

  test('24 for 24000/1001: the same pictures and audio, other times', async () => {
    const difference = await differences('chart', filter('settb=1/24,setpts=N,fps=24'));
    expect(difference).toMatchObject({ pictures: null, audioTracks: [] });
    expect(difference.described).toContain('stream.0.r_frame_rate');
    expect(difference.described).toContain('stream.0.avg_frame_rate');
  });

  test('narrower by two pixels', async () => {
    const difference = await differences('chart', filter('scale=w=382:h=216,setsar=1'));
    expect(difference.described).toContain('stream.0.width');
    expect(difference).toMatchObject({ times: false, audioTracks: [] });
  });
});

test('another clip where a drop-frame label is drawn into the picture', async () => {
  const stranger = await makeClip(material, { ...chart, form: 'drop-frame-30', take: 1 });
  const { pictures, described, times } = await differences('drop-frame', {
    do: 'other-clip',
    stage: 'encoder',
    profile,
    clip: stranger,
    at: 3,
  });
  expect([described, times]).toEqual([[], false]);
  expect(pictures?.flatMap((place, index) => (place === index ? [] : [index]))).toEqual([3]);
});

test('the other field order: other pictures, and nothing else', async () => {
  const { bytes: _bytes, ...difference } = await differences('fields', {
    do: 'graph',
    stage: 'encoder',
    from: 'parity=tff',
    to: 'parity=bff',
  });
  expect(difference).toMatchObject(none);
  expect(difference.pictures?.filter((place) => place === null).length).toBeGreaterThan(20);
});

test('another compression class: told by the profile', async () => {
  const difference = await differences('chart', {
    do: 'option',
    stage: 'encoder',
    profile,
    option: '-profile:v',
    value: 'dnxhr_hq',
  });
  expect(difference.described).toContain('stream.0.profile');
  expect(difference).toMatchObject({ times: false, audioTracks: [] });
});

test('one bit of one packet: the same number of bytes, and at most that picture differs', async () => {
  const { pictures, bytes, ...difference } = await differences('chart', {
    do: 'bit',
    stage: 'file',
    profile,
    stream: 'vide',
    sample: 11,
    bit: 8 * 4000,
  });
  expect([difference, bytes]).toEqual([none, 0]);
  expect(pictures).toEqual(inOrder.map((index) => (index === 11 ? null : index)));
});

test('one bit of the audio', async () => {
  expect(
    await differences('chart', { do: 'bit', stage: 'file', profile, stream: 'soun', sample: 3, bit: 77 }),
  ).toEqual({ ...none, pictures: null, audioTracks: [0], bytes: 0 });
});

test('timecode a frame on: told by every reader of it, nothing else differs', async () => {
  const { described, bytes, ...difference } = await differences('chart', {
    do: 'timecode',
    stage: 'file',
    profile,
    frames: 1,
    dropFlag: true,
  });
  expect([difference, bytes]).toEqual([{ pictures: null, times: false, audioTracks: [] }, 0]);
  expect(described).not.toEqual([]);
  expect(described.filter((key) => !key.endsWith('.tags.timecode'))).toEqual([]);
});

test('the drop-frame flag lost: the label is another one, nothing else differs', async () => {
  const { described, bytes, ...difference } = await differences('drop-frame', {
    do: 'timecode',
    stage: 'file',
    profile,
    frames: 0,
    dropFlag: false,
  });
  expect([difference, bytes]).toEqual([{ pictures: null, times: false, audioTracks: [] }, 0]);
  expect(described.filter((key) => !key.endsWith('.tags.timecode'))).toEqual([]);
});

test('a lost track: the others are as they were', async () => {
  const difference = await differences('chart', { do: 'lose-track', stage: 'file', profile, track: 1 });
  expect(difference).toMatchObject({ pictures: null, times: false, audioTracks: [1], bytes: 0 });
  expect(difference.described).toContain('format.nb_streams');
});

test('cut off: so many bytes fewer', async () => {
  expect((await differences('chart', { do: 'truncate', stage: 'file', profile, bytes: 1 })).bytes).toBe(-1);
});

test('damage in the clip, concealed: as many pictures, the damaged one another, and no word of an error', async () => {
  const { bytes: _bytes, ...difference } = await differences('chart', {
    do: 'damage',
    stage: 'decoder',
    sample: 21,
    from: 0.5,
    bytes: 64,
  });
  expect(difference).toEqual({ ...none, pictures: inOrder.map((index) => (index === 21 ? null : index)) });
});
