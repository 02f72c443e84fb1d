import { expect, test } from 'vitest';
import { planText } from '../../coordinator/show/plan-text.ts';

const roll = {
  roll: 'A001',
  clips: 2,
  recordings: 0,
  bytesRange: { least: 0, most: 0 },
  sketchBytes: 0,
  left: { values: 0, clips: 0 },
  shown: [],
  shapes: [],
  cadence: [],
  cut: [],
  sound: [],
  written: [],
};

test('a plan without room says what would be made, not that nothing is', () => {
  const withoutRoom = { deliverables: 2, bytes: 3_000_000 };
  const text = planText(
    {
      planned: 0,
      done: 0,
      withoutRoom,
      volumes: [{ name: 'the delivery', bytes: 0, files: 0, freeBytes: 188_000, freeFiles: null }],
      workers: 1,
      seconds: 0,
      masters: { turn: 'with', clips: 0, seconds: 0 },
      ready: {
        timeZone: 'UTC',
        from: '2026-05-03T20:00:00.000Z',
        whole: null,
        proxies: null,
        others: 0,
        rolls: [],
        unknownKinds: [],
      },
    },
    [{ ...roll, deliverables: 0, jobs: 0, bytes: 0, withoutRoom }],
    [],
  );
  expect(text).toMatch(/^A001 +2 clips, 2 deliverables to make, about .+: there is no room for them$/m);
  expect(text).toContain('No room for 2 further deliverables, about ');
  expect(text).not.toContain('0 B');
});

test('a plan with room says what is made', () => {
  const text = planText(
    {
      planned: 2,
      done: 1,
      withoutRoom: { deliverables: 0, bytes: 0 },
      volumes: [{ name: 'the delivery', bytes: 3_000_000, files: 6, freeBytes: null, freeFiles: null }],
      workers: 1,
      seconds: 10,
      masters: { turn: 'with', clips: 0, seconds: 0 },
      ready: {
        timeZone: 'UTC',
        from: '2026-05-03T20:00:00.000Z',
        whole: null,
        proxies: null,
        others: 0,
        rolls: [],
        unknownKinds: [],
      },
    },
    [{ ...roll, deliverables: 2, jobs: 2, bytes: 3_000_000, withoutRoom: { deliverables: 0, bytes: 0 } }],
    [],
  );
  expect(text).toMatch(/^A001 +2 clips, 2 deliverables to make from 2 decodes, about /m);
  expect(text).not.toContain('room');
  expect(text).not.toContain('metadata');
});

test.each([
  [
    'after',
    'Masters come after the proxies of all rolls: 3 clips decoded twice, about 1 min 30 s more of one worker.',
  ],
  [
    'with',
    'Masters are made with the proxies of their clip. After the proxies of all rolls (masters: after), 3 clips would be decoded twice, about 1 min 30 s more of one worker.',
  ],
] as const)('what the second decode costs is said, or would: %s', (turn, expected) => {
  const plan = {
    ...{
      planned: 6,
      done: 0,
      withoutRoom: { deliverables: 0, bytes: 0 },
      volumes: [],
      workers: 1,
      seconds: 900,
    },
    ready: {
      ...{ timeZone: 'UTC', from: '2026-05-03T20:00:00.000Z', whole: null, rolls: [], unknownKinds: [] },
      proxies: { least: 600, most: 900 },
      others: 0,
    },
  };
  const text = planText({ ...plan, masters: { turn, clips: 3, seconds: 90 } }, [], []);
  expect(text).toContain(expected);
  expect(text).toContain('All proxies made Sun 20:10 to 20:15, in 10 min to 15 min.');
  expect(planText({ ...plan, masters: { turn, clips: 0, seconds: 0 } }, [], [])).not.toContain(
    'decoded twice',
  );
});

test('a plan says which clips are cut', () => {
  const text = planText(
    {
      planned: 1,
      done: 0,
      withoutRoom: { deliverables: 0, bytes: 0 },
      volumes: [],
      workers: 2,
      seconds: 10,
      masters: { turn: 'with', clips: 0, seconds: 0 },
      ready: {
        timeZone: 'UTC',
        from: '2026-05-03T20:00:00.000Z',
        whole: null,
        proxies: null,
        others: 0,
        rolls: [],
        unknownKinds: [],
      },
    },
    [
      {
        ...roll,
        deliverables: 1,
        jobs: 1,
        bytes: 3_000_000,
        withoutRoom: { deliverables: 0, bytes: 0 },
        cut: [{ segments: 4, clips: ['A001C001'] }],
      },
    ],
    [],
  );
  expect(text).toMatch(/^ +cut into 4 segments, which are joined: A001C001$/m);
});
