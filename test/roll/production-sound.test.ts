/** Which recording a clip carries is decided before its job is planned, and never from a sound roll that nobody verified. No program is started: the clips have no audio of their own. */
import { mkdtempSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { nightFolders } from '../../coordinator/roll/folders.ts';
import { type KnownRoll, unknownRoll } from '../../coordinator/roll/know.ts';
import { addProductionSound, soundRollsByName } from '../../coordinator/roll/production-sound.ts';
import { finding } from '../../findings/finding.ts';
import type { Recording } from '../../ledger/recording.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { sharedFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';

const folder = mkdtempSync(join(sharedFolder, 'carried-'));
mkdirSync(join(folder, 'day-07'));
const folders = nightFolders({
  ...{ day: join(folder, 'day-07'), copies: [], deliver: join(folder, 'delivery'), manifests: [] },
});
const { profiles } = await loadProfiles({ wanted: ['test/fixtures/profiles/small-sound-mix.yaml'] });
const settings = { camera: null, profiles: ['small-sound-mix'], applied: [] };
const timecode = parseTimecode('10:00:00:00', 24);
/** 10:00:00:00 at 24000/1001 is 36 036 s of a clock. */
const LABEL = 36_036 * 48_000;

function read(known: KnownRoll, files: readonly string[]): KnownRoll {
  known.isSurveyed = true;
  known.intake = {
    ...{ day: 'day-07', roll: known.roll.name, folder: known.roll.folder, manifests: [], copies: [] },
    ...{ findings: [], asRead: [] },
    files: files.map((path) => ({ path, bytes: 7, hashes: { xxh3: '00ff' }, seen: '7.1.2.3' })),
  };
  return known;
}
const rollNamed = (name: string): KnownRoll =>
  unknownRoll({ name, folder: join(folder, 'day-07', name) }, folders);

function camera(): KnownRoll {
  const known = read(rollNamed('A001'), ['A001C001.mov']);
  known.clips = [
    { clip: clipNamed('A001C001'), facts: clipFacts({ timecode, audio: [] }), findings: [], settings },
  ];
  return known;
}
const take = (file: string, start: number, over: Partial<Recording> = {}): Recording => ({
  ...{ files: [file], sampleRate: 48_000, bits: 24, coding: 'integer', channels: 1, samples: 480_000 },
  ...{ since: String(LABEL + start), sinceRate: 48_000, scene: '24A', take: '3', tape: null, note: null },
  ...{ circled: false, wild: false, clips: [], tracks: [{ channel: 1, name: 'Boom', file, inFile: 1 }] },
  ...over,
});
function sound(recordings: readonly Recording[], name = 'S001'): KnownRoll {
  const known = read(
    rollNamed(name),
    recordings.flatMap(({ files }) => files),
  );
  known.recordings = recordings;
  return known;
}
async function added(rolls: readonly KnownRoll[], maybeSoundRolls: readonly string[] = []) {
  const known = camera();
  await addProductionSound(known, [known, ...rolls], {
    ...{ profiles, maybeSoundRolls, heardTogether: new Map(), tools: await mediaTools() },
    signal: new AbortController().signal,
  });
  return {
    codes: known.clips.flatMap(({ findings }) => findings.map(({ code, found }) => `${code}: ${found}`)),
    tracks: known.clips.flatMap(({ facts }) => facts?.audio ?? []),
    soundRolls: known.soundRolls.get('A001C001') ?? [],
  };
}

test('the recording that lies beside the clip longest, from a roll that is named with its files as they were verified', async () => {
  const long = take('long.wav', -480);
  const { codes, tracks, soundRolls } = await added([
    sound([take('short.wav', -470_000), long, take('wild.wav', -4, { wild: true })]),
  ]);
  expect(tracks.map(({ recording }) => [recording?.form, recording?.file, recording?.from])).toEqual([
    ['mix', 'long.wav', 480],
    ['track', 'long.wav', 480],
  ]);
  expect(tracks[0]?.recording).toMatchObject({ checksum: 'xxh3:00ff', laidBy: 'timecode', roll: 'S001' });
  expect(soundRolls).toMatchObject([
    { roll: 'S001', folder: join(folder, 'day-07', 'S001'), files: [{ path: 'long.wav', bytes: 7 }] },
  ]);
  // What ran with it as well is said; a wild track never counts.
  expect(codes).toEqual(['production-sound-left: S001 short.wav, 0.21 s of it']);
});

describe('nothing is carried, and the clip is held', () => {
  test.each<[string, () => { rolls: KnownRoll[]; maybe: string[] }]>([
    ['a sound roll that did not verify', () => ({ rolls: [rollNamed('S001')], maybe: ['S001'] })],
    [
      'one that this run does not read, beside one that is verified',
      () => ({ rolls: [sound([take('long.wav', -480)], 'S002')], maybe: ['S001', 'S002'] }),
    ],
    [
      'one that something else holds',
      () => {
        const held = sound([take('long.wav', -480)]);
        held.findings.push(finding('sound-unreadable', 'no data', 'a WAV file', { file: 'other.wav' }));
        return { rolls: [held], maybe: ['S001'] };
      },
    ],
  ])('%s', async (_what, make) => {
    const { rolls, maybe } = make();
    const { codes, tracks, soundRolls } = await added(rolls, maybe);
    expect(codes).toEqual(['production-sound-unread: S001']);
    expect([tracks, soundRolls]).toEqual([[], []]);
  });
});

test('a roll that may have been a sound roll by its names, and is a camera roll, is waited for and no more', async () => {
  const other = read(rollNamed('C001'), ['C001C001', 'C001C001.wav']);
  expect(await added([other], ['C001'])).toEqual({ codes: [], tracks: [], soundRolls: [] });
});

test('what may be a sound roll is told by the names of files, where a profile asks', async () => {
  const rolls = [
    ['A001', ['A001C001.mov', 'A001C001.wav']],
    ['S001', ['takes/24A-T03.WAV', 'report.pdf']],
    ['N001', ['notes.txt']],
  ] as const;
  for (const [name, files] of rolls)
    for (const file of files) {
      mkdirSync(join(folder, 'day-07', name, 'takes'), { recursive: true });
      writeFileSync(join(folder, 'day-07', name, file), '');
    }
  const found = rolls.map(([name]) => ({ name, folder: join(folder, 'day-07', name) }));
  const { signal } = new AbortController();
  expect(await soundRollsByName(found, { profiles }, signal)).toEqual(['S001']);
  expect(await soundRollsByName(found, { profiles: [] }, signal)).toEqual([]);
});
