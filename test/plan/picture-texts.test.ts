/** What files and settings say for text in the picture, and how the plan says what is burnt in. */
import { describe, expect, test } from 'vitest';
import { writtenText } from '../../coordinator/plan/written.ts';
import { levelsOf } from '../../coordinator/settings/levels.ts';
import { pictureTexts } from '../../coordinator/settings/picture-texts.ts';
import { type SettingsFile, settingsSchema } from '../../coordinator/settings/schema.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { isMovie, type Profile } from '../../profiles/schema.ts';
import { impossibleCombinations } from '../../profiles/rules.ts';
import { clipFacts } from '../support/facts.ts';

const { profiles } = await loadProfiles({ wanted: ['review-h264'] });
const review = profiles.filter(isMovie)[0]?.profile as Profile;
const writing: Profile = {
  ...review,
  burn_in: [
    { text: 'camera', place: 'top-left', height_percent: 5 },
    { text: 'date', place: 'top-left', height_percent: 5 },
  ],
  watermark: { words: null, layout: 'centred', height_percent: 6, opacity_percent: 30 },
};
const facts = clipFacts({ metadata: { make: 'Glocken', model: 'Glocken G-1', serial: '4711' } });

/** As people write it: without looks, nothing has to be read from files. */
function stated(written: object): SettingsFile {
  const { show, cameras, rolls } = settingsSchema.parse(written);
  if (show?.cdls !== undefined) throw new Error('no files here');
  const { cdls: _none, cdl: _cdl, look: _look, ...plain } = show ?? {};
  return {
    version: 1,
    show: plain,
    ...(cameras === undefined ? {} : { cameras: cameras.map(({ cdl: _c, look: _l, ...camera }) => camera) }),
    ...(rolls === undefined
      ? {}
      : {
          rolls: Object.fromEntries(
            Object.entries(rolls).map(([name, { cdl: _c, look: _l, clips: _clips, ...roll }]) => [
              name,
              roll,
            ]),
          ),
        }),
  };
}

const said = (show: object, more: object = {}, roll = 'A001', profile = writing) => {
  const settings: SettingsFile = stated({ version: 1, show, ...more });
  const { levels, cameras } = levelsOf(settings, roll, { id: 'c', name: 'c' }, facts);
  return pictureTexts({
    levels,
    show: settings.show,
    camera: cameras[0] ?? null,
    roll,
    facts,
    profiles: [profile],
  });
};

describe('the camera', () => {
  const cameras = [{ name: 'B camera', known_by: { serial: '4711' } }];
  test.each<[string, object, object, string, unknown]>([
    ['nobody says it: its model', {}, {}, 'A001', { name: 'Glocken G-1', from: 'model in the file' }],
    ['of the settings', {}, { cameras }, 'A001', { name: 'B camera', from: 'name in the settings' }],
    [
      'by the letters of its roll',
      { burn_in: { camera: 'roll' } },
      { cameras },
      'A001',
      { name: 'A', from: 'letters of the roll' },
    ],
    ['of a roll without letters', { burn_in: { camera: 'roll' } }, {}, '001', null],
    [
      'by its number',
      { burn_in: { camera: 'serial' } },
      {},
      'A001',
      { name: '4711', from: 'serial number in the file' },
    ],
    ['by a name that nobody gives', { burn_in: { camera: 'name' } }, {}, 'A001', null],
  ])('%s', (_what, show, more, roll, camera) => {
    expect(said(show, more, roll).burnIn?.camera ?? null).toEqual(camera);
  });
});

test('the nearest level states whom the pictures are for, and each of its fields counts by itself', () => {
  const { burnIn, applied } = said(
    { burn_in: { watermark: 'For the house', camera: 'model' }, time_zone: 'Europe/Berlin' },
    { rolls: { A001: { burn_in: { watermark: 'For Ines Alder' } } } },
  );
  expect(burnIn).toEqual({
    camera: { name: 'Glocken G-1', from: 'model in the file' },
    watermark: 'For Ines Alder',
    timeZone: 'Europe/Berlin',
  });
  expect(applied).toEqual([
    { setting: 'burn_in.camera', value: 'Glocken G-1 (model in the file)', from: 'show' },
    { setting: 'burn_in.watermark', value: 'For Ines Alder', from: 'roll' },
  ]);
});

test('of a profile that writes none of it nothing is said', () => {
  expect(said({ burn_in: { watermark: 'x' } }, {}, 'A001', review)).toEqual({ burnIn: null, applied: [] });
});

test.each<[string, Partial<Profile>, string[]]>([
  ['words without words', { burn_in: [{ text: 'words', place: 'top-left', height_percent: 5 }] }, ['words']],
  [
    'words of a clip',
    { burn_in: [{ text: 'clip', words: 'x', place: 'top-left', height_percent: 5 }] },
    ['words'],
  ],
  [
    'words in letters that the font lacks',
    { burn_in: [{ text: 'words', words: 'جرس', place: 'top-left', height_percent: 5 }] },
    ['words'],
  ],
  [
    'a watermark with a right-to-left mark',
    {
      burn_in: [],
      watermark: { words: 'a\u202eb', layout: 'centred', height_percent: 6, opacity_percent: 30 },
    },
    ['words'],
  ],
  [
    'two texts in one place, which is none',
    {
      burn_in: [
        { text: 'clip', place: 'top-left', height_percent: 5 },
        { text: 'roll', place: 'top-left', height_percent: 5 },
      ],
    },
    [],
  ],
])('a profile is refused before any clip: %s', (_what, part, fields) => {
  expect(impossibleCombinations({ ...review, ...part }).map(({ path }) => path.at(-1))).toEqual(fields);
});

test('the plan says of each text where it is from', () => {
  const item = {
    letters: { size: 16, pitch: 9, left: 8, baseline: 20 },
    box: { left: 4, top: 2, width: 80, height: 24 },
    look: { letters: 235, ground: 16, cover: { num: 3, den: 5 }, opacity: { num: 1, den: 1 } },
  };
  expect([
    writtenText({ ...item, text: 'clip', from: null, words: { kind: 'same', text: 'A001C001' } }),
    writtenText({ ...item, text: 'date', from: null, words: { kind: 'same', text: 'no date' } }),
    writtenText({ ...item, text: 'look', from: null, words: { kind: 'same', text: 'as recorded' } }),
    writtenText({
      ...item,
      text: 'frame',
      from: 'numbers of the files',
      words: { kind: 'frame', start: 1001, each: 1, digits: 4 },
    }),
  ]).toEqual([null, 'date "no date"', 'look "as recorded"', 'frame from 1001 on (numbers of the files)']);
});
