/** One card under two names: what two rolls share, from what was read, from names and sizes alone, and as its user sees it. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { repeatsOf } from '../../coordinator/night/repeats.ts';
import { surveysOf } from '../../coordinator/night/surveys.ts';
import { unknownRoll } from '../../coordinator/roll/know.ts';
import { contentsOfRead, repeatsAmong, rollsAlike } from '../../coordinator/roll/repeats.ts';
import { runCli } from '../support/cli.ts';
import { copyDay, writeMd5Manifest } from '../support/day.ts';
import { freshFolder } from '../support/folder.ts';

type Files = Readonly<Record<string, string>>;

/** A roll whose files are these texts. The key of a text stands for its checksum: the same text, the same key. */
const read = (roll: string, files: Files) => ({
  roll,
  files: Object.entries(files).map(([path, text]) => ({
    path,
    bytes: text.length,
    hashes: { xxh3: Buffer.from(text).toString('hex') },
  })),
});

test.each<{ says: string; rolls: readonly [Files, Files]; first: string[]; second: string[] }>([
  {
    says: 'two rolls with the same files are both held: which of the cards was not copied, no checksum says',
    rolls: [
      { 'A1.mov': 'pour', 'A2.mov': 'cool' },
      { 'A2.mov': 'cool', 'A1.mov': 'pour' },
    ],
    first: ['roll-repeated'],
    second: ['roll-repeated'],
  },
  {
    says: 'a roll that is a part of another one is held, and the other is told',
    rolls: [{ 'A1.mov': 'pour' }, { 'A1.mov': 'pour', 'A2.mov': 'cool' }],
    first: ['roll-repeated'],
    second: ['roll-overlaps'],
  },
  {
    says: 'a card that was not emptied in between is a note',
    rolls: [
      { 'A1.mov': 'pour', 'A2.mov': 'cool' },
      { 'A2.mov': 'cool', 'A3.mov': 'ring' },
    ],
    first: ['roll-overlaps'],
    second: ['roll-overlaps'],
  },
  {
    says: 'equal names of two cameras with other content are nothing',
    rolls: [{ 'CLIP0001.mov': 'pour' }, { 'CLIP0001.mov': 'cool' }],
    first: [],
    second: [],
  },
  {
    says: 'frames and sound count as clips do',
    rolls: [
      { 'take/f.0001.dng': 'a', 'day.wav': 'b' },
      { 'take/f.0001.dng': 'a', 'day.wav': 'b' },
    ],
    first: ['roll-repeated'],
    second: ['roll-repeated'],
  },
  {
    says: 'what lies beside clips, and what is empty, is of no card',
    rolls: [
      { 'A1.mov': 'pour', 'camera.xml': 'same', 'B.mov': '', '._A1.mov': 'x' },
      { 'A2.mov': 'cool', 'camera.xml': 'same', 'B.mov': '', '._A1.mov': 'x' },
    ],
    first: [],
    second: [],
  },
  { says: 'rolls without media repeat nothing', rolls: [{}, {}], first: [], second: [] },
])('$says', ({ rolls: [a, b], first, second }) => {
  const found = repeatsAmong([read('A001', a), read('A002', b)]);
  expect(found.get('A001')?.map(({ code }) => code)).toEqual(first);
  expect(found.get('A002')?.map(({ code }) => code)).toEqual(second);
});

test('rolls that share names and sizes wait for each other, and all rolls that share content are among them', async () => {
  const day = freshFolder('alike');
  const rolls: Record<string, Files> = {
    A001: { 'A1.mov': 'pour', 'A2.mov': 'cool' },
    A002: { 'A1.mov': 'pour' },
    A003: { 'A2.mov': 'heat' },
    B001: { 'A1.mov': 'longer' },
  };
  for (const [roll, files] of Object.entries(rolls)) {
    mkdirSync(join(day, roll));
    for (const [path, text] of Object.entries(files)) writeFileSync(join(day, roll, path), text);
  }
  const names = Object.keys(rolls);
  const alike = await rollsAlike(
    [
      ...names.map((name) => ({ name, folder: join(day, name) })),
      { name: 'C001', folder: join(day, 'none') },
    ],
    new AbortController().signal,
  );
  expect(Object.fromEntries(alike)).toEqual({
    A001: ['A002', 'A003'],
    A002: ['A001'],
    A003: ['A001'],
    B001: [],
    C001: [],
  });
});

test('a run that is stopped still holds a roll against those that were read', async () => {
  const delivery = freshFolder('stopped');
  const folders = { day: delivery, dayName: 'day-01', copies: [], delivery, work: delivery, manifests: [] };
  const known = ['A001', 'A002'].map((name) => {
    const one = unknownRoll({ name, folder: join(delivery, name) }, folders);
    one.intake = {
      ...{ day: 'day-01', folder: one.roll.folder, manifests: [], copies: [], findings: [], asRead: [] },
      ...read(name, { 'A1.mov': 'pour' }),
    };
    return one;
  });
  const surveys = surveysOf(['A001', 'A002']);
  for (const { roll } of known) surveys.end(roll.name);
  const repeats = repeatsOf({
    ...{ folders, known, surveys, rolls: known.map(({ roll }) => roll) },
    signal: AbortSignal.abort(new Error('stopped')),
  });
  for (const one of known) expect((await repeats(one)).map(({ code }) => code)).toEqual(['roll-repeated']);
});

test('no media file is lost from what is compared because another one has its bytes', () => {
  const { keys } = contentsOfRead(read('A001', { 'A1.mov': 'pour', 'A2.mov': 'pour' }));
  expect([...keys.values()]).toEqual(['A1.mov', 'A2.mov']);
});

test('a day with one card under two names is held, each checksum right', async () => {
  const folder = freshFolder('one-card');
  const day = join(folder, 'day-01');
  mkdirSync(join(day, 'A001'), { recursive: true });
  writeFileSync(join(day, 'A001', 'A001C001.mov'), 'molten bronze');
  copyDay(join(day, 'A001'), join(day, 'A002'));
  mkdirSync(join(day, 'A003'));
  writeFileSync(join(day, 'A003', 'A003C001.mov'), 'cold bronze');
  for (const roll of ['A001', 'A002', 'A003']) writeMd5Manifest(join(day, roll));
  const copy = copyDay(day, join(folder, 'copy', 'day-01'));
  const { code, stdout } = await runCli(['check', day, '--copy', copy, '--json']);
  expect(code).toBe(1);
  const answer = JSON.parse(stdout) as {
    rolls: { roll: string; verified: boolean; findings: { code: string; found: string }[] }[];
  };
  const told = answer.rolls.map(({ roll, verified, findings }) => ({
    roll,
    verified,
    repeats: findings.filter((one) => one.code.startsWith('roll-')).map(({ found }) => found),
  }));
  expect(told).toEqual([
    { roll: 'A001', verified: false, repeats: ['all that it holds (1 media file) lies in A002 too'] },
    { roll: 'A002', verified: false, repeats: ['all that it holds (1 media file) lies in A001 too'] },
    { roll: 'A003', verified: true, repeats: [] },
  ]);
});
