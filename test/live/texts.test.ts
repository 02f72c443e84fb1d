/** What a live page says: the facts of the terminal, bounded, and nothing that a name could do to it. */
import { describe, expect, test } from 'vitest';
import { nothingSeen, type Seen } from '../../coordinator/live/seen.ts';
import { newsOf, viewOf } from '../../coordinator/live/texts.ts';
import { watchLines } from '../../coordinator/show/watch-text.ts';
import { checksumDiffers, HOSTILE } from '../support/mornings.ts';
import { nightRecord, progressRecord, rollRecord, seenAt, working } from '../support/live.ts';

const textsOf = (seen: Seen) => viewOf(seen, '', false).texts;

const rolls = [
  rollRecord('A001', 'making'),
  rollRecord('A002', 'held'),
  rollRecord('B001', 'ready'),
  rollRecord('B002', 'waiting'),
];
const running = seenAt({ state: 'running', record: progressRecord({ rolls, working: working(2) }) });

test('the page says what the terminal says', () => {
  const { texts, lists } = viewOf(running, '', false);
  const terminal = watchLines(progressRecord({ rolls, working: working(2) }), { columns: 200, rows: 60 })
    .join('\n')
    .replaceAll(/ {2,}/g, ' ');
  expect(terminal).toContain(texts.since);
  expect(terminal).toContain(`${texts.free} free on the delivery`);
  expect(terminal).toContain(`${texts.ready} rolls ready; held: A002`);
  expect(lists.rolls).toHaveLength(4);
  for (const { cells } of lists.rolls ?? []) expect(terminal).toContain(`${cells.roll} ${cells.text}`);
  for (const { cells } of lists.working ?? [])
    expect(terminal).toContain(`${cells.roll} ${cells.clip} ${cells.text}`);
  expect(texts.headline).toContain('1 of 4 rolls is ready. A002 is held.');
});

describe('each state in a sentence', () => {
  const night = nightRecord({
    rolls: [
      { roll: 'A001', verdict: 'ready', recorded: true, findings: [] },
      { roll: 'A002', verdict: 'held', recorded: true, findings: [] },
    ],
  });
  test.each<[string, Seen, string, string]>([
    ['none', nothingSeen, 'No run is at work.', 'Rushlight: no run'],
    ['beginning', seenAt({ state: 'beginning' }), 'A run begins.', 'day-07: begins'],
    ['running', running, 'At work. 1 of 4 rolls is ready. A002 is held.', 'day-07: 1 of 4 ready'],
    [
      'running, nothing decided',
      seenAt({ state: 'running', record: progressRecord({ rolls: rolls.slice(0, 1) }) }),
      'At work. No roll is decided yet.',
      'day-07: 0 of 1 ready',
    ],
    [
      'ended',
      seenAt({ state: 'ended', night }),
      'The run has ended. 1 of 2 rolls is ready. A002 is held.',
      'day-07: ended, 1 of 2 ready',
    ],
    [
      'interrupted',
      seenAt({ state: 'interrupted', night }),
      'The run was interrupted. 1 of 2 rolls is ready. A002 is held.',
      'day-07: interrupted',
    ],
    [
      'stopped',
      seenAt({ state: 'stopped', record: progressRecord({ rolls: rolls.slice(2) }) }),
      'The run stopped before its end. 1 of 2 rolls is ready.',
      'day-07: stopped',
    ],
  ])('%s', (_name, seen, headline, title) => {
    expect(textsOf(seen)).toMatchObject({ headline, title });
  });

  test('how long ago something was written, when it is too long', () => {
    expect(textsOf(running).quiet).toBe('');
    // 23:12 UTC in November is 00:12 in Berlin (UTC+1).
    expect(textsOf({ ...running, ageSeconds: 60 }).quiet).toContain(
      'nothing since Tuesday 2026-12-01 00:12 Europe/Berlin',
    );
  });

  test('what can be typed is there while there is something to stop, and quoted for a shell', () => {
    expect(textsOf(running)).toMatchObject({
      stop: 'kill -INT 4242',
      watch: 'rushlight status /volumes/proxies',
      again: '',
    });
    expect(textsOf({ ...running, delivery: "/volumes/it's here" }).watch).toBe(
      "rushlight status '/volumes/it'\\''s here'",
    );
    expect(textsOf(seenAt({ state: 'ended', night }))).toMatchObject({
      stop: '',
      watch: '',
      again: 'rushlight status /volumes/proxies',
    });
  });

  test('the morning page is linked where it can be given, and named where it cannot', () => {
    const seen = seenAt({ state: 'ended', night, morning: '/volumes/proxies/day-07/handover/morning.html' });
    expect(viewOf(seen, '', true).texts).toMatchObject({ 'morning-here': 'Open the morning page' });
    expect(viewOf(seen, '', false).texts).toMatchObject({
      'morning-here': '',
      morning: '/volumes/proxies/day-07/handover/morning.html',
    });
  });
});

test('what is held says where, what was found and what to do; what follows from it is named', () => {
  const held = [
    {
      roll: 'A002',
      findings: [
        checksumDiffers('A002'),
        checksumDiffers('A002'),
        { code: 'copy-differs', found: '1 byte', expected: '2 bytes', roll: 'A002' },
      ],
    },
    {
      roll: null,
      findings: [{ code: 'run-interrupted', found: 'an interrupt', expected: 'a run to its end' }],
    },
  ];
  const rows = viewOf({ ...running, held }, '', false).lists.held ?? [];
  expect(rows.map(({ cells }) => [cells.roll, cells.code])).toEqual([
    ['A002', 'file-checksum-differs'],
    ['The run as a whole', 'run-interrupted'],
  ]);
  expect(rows[0]?.cells).toMatchObject({
    where: 'drive backup-1 (/volumes/backup-1/day-07/A002), A002C001.mov',
    found: 'xxh128 489928abb4eedf716f955189bf9a89ca',
  });
  expect(rows[0]?.cells.title).toContain(', 2 times');
  expect(rows[0]?.cells.more).toBe('a copy differs from the working copy');
  expect(rows[0]?.cells.remedy).toContain('Copy the file again');
});

test('1 000 rolls and 50 workers: bounded, and what goes on in sight', () => {
  const many = Array.from({ length: 1000 }, (_, at) =>
    rollRecord(
      `R${String(at).padStart(4, '0')}`,
      at === 999 ? 'making' : at < 400 ? 'ready' : at < 420 ? 'held' : 'waiting',
    ),
  );
  const held = many.slice(400, 420).map(({ roll }) => ({ roll, findings: [checksumDiffers(roll)] }));
  const seen = seenAt({
    state: 'running',
    record: progressRecord({ rolls: many, working: working(50) }),
    held,
  });
  const view = viewOf(seen, '', false);
  expect(view.lists.rolls?.map(({ key }) => key)).toEqual(['R0999']);
  expect(view.lists.working).toHaveLength(50);
  expect(view.texts).toMatchObject({
    ready: '400 of 1000',
    'ready-count': '400 rolls ready',
    'waiting-count': '579 rolls waiting',
    'held-count': '20 rolls held',
  });
  expect(view.texts['waiting-names']).toMatch(/^R0420, R0421, .* and 279 more$/);
  expect(JSON.stringify(view).length).toBeLessThan(60_000);
});

test('names that lie are shown as what they are, and long ones are cut', () => {
  const seen = seenAt({
    state: 'running',
    day: HOSTILE[6],
    record: progressRecord({
      rolls: HOSTILE.map((name) => rollRecord(name, 'making')),
      working: HOSTILE.map((name) => ({ roll: name, clip: name, phase: 'make', frames: 1, total: 2 })),
    }),
    held: HOSTILE.map((roll) => ({ roll, findings: [checksumDiffers(roll)] })),
    delivery: `/volumes/${HOSTILE[9]}`,
    still: { of: 'being-made', roll: HOSTILE[0], clip: HOSTILE[6], timecode: null, version: 'v' },
  });
  const { texts, lists } = viewOf(seen, '', false);
  const all = [
    ...Object.values(texts),
    ...Object.values(lists).flatMap((rows) => rows.flatMap(({ cells }) => Object.values(cells))),
  ];
  for (const text of all) {
    // Controls, and what turns the direction of others' letters (UAX #9).
    // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
    expect(text).not.toMatch(/[\u0000-\u001f\u007f\u200e\u200f\u202a-\u202e\u2066-\u2069\u2028\u2029]/);
    expect(text.isWellFormed()).toBe(true);
    expect([...text].length).toBeLessThan(1_300);
  }
});

test('news are rolls that were decided, and how it ended; not what stood when the page was opened', () => {
  const after = {
    ...running,
    record: progressRecord({
      rolls: rolls.map((roll) => (roll.roll === 'A001' ? { ...roll, phase: 'held' as const } : roll)),
    }),
  };
  expect(newsOf(running, running)).toBe('');
  expect(newsOf(running, after)).toBe('A001 is held.');
  expect(newsOf(nothingSeen, running)).toBe('');
  expect(newsOf(running, seenAt({ state: 'ended', night: nightRecord() }))).toBe('The run has ended.');
});
