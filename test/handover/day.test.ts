/** The model of a day says what the records say, and asks nothing else. */
import { cpSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { daysOf, readDay } from '../../handover/read-day.ts';
import { slateOf } from '../../handover/slate.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { freshFolder } from '../support/folder.ts';
import { createHash } from 'node:crypto';

beforeAll(makeDelivered);

const sha256 = (path: string): string => createHash('sha256').update(readFileSync(path)).digest('hex');

test('a day that was delivered, from its folder alone', async () => {
  expect(await daysOf(delivered.delivery)).toEqual(['day-07']);
  const day = await readDay(join(delivered.delivery, 'day-07'));
  expect(day).toMatchObject({ day: 'day-07', timeZone: null });
  expect(day.rolls.map(({ roll, folder, verdict, copies }) => [roll, folder, verdict, copies])).toEqual([
    ['A005', 'A005', 'ready', 1],
  ]);
  const [roll] = day.rolls;
  expect(roll?.records).toEqual({
    verdict: sha256(join(delivered.delivery, delivered.roll, 'roll.json')),
    statement: sha256(join(delivered.delivery, delivered.roll, 'statement.json')),
  });
  const [first, second] = roll?.clips ?? [];
  expect(first).toMatchObject({
    name: 'A005C001',
    verdict: 'ready',
    cameraLetter: 'A',
    source: { files: ['A005C001.mov'] },
    recorded: {
      reel: 'A005',
      cameraReel: null,
      // One hour of labels at base 24 is 86 400 of them (SMPTE ST 12-1).
      start: { frame: 86_400, base: 24, drop: false },
      rate: { num: 24_000, den: 1001 },
      projectRate: null,
      factor: null,
      frames: 24,
      width: 320,
      height: 180,
    },
    shown: ['as recorded'],
  });
  expect(second?.recorded).toMatchObject({ frames: 12, start: { frame: 172_800 } });
  const [proxy] = first?.deliverables ?? [];
  expect(first?.deliverables).toHaveLength(1);
  expect(proxy).toMatchObject({
    use: 'proxy',
    kind: 'movie',
    state: 'published',
    codec: 'vc3',
    frames: 24,
    start: { frame: 86_400, base: 24, drop: false },
    burntIn: false,
    numbered: null,
    amf: null,
  });
  expect(proxy?.file?.sha256).toBe(sha256(join(delivered.delivery, 'day-07', proxy?.file?.path ?? '')));
  expect(proxy?.psnr?.median).toBeGreaterThan(20);
});

test('a roll whose record is torn is held, and says so; a clip without a report says nothing of its source', async () => {
  const folder = join(freshFolder('day'), 'day-07');
  cpSync(join(delivered.delivery, 'day-07'), folder, { recursive: true });
  cpSync(join(folder, 'A005'), join(folder, 'A006'), { recursive: true });
  writeFileSync(join(folder, 'A006', 'roll.json'), '{');
  rmSync(join(folder, 'A005', 'reports', 'A005C001.json'));
  writeFileSync(join(folder, 'A005', 'reports', 'A005C002.json'), 'torn');
  const { rolls } = await readDay(folder);
  expect(
    rolls.map(({ roll, verdict, findings }) => [roll, verdict, findings.map(({ code }) => code)]),
  ).toEqual([
    ['A005', 'ready', expect.any(Array)],
    ['A006', 'held', ['record-damaged']],
  ]);
  expect(
    rolls[0]?.clips.map(({ name, recorded, findings }) => [name, recorded, findings.map(({ code }) => code)]),
  ).toEqual([
    ['A005C001', null, []],
    ['A005C002', null, ['record-damaged']],
  ]);
});

test('scene and take are read from tags of whatever maker, and an empty one says nothing', () => {
  expect(slateOf({ 'org.example.Scene': '12A', take: ' 3 ' })).toEqual({ scene: '12A', take: '3' });
  expect(slateOf({ scene: ' ', intake: '4', 'scene.note': 'x' })).toEqual({ scene: null, take: null });
});
