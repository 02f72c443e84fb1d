/** The table of a job's states: every pair of state and event, then what is counted, and what late word of a machine changes. */
import { describe, expect, test } from 'vitest';
import fc from 'fast-check';
import {
  ENDINGS,
  type JobEvent,
  type JobRecord,
  type JobState,
  isEnd,
  jobStates,
  LOSSES,
  newRecord,
  step,
} from '../../coordinator/night/job-states.ts';

/** One event of each kind, and each answer of the disk. */
const events = {
  send: { kind: 'send' },
  'lies-there': { kind: 'lies-there' },
  sent: { kind: 'sent' },
  'not-sent': { kind: 'not-sent', reason: 'no room' },
  claimed: { kind: 'claimed', claim: 7, machine: 'north' },
  requeued: { kind: 'requeued' },
  withdrawn: { kind: 'withdrawn' },
  ended: { kind: 'ended', how: 'completed', reason: null, claim: 7 },
  settled: { kind: 'looked', found: 'completion' },
  segment: { kind: 'looked', found: 'segment' },
  target: { kind: 'looked', found: 'target' },
  nothing: { kind: 'looked', found: 'nothing' },
  'look-failed': { kind: 'look-failed' },
  'given-back': { kind: 'given-back', reason: 'no such volume', claim: 7 },
  'set-aside': { kind: 'machine-set-aside', machine: 'north' },
  joined: { kind: 'joined' },
  'segment-lost': { kind: 'segment-lost' },
  drop: { kind: 'drop' },
} as const satisfies Record<string, JobEvent>;
type Column = keyof typeof events;
const columns = Object.keys(events) as Column[];

const again = 'pending, offer';
/** What a pair leads to, with its effect; a pair that is not named changes nothing. */
const expected: Record<JobState, Partial<Record<Column, string>>> = {
  pending: { send: 'sending, add', 'lies-there': 'unjoined', drop: 'dropped' },
  sending: {
    sent: 'queued',
    'not-sent': 'pending',
    claimed: 'active',
    ended: 'checking, look',
    'given-back': again,
    drop: 'dropped',
  },
  queued: {
    claimed: 'active',
    withdrawn: again,
    ended: 'checking, look',
    'given-back': again,
    drop: 'dropped',
  },
  active: {
    requeued: 'queued',
    withdrawn: again,
    ended: 'checking, look',
    'given-back': again,
    'set-aside': again,
    drop: 'dropped',
  },
  checking: {
    settled: 'done',
    segment: 'unjoined',
    target: again,
    nothing: again,
    'look-failed': 'queued',
    drop: 'dropped',
  },
  unjoined: { joined: 'checking, look', 'segment-lost': 'pending, offer', drop: 'dropped' },
  done: {},
  'given-up': {},
  dropped: {},
};

const recordOf = (state: JobState): JobRecord => ({
  ...newRecord,
  state,
  queueings: 1,
  claim: 7,
  machine: state === 'active' ? 'north' : null,
  ending: state === 'checking' ? 'completed' : null,
});

describe.each(jobStates.map((state) => [state]))('a job that is %s', (state) => {
  test.each(columns.map((column) => [column]))('at `%s`', (column) => {
    const { record, effect } = step(recordOf(state), events[column]);
    const said = effect === null ? record.state : `${record.state}, ${effect}`;
    expect(said).toBe(expected[state][column] ?? state);
    // Whatever is not in the table leaves everything as it was, counts included.
    if (expected[state][column] === undefined) expect(record).toEqual(recordOf(state));
  });
});

const walk = (from: JobRecord, ...list: JobEvent[]): JobRecord =>
  list.reduce((record, event) => step(record, event).record, from);
const sent: JobEvent[] = [events.send, events.sent];

describe('what is counted', () => {
  const without: JobEvent[] = [...sent, events.claimed, events.ended, events.nothing];
  const lost: JobEvent[] = [
    ...sent,
    { kind: 'ended', how: 'lost', reason: null, claim: null },
    events.nothing,
  ];
  const times = (count: number, list: readonly JobEvent[]): JobRecord =>
    walk(newRecord, ...Array.from({ length: count }, () => list).flat());

  test.each<[string, readonly JobEvent[], number]>([
    ['an end without a result', without, ENDINGS],
    ['a loss in the queue', lost, LOSSES],
    ['a queue that takes nothing', [events.send, events['not-sent']], LOSSES],
  ])('%s: the job is given up at the last of them and not before', (_, list, limit) => {
    expect(times(limit - 1, list)).toMatchObject({ state: 'pending', queueings: limit - 1 });
    expect(times(limit, list)).toMatchObject({ state: 'given-up', queueings: limit });
  });

  test.each<[string, readonly JobEvent[]]>([
    ['a target that failed', [...sent, events.claimed, events.ended, events.target]],
    ['a machine that was set aside', [...sent, events.claimed, events['set-aside']]],
    ['taken back in time', [...sent, events.withdrawn]],
  ])('%s is not: the job is sent again as often as it takes', (_, list) => {
    expect(times(100, list)).toMatchObject({ state: 'pending', endings: 0, losses: 0, queueings: 100 });
  });

  test('a machine that gave it back is not an ending: only what went round for hours is given up', () => {
    const list = [...sent, events.claimed, events['given-back']];
    expect(times(19, list)).toMatchObject({ state: 'pending', endings: 0, losses: 0, queueings: 19 });
    expect(times(20, list)).toMatchObject({ state: 'given-up', endings: 0, losses: 0, givenBack: 20 });
  });

  test('what was said last is kept for the finding', () => {
    const failed: JobEvent = { kind: 'ended', how: 'failed', reason: 'the encoder was killed', claim: null };
    const list = [...sent, events.claimed, failed, events.nothing];
    expect(times(ENDINGS, list).last).toBe('failed, the encoder was killed');
  });
});

describe('the claim number', () => {
  const active = walk(newRecord, ...sent, { kind: 'claimed', claim: 7, machine: 'north' });

  test('grows with a later claim, which names the machine', () => {
    expect(walk(active, { kind: 'claimed', claim: 8, machine: 'south' })).toMatchObject({
      state: 'active',
      claim: 8,
      machine: 'south',
    });
  });

  test.each<[string, JobEvent]>([
    ['claimed', { kind: 'claimed', claim: 6, machine: 'south' }],
    ['ended', { kind: 'ended', how: 'failed', reason: 'late', claim: 6 }],
    ['given back', { kind: 'given-back', reason: 'late', claim: 6 }],
  ])('is never replaced by a lower one: late word that it was %s changes nothing', (_, late) => {
    expect(step(active, late)).toEqual({ record: active, effect: null });
  });

  test('outlives the queueing, so that a machine of an earlier one has no say in a later one', () => {
    const again = walk(active, events['given-back'], ...sent);
    expect(again).toMatchObject({ state: 'queued', claim: 7 });
    expect(step(again, { kind: 'ended', how: 'completed', reason: null, claim: 6 }).record).toEqual(again);
  });

  test('of a queue that has none stays as it is', () => {
    expect(walk(active, { kind: 'claimed', claim: null, machine: null })).toMatchObject({
      state: 'active',
      claim: 7,
    });
  });
});

test('another machine that is set aside takes nothing away from this one', () => {
  const active = walk(newRecord, ...sent, events.claimed);
  expect(step(active, { kind: 'machine-set-aside', machine: 'south' })).toEqual({
    record: active,
    effect: null,
  });
});

test('a machine that lost its claim to another one does not take the job along when it is set aside', () => {
  const active = walk(newRecord, ...sent, events.claimed, { kind: 'claimed', claim: 8, machine: 'south' });
  expect(step(active, events['set-aside']).record).toEqual(active);
});

test('whatever happens, in whatever order: no count and no claim number falls, and an end stays an end', () => {
  const any = fc.constantFrom<JobEvent>(
    ...Object.values(events),
    { kind: 'claimed', claim: 3, machine: 'south' },
    { kind: 'claimed', claim: 9, machine: 'south' },
    { kind: 'ended', how: 'lost', reason: null, claim: null },
  );
  fc.assert(
    fc.property(fc.array(any, { maxLength: 60 }), (list) => {
      let record = newRecord;
      for (const event of list) {
        const next = step(record, event).record;
        for (const field of ['queueings', 'endings', 'losses', 'claim'] as const)
          expect(next[field]).toBeGreaterThanOrEqual(record[field]);
        if (isEnd(record.state)) expect(next).toEqual(record);
        record = next;
      }
    }),
  );
});
