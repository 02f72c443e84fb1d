/** How days are compared: every trait that changes is named with day, clips and reason, and nothing else is. */
import { describe, expect, test } from 'vitest';
import { dayBefore, differenceNotes, differencesOf } from '../../handover/consistency/differences.ts';
import { type MadeItem, madeOf } from '../../handover/consistency/made.ts';
import { showMadeOf, traitsThatDiffer } from '../../handover/consistency/show.ts';
import { showVerdict } from '../../handover/page/show-page.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { madeDay } from '../support/made-days.ts';
import { blocks } from '../../findings/finding.ts';

test.each([
  ['day-10', ['day-2', 'day-9', 'day-10', 'day-11'], 'day-9'],
  ['2026-12-01', ['2026-11-30', '2026-12-01'], '2026-11-30'],
  ['day-1', ['day-1', 'day-2'], null],
  ['day-3', [], null],
])('before %s, of %j, comes %s', (day, days, before) => {
  expect(dayBefore(days, day)).toBe(before);
});

describe('two days', () => {
  test('alike: nothing differs', () => {
    expect(differencesOf(madeDay('day-07'), madeDay('day-06'))).toEqual([]);
  });

  test.each([
    ['form', 'mxf', 'file form'],
    ['codec', 'h264 High', 'codec'],
    ['raster', '1920x1008', 'raster'],
    ['rate', '25 frames/s', 'rate'],
    ['audio', 'no audio', 'audio layout'],
    ['naming', '{roll}_{clip}', 'file names'],
    ['look', 'look dusk.cube, bt1886-bt709', 'look'],
  ] as const)('another %s is named, with what it was', (trait, value, what) => {
    const [one, ...more] = differencesOf(
      madeDay('day-07', { [trait]: value, because: 'of the clip' }),
      madeDay('day-06'),
    );
    expect(more).toEqual([]);
    expect(one).toMatchObject({ what, profile: 'editorial-vc3', now: value, why: 'of the clip' });
    expect(one?.before).not.toBe('');
  });

  test('a changed profile is the reason for what came of it, field by field', () => {
    const now = madeDay('day-07', { codec: 'vc3 DNXHR SQ', hash: '2', fields: { 'video.quality': '"sq"' } });
    expect(differencesOf(now, madeDay('day-06'))).toEqual([
      {
        what: 'codec',
        profile: 'editorial-vc3',
        now: 'vc3 DNXHR SQ',
        before: 'vc3 DNXHR LB',
        where: null,
        why: 'the profile was changed: video.quality from "lb" to "sq"',
      },
    ]);
  });

  test('a changed profile of which nothing came is named all the same', () => {
    const now = madeDay('day-07', { hash: '2', fields: { 'picture_error.least_psnr': '30' } });
    expect(differencesOf(now, madeDay('day-06'))).toMatchObject([
      { what: 'profile', now: 'changed: picture_error.least_psnr from nothing to 30' },
    ]);
  });

  test('another toolchain, and another build of the same versions', () => {
    const later = 'ffmpeg 8.0, ffprobe 8.0, recipe 9';
    expect(differencesOf(madeDay('day-07', { toolchain: later }), madeDay('day-06'))).toMatchObject([
      { what: 'toolchain', profile: null, now: later, before: 'ffmpeg 7.1, ffprobe 7.1, recipe 9' },
    ]);
    const [before] = madeDay('day-06').toolchains;
    const now = { ...madeDay('day-07'), toolchains: [{ digest: 'b', words: before?.words ?? '' }] };
    expect(differencesOf(now, madeDay('day-06'))).toMatchObject([{ now: `${before?.words}, another build` }]);
  });

  test('a profile more, and a profile less', () => {
    const [profile] = madeDay('day-06').profiles;
    if (profile === undefined) throw new Error('no profile');
    const two = { ...madeDay('day-06'), profiles: [profile, { ...profile, name: 'review-h264' }] };
    expect(differencesOf(madeDay('day-07'), two)).toMatchObject([
      { profile: 'review-h264', now: 'not made', before: 'made' },
    ]);
    expect(differencesOf(two, madeDay('day-05'))).toMatchObject([
      { profile: 'review-h264', now: 'made', before: 'not made' },
    ]);
  });

  test('one clip among others: the difference says which; a value that is gone is none', () => {
    const base = madeDay('day-07');
    const [profile] = base.profiles;
    if (profile === undefined) throw new Error('no profile');
    const raster = {
      trait: 'raster' as const,
      values: [
        { value: '1920x1080', clips: 9, first: ['A001 A001C001'], because: null },
        { value: '1440x1080', clips: 1, first: ['C001 C001C004'], because: 'recorded in 1440x1080' },
      ],
    };
    const mixed = { ...base, profiles: [{ ...profile, traits: [raster] }] };
    expect(differencesOf(mixed, madeDay('day-06'))).toMatchObject([
      { now: '1440x1080', before: '1920x1080', where: 'C001 C001C004', why: 'recorded in 1440x1080' },
    ]);
    expect(differencesOf(madeDay('day-08'), mixed).filter(({ what }) => what === 'raster')).toEqual([]);
  });

  test('as findings they hold nothing', () => {
    const notes = differenceNotes('day-07', {
      before: 'day-06',
      differences: differencesOf(madeDay('day-07', { raster: '1920x1008' }), madeDay('day-06')),
    });
    expect(notes).toMatchObject([
      {
        code: 'day-made-otherwise',
        profile: 'editorial-vc3',
        found: 'day-07, raster: 1920x1008',
        expected: 'as on day-06: 1920x1080',
      },
    ]);
    expect(notes.some(blocks)).toBe(false);
  });
});

test('a show: what differs on any day is in its first line, and from which day to which', () => {
  const days = [madeDay('day-10'), madeDay('day-2'), madeDay('day-9', { audio: 'no audio' })];
  const show = showMadeOf(days);
  expect(show.days).toEqual(['day-2', 'day-9', 'day-10']);
  expect(traitsThatDiffer(show)).toEqual(['audio']);
  expect(showVerdict({ made: show })).toBe('The deliverables of 3 days differ in audio layout.');
  expect(show.changes.map(({ day, before }) => [day, before])).toEqual([
    ['day-9', 'day-2'],
    ['day-10', 'day-9'],
  ]);
  expect(showVerdict({ made: showMadeOf([madeDay('day-2'), madeDay('day-3')]) })).toBe(
    'The deliverables of 2 days are made alike.',
  );
});

test('traits of real outcomes: what profile, clip and settings decide, in words', async () => {
  const loaded = (await builtInProfiles()).find(({ profile }) => profile.name === 'editorial-vc3');
  if (loaded?.profile.kind !== 'movie') throw new Error('no profile of a movie');
  const raster = { ...loaded.profile.raster, policy: 'fit', width: 1920, height: null } as const;
  const profile = { ...loaded.profile, raster };
  const itemOf = (name: string, facts: MadeItem['facts']): MadeItem => {
    if (facts === null) throw new Error('no facts');
    const decided = decideOutcome({
      day: 'day-07',
      roll: 'A001',
      clip: clipNamed(name),
      facts,
      profile,
    });
    if (decided.outcome === null) throw new Error(decided.findings[0]?.found);
    const body = { ...profile };
    return {
      roll: 'A001',
      clip: name,
      profile: { name: 'editorial-vc3', hash: loaded.hash, body },
      outcome: decided.outcome,
      facts,
      settings: null,
    };
  };
  const counted = { day: 'day-07', rolls: 1, ready: 1, clips: 2, tenths: 40, toolchains: [] };
  const made = madeOf({
    ...counted,
    items: [
      itemOf('A001C001', clipFacts()),
      itemOf('A001C002', clipFacts({ audio: [], video: { width: 2048, height: 858 } })),
    ],
  });
  const traitsOf = Object.fromEntries(
    (made.profiles[0]?.traits ?? []).map(({ trait, values }) => [trait, values.map(({ value }) => value)]),
  );
  // docs/profiles.md: VC-3 LB (SMPTE ST 2019-1), MOV, 24-bit audio; here 1920 wide: 2048x858 at that width is 804.4 lines, and even.
  expect(traitsOf).toMatchObject({
    form: ['mov'],
    codec: ['vc3 DNXHR LB'],
    raster: ['1920x1080', '1920x804'],
    rate: ['24000/1001 frames/s'],
    audio: ['1 x stereo pcm_s24le 48000 Hz', 'no audio'],
    naming: ['{clip}'],
    look: ['as recorded'],
    'burn-in': ['none'],
  });
  const rasters = made.profiles[0]?.traits.find(({ trait }) => trait === 'raster')?.values[1];
  expect(rasters).toEqual({
    value: '1920x804',
    clips: 1,
    first: ['A001 A001C002'],
    because: 'recorded in 2048x858',
  });
});
