/** Places in records by the names of volumes: what is changed, and what is not. Pure. */
import { describe, expect, test } from 'vitest';
import { finding } from '../../findings/finding.ts';
import {
  findingsWithPlaces,
  intakeWithPlaces,
  placeHere,
  placeName,
  reportWithPlaces,
  textWithPlaces,
} from '../../ledger/portable.ts';

const mounts = [
  { name: 'raid', at: '/mnt/raid' },
  { name: 'inner', at: '/mnt/raid/inner' },
  { name: 'proxies', at: '/Volumes/bell foundry' },
];

describe('texts', () => {
  test.each([
    ['/mnt/raid/day-03/A001', 'volume:raid/day-03/A001'],
    ['file:/mnt/raid/day-03/A001.mov', 'file:volume:raid/day-03/A001.mov'],
    [
      'on drive sda, as /mnt/raid/inner/x; not /mnt/raid',
      'on drive sda, as volume:inner/x; not volume:raid/',
    ],
    ["movie=filename='/Volumes/bell foundry/a.mov'", "movie=filename='volume:proxies/a.mov'"],
    ['(/mnt/raid)', '(volume:raid/)'],
    // A name that begins so, one that ends so, and what is no path.
    ['/mnt/raider/x', '/mnt/raider/x'],
    ['/mnt/raid-2/x', '/mnt/raid-2/x'],
    ['/srv/mnt/raid/x', '/srv/mnt/raid/x'],
    ['24 frames', '24 frames'],
    ['', ''],
  ])('%s', (text, expected) => {
    expect(textWithPlaces(text, mounts)).toBe(expected);
    expect(textWithPlaces(text, null)).toBe(text);
    // Once is enough: what another machine wrote stays.
    expect(textWithPlaces(expected, mounts)).toBe(expected);
  });

  test('of a volume at the root only whole paths are named: in a text every slash would be it', () => {
    const root = [{ name: 'all', at: '/' }];
    expect(textWithPlaces('1/2 of /x', root)).toBe('1/2 of /x');
    expect(placeName('/x/y', root)).toBe('volume:all/x/y');
  });

  test('characters of a mount point mean themselves', () => {
    const at = '/mnt/raid-1/a.b+(c)[d]{e}|^$?*\\ü';
    const odd = [{ name: 'odd', at }];
    expect(textWithPlaces(`as ${at}/x`, odd)).toBe('as volume:odd/x');
    expect(textWithPlaces(`as ${at.replace('a.b', 'axb')}/x`, odd)).not.toContain('volume:');
  });
});

test('a place is found again where the volume is, and nowhere else', () => {
  const there = [{ name: 'raid', at: '/elsewhere' }];
  expect(placeHere('volume:raid/day-03', there)).toBe('/elsewhere/day-03');
  expect(placeHere('volume:other/day-03', there)).toBeNull();
  expect(placeHere('volume:raid/day-03', null)).toBeNull();
  expect(placeHere('volume:raid/../x', there)).toBeNull();
  expect(placeHere('/mnt/card', there)).toBe('/mnt/card');
});

test('of a finding the places and both texts; what it is of, and its code, stay', () => {
  const found = finding('source-missing', 'ENOENT', 'a file at /mnt/raid/x', {
    ...{ roll: 'A001', clip: '/mnt/raid/x', file: '/mnt/raid/day/A001/x.mov', copy: '/mnt/card/A001' },
  });
  expect(findingsWithPlaces([found], mounts)).toEqual([
    {
      ...found,
      expected: 'a file at volume:raid/x',
      file: 'volume:raid/day/A001/x.mov',
    },
  ]);
  expect(findingsWithPlaces([found], null)).toEqual([found]);
});

test('a report says its command by names; what was measured of the clip stays, whatever it looks like', () => {
  const report = {
    command: ['/usr/bin/ffmpeg', '-i', 'file:/mnt/raid/a.mov'],
    facts: { metadata: { note: '/mnt/raid/a.mov' } },
    findings: [],
  };
  expect(reportWithPlaces(report, mounts)).toEqual({
    ...report,
    command: ['/usr/bin/ffmpeg', '-i', 'file:volume:raid/a.mov'],
  });
  expect(reportWithPlaces(report, null)).toBe(report);
});

test('copies and manifests of a roll; those that lie in no volume keep their paths', () => {
  const copy = { files: 1, bytes: 1, verified: true };
  const intake = {
    folder: '/mnt/raid/day/A001',
    manifests: [
      {
        ...{ file: '/mnt/raid/day/A001/ascmhl', kind: 'asc-mhl', files: 1 },
        digests: [{ file: '/mnt/raid/day/A001/ascmhl/1.mhl', sha256: 'aa' }],
      },
    ],
    copies: [
      { ...copy, folder: '/mnt/raid/day/A001' },
      { ...copy, folder: '/mnt/card/A001', oneWith: '/mnt/raid/day/A001' },
    ],
    findings: [],
  };
  const named = intakeWithPlaces(intake, mounts);
  expect(named.folder).toBe('volume:raid/day/A001');
  expect(named.copies.map((one) => [one.folder, 'oneWith' in one ? one.oneWith : undefined])).toEqual([
    ['volume:raid/day/A001', undefined],
    ['/mnt/card/A001', 'volume:raid/day/A001'],
  ]);
  expect(named.manifests[0]).toMatchObject({
    file: 'volume:raid/day/A001/ascmhl',
    digests: [{ file: 'volume:raid/day/A001/ascmhl/1.mhl', sha256: 'aa' }],
  });
  expect(intakeWithPlaces(intake, null)).toBe(intake);
});
