/** The settings of a show: four levels, cameras by what their clips say, and every slip of the pen with its line. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { understand } from '../../coordinator/settings/interpret.ts';
import { levelsOf } from '../../coordinator/settings/levels.ts';
import { readSettings } from '../../coordinator/settings/read.ts';
import type { SettingsFile } from '../../coordinator/settings/schema.ts';
import { momentText } from '../../coordinator/show/time.ts';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { loadProfiles } from '../../profiles/load.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { clipFacts } from '../support/facts.ts';
import { freshFolder } from '../support/folder.ts';

let profiles: LoadedProfile[];
beforeAll(async () => {
  ({ profiles } = await loadProfiles({
    wanted: ['editorial-vc3', 'review-h264', 'grading-master-exr', 'archive-ffv1'],
  }));
});

const read = async (text: string, others: Readonly<Record<string, string>> = {}): Promise<SettingsFile> => {
  const folder = freshFolder('settings');
  for (const [name, content] of Object.entries(others)) writeFileSync(join(folder, name), content);
  const path = join(folder, 'show.yaml');
  writeFileSync(path, text);
  return (await readSettings(path)).file;
};

async function refused(text: string): Promise<readonly Finding[]> {
  try {
    await read(text);
  } catch (error) {
    if (error instanceof FindingError) return error.findings;
    throw error;
  }
  return [];
}

const show = `version: 1
show:
  owner: the show
  comments: the show
  profiles: [editorial-vc3]
  input: { name: bt709 }
  raw: { white_balance: as-shot, exposure_stops: 1, anchor: metered }
cameras:
  - name: A
    known_by: { rolls: [A###] }
    owner: the camera
    profiles: [review-h264, grading-master-exr]
    raw: { exposure_stops: 2 }
rolls:
  A001:
    owner: the roll
    raw: { anchor: sensor }
    clips:
      A001C002: { owner: the clip, profiles: [grading-master-exr] }
`;

const applied = (file: SettingsFile, roll: string, clip: string, stated: readonly string[] | null = null) => {
  const { settings, facts } = understand(clipFacts(), { roll, clip: { id: clip, name: clip } }, file, {
    profiles,
    stated,
    usual: ['editorial-vc3', 'review-h264'],
    stills: 0,
  });
  return {
    camera: settings.camera,
    due: settings.profiles,
    from: Object.fromEntries(settings.applied.map(({ setting, value, from }) => [setting, [value, from]])),
    facts,
  };
};

describe('of each setting the nearest level that states it counts', () => {
  test('the clip before the roll, the roll before the camera, the camera before the show', async () => {
    const file = await read(show);
    expect(applied(file, 'A001', 'A001C002')).toMatchObject({
      camera: 'A',
      due: ['grading-master-exr'],
      from: {
        profiles: ['grading-master-exr', 'clip'],
        owner: ['the clip', 'clip'],
        comments: ['the show', 'show'],
        input: ['{"name":"bt709"}', 'show'],
      },
    });
    expect(applied(file, 'A001', 'A001C001').from).toMatchObject({
      profiles: ['review-h264, grading-master-exr', 'camera'],
      owner: ['the roll', 'roll'],
    });
    expect(applied(file, 'A002', 'A002C001').from).toMatchObject({ owner: ['the camera', 'camera'] });
    // What is looked at as it was recorded: nothing else is asked of the settings.
    expect(applied(file, 'B001', 'B001C001', ['archive-ffv1']).from).toEqual({
      profiles: ['archive-ffv1', 'command line'],
      stills: ['none', 'command line'],
    });
    expect(applied(file, 'B001', 'B001C001')).toMatchObject({
      from: { profiles: ['editorial-vc3', 'show'], input: ['{"name":"bt709"}', 'show'] },
      facts: { interpretation: { input: { name: 'bt709' }, inputFrom: 'show' } },
    });
  });

  test('what is below raw counts field by field', async () => {
    const { facts } = applied(await read(show), 'A001', 'A001C001');
    expect(facts?.interpretation?.raw).toEqual({
      whiteBalance: 'as-shot',
      exposureStops: 2,
      anchor: 'sensor',
      corrections: 'apply',
    });
  });

  test('the command line before all of them; nobody, and the usual profiles are made', async () => {
    const file = await read(show);
    expect(applied(file, 'A001', 'A001C002', ['review-h264'])).toMatchObject({
      due: ['review-h264'],
      from: { profiles: ['review-h264', 'command line'] },
    });
    expect(applied({ version: 1 }, 'A001', 'A001C001').from).toMatchObject({
      profiles: ['editorial-vc3, review-h264', 'nobody'],
      input: ['{"name":"bt709"}', 'tags'],
    });
  });

  test('a profile in a file of its own is known by the name that it has there', async () => {
    const text = 'version: 1\nname: small\nsummary: Small\nextends: editorial-vc3\n';
    const file = await read('version: 1\nshow: { profiles: [small.yaml, dpx-10] }\n', { 'small.yaml': text });
    expect(file.show?.profiles).toEqual(['small', 'dpx-10']);
  });

  test('what an alias repeats is read in each of its places', async () => {
    const file = await read(
      'version: 1\nshow: &all { profiles: &list [small.yaml] }\nrolls: { A001: *all, A002: { profiles: *list } }\n',
      { 'small.yaml': 'version: 1\nname: small\nsummary: Small\nextends: editorial-vc3\n' },
    );
    expect([file.show, file.rolls?.A001, file.rolls?.A002]).toEqual(Array(3).fill({ profiles: ['small'] }));
  });

  test('everything that is wrong is said at once', async () => {
    const found = await refused(
      'version: 1\nshow:\n  time_zone: nowhere\n  profiles: [dpx-11]\n  exposer: 1\n',
    );
    expect(found.map(({ line }) => line).sort()).toEqual([3, 4, 5]);
  });

  test('names of rolls that are names of an object are names like others', () => {
    expect(
      levelsOf({ version: 1, rolls: {} }, 'constructor', { id: 'toString', name: 'x' }, null).levels,
    ).toEqual([]);
  });
});

describe('a camera is known', () => {
  const camera = (known: string): Promise<SettingsFile> =>
    read(`version: 1\ncameras:\n  - { name: here, known_by: ${known}, owner: here }\n`);
  const facts = clipFacts({
    metadata: { 'com.example.quicktime.make': 'Swallow', model: 'W2 ', camera_serial: '0042' },
  });
  const found = async (known: string, roll = 'A001'): Promise<boolean> =>
    levelsOf(await camera(known), roll, null, facts).cameras.length > 0;

  test.each([
    ['{ rolls: [A###] }', 'A001', true],
    ['{ rolls: [A###] }', 'a001', true],
    ['{ rolls: [A###] }', 'AB01', false],
    ['{ rolls: [A###] }', 'A0011', false],
    ["{ rolls: [B*, 'A*'] }", 'A001R1', true],
    ['{ rolls: [A??1] }', 'A0x1', true],
    ['{ rolls: [A.01] }', 'A001', false],
  ])('by its rolls: %s, %s: %s', async (known, roll, wanted) => {
    expect(await found(known, roll)).toBe(wanted);
  });

  test.each([
    ['{ make: swallow }', true],
    ['{ make: Swallow, model: w2, serial: "0042" }', true],
    ['{ make: Swallow, model: W3 }', false],
    ['{ serial: "42" }', false],
    ['{ make: Swallow, rolls: [B*] }', false],
  ])('by what its files say: %s: %s', async (known, wanted) => {
    expect(await found(known)).toBe(wanted);
  });

  // DNG 1.6, chapter 4: UniqueCameraModel is a name of its own beside TIFF's Model; ST 268-1 has the input device alone.
  test.each([
    ['{ make: Swallow, serial: S12 }', true],
    ['{ model: W9 }', true],
    ['{ model: swallow w9 unique }', true],
    ['{ model: A }', false],
    ['{ model: W5 }', false],
  ])('by what its frames state: %s: %s', async (known, wanted) => {
    const attribute = (
      name: string,
      from: string,
      value: string,
    ): NonNullable<ClipFacts['stated']>['attributes'][number] => ({
      name,
      type: 'string',
      from,
      values: [{ frame: 0, value }],
    });
    const frames = clipFacts({
      stated: {
        attributes: [
          attribute('cameraLabel', 'CameraLabel', 'A'),
          attribute('cameraMake', 'Make', 'Swallow'),
          attribute('cameraModel', 'Model', 'W9'),
          attribute('cameraSerialNumber', 'CameraSerialNumber', 'S12'),
          attribute('uniqueCameraModel', 'UniqueCameraModel', 'Swallow W9 unique'),
          {
            name: 'cameraLabel',
            type: 'string',
            from: 'input device',
            values: [
              { frame: 0, value: 'W5' },
              { frame: 3, value: 'W6' },
            ],
          },
        ],
        left: [],
      },
    });
    expect(levelsOf(await camera(known), 'A001', null, frames).cameras.length > 0).toBe(wanted);
  });

  test('not by files that say nothing', async () => {
    expect(levelsOf(await camera('{ make: swallow }'), 'A001', null, clipFacts()).cameras).toEqual([]);
  });

  test('as one alone: a clip of two is held', async () => {
    const file = await read(
      'version: 1\ncameras:\n  - { name: one, known_by: { rolls: [A*] } }\n  - { name: two, known_by: { make: swallow } }\n',
    );
    const { findings, settings } = understand(facts, { roll: 'A001', clip: { id: 'x', name: 'x' } }, file, {
      profiles,
      stated: null,
      usual: ['editorial-vc3'],
    });
    expect(findings.map(({ code, found: what }) => [code, what])).toEqual([
      ['settings-camera-ambiguous', 'a clip of one and of two'],
    ]);
    expect(settings.camera).toBeNull();
  });
});

describe('what is wrong is refused with its line', () => {
  test.each([
    [
      'a camera as in earlier days',
      'cameras:\n  A:\n    input: { name: bt709 }\n',
      'settings-shape-old',
      3,
      'known_by',
    ],
    [
      'a camera that nothing is known by',
      'cameras:\n  - name: A\n    known_by: {}\n',
      'settings-value-wrong',
      4,
      '',
    ],
    ['a camera without known_by', 'cameras:\n  - name: A\n', 'settings-value-wrong', 3, ''],
    [
      'two cameras of one name',
      'cameras:\n  - { name: A, known_by: { rolls: [A*] } }\n  - { name: A, known_by: { rolls: [B*] } }\n',
      'settings-value-wrong',
      4,
      'a name of its own',
    ],
    [
      'a profile that nobody has',
      'show:\n  profiles:\n    - dpx-10\n    - dpx-11\n',
      'settings-value-wrong',
      5,
      'editorial-vc3',
    ],
    ['a profile twice', 'show:\n  profiles: [dpx-10, dpx-10]\n', 'settings-value-wrong', 3, 'each once'],
    ['no profile at all', 'rolls:\n  A001:\n    profiles: []\n', 'settings-value-wrong', 4, ''],
    ['a time zone that is an offset', 'show:\n  time_zone: +02:00\n', 'settings-value-wrong', 3, ''],
    [
      'a time zone that is not there',
      'show:\n  time_zone: Europe/Bellville\n',
      'settings-value-wrong',
      3,
      '',
    ],
    [
      'a time zone of a camera',
      'cameras:\n  - name: A\n    known_by: { make: x }\n    time_zone: UTC\n',
      'settings-value-wrong',
      5,
      '',
    ],
    [
      'a decoder of a camera that is known by its files',
      'cameras:\n  - name: A\n    known_by: { make: x }\n    raw: { decoder: own }\n',
      'settings-value-wrong',
      5,
      'a decoder for the show',
    ],
    [
      'a decoder of a clip',
      'rolls:\n  A001:\n    clips:\n      A001C001:\n        raw: { decoder: own }\n',
      'settings-value-wrong',
      6,
      'a decoder for the show',
    ],
    ['a field that nobody knows', 'show:\n  exposer: 1\n', 'settings-value-wrong', 3, ''],
    [
      'a decoder that nobody declares, of a clip of a roll',
      'rolls:\n  A001: { raw: { decoder: chime } }\n',
      'settings-value-wrong',
      3,
      'own',
    ],
  ])('%s', async (_, text, code, line, expected) => {
    const found = await refused(`version: 1\n${text}`);
    expect(found.map((item) => [item.code, item.line])).toEqual([[code, line]]);
    expect(found[0]?.expected).toContain(expected);
  });
});

// By hand, from the rules of the zone: central European summer time is UTC+2 until the last Sunday of October, 01:00 UTC.
test.each([
  ['2026-10-24T22:30:00Z', 'Europe/Berlin', 'Sunday 2026-10-25 00:30 Europe/Berlin'],
  ['2026-10-25T22:30:00Z', 'Europe/Berlin', 'Sunday 2026-10-25 23:30 Europe/Berlin'],
  ['2026-10-25T22:30:00Z', null, 'Sunday 2026-10-25 22:30 UTC'],
  ['not yet', 'Europe/Berlin', 'not yet'],
])('a moment is shown in the time of the show: %s in %s is %s', (moment, zone, text) => {
  expect(momentText(moment, zone)).toBe(text);
});
