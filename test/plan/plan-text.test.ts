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
      ready: { timeZone: 'UTC', from: '2026-05-03T20:00:00.000Z', whole: null, rolls: [], unknownKinds: [] },
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
      ready: { timeZone: 'UTC', from: '2026-05-03T20:00:00.000Z', whole: null, rolls: [], unknownKinds: [] },
    },
    [{ ...roll, deliverables: 2, jobs: 2, bytes: 3_000_000, withoutRoom: { deliverables: 0, bytes: 0 } }],
    [],
  );
  expect(text).toMatch(/^A001 +2 clips, 2 deliverables to make from 2 decodes, about /m);
  expect(text).not.toContain('room');
  expect(text).not.toContain('metadata');
});
