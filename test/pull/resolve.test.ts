/** From a cut to frames of clips: by name and reel, never by timecode alone; what is not certain is said. */
import { describe, expect, test } from 'vitest';
import { resolvePull, type PullRequest } from '../../coordinator/pull/resolve.ts';
import type { PullClip } from '../../coordinator/pull/form.ts';
import { cutOfEdl } from '../../handover/cut/edl.ts';
import { readCut } from '../../handover/cut/read.ts';
import { shortReels } from '../../handover/edl/reels.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { ratio } from '../../media/time/rate.ts';
import { labelAfter, nextLabel } from '../support/labels.ts';

const NTSC = ratio(30000, 1001);
const clip = (name: string, start: string, frames: number, more: Partial<PullClip> = {}): PullClip => {
  const rate = more.rate ?? (start.includes(';') ? NTSC : ratio(24));
  const roll = name.slice(0, 4);
  return {
    ...{ roll, clip: name, name, files: [`${name}.mov`], reels: [roll], frames, rate },
    start: parseTimecode(start, rate),
    ...more,
  };
};

const day = [
  clip('A001C001', '01:00:00:00', 240),
  clip('A001C002', '01:10:00:00', 240),
  // Equal timecode on another reel.
  clip('B001C001', '01:00:00:00', 240),
  clip('A002C001', '01:00:50;00', 900),
  clip('A003C001', '23:59:58:00', 96),
  clip('C001C001', '05:00:00:00', 240, { reels: ['C001C001_310304_R2CD'] }),
];
/** Interlaced. */
const woven = clip('A006C001', '02:00:00:00', 100, { rate: ratio(25), fields: true });

const pulled = (text: string, more: Partial<PullRequest> = {}): ReturnType<typeof resolvePull> =>
  resolvePull({
    ...{ cut: readCut(Buffer.from(text)), clips: day, unread: [], handles: 0, rate: null, file: 'cut.edl' },
    ...more,
  });
const found = ({ ranges, findings }: ReturnType<typeof resolvePull>): unknown => [
  ranges.map((range) => [range.clip, range.start, range.frames]),
  findings.map(({ code }) => code),
];
/** Record lengths are those of the source. */
const event = (reel: string, from: string, to: string, record = [from, to], behind = ''): string =>
  `001 ${reel} V C ${from} ${to} ${record.join(' ')}\n${behind}`;

describe('frames', () => {
  test.each([
    ['from the first', event('A001', '01:00:00:00', '01:00:00:01'), ['A001C001', 0, 1]],
    ['to the last', event('A001', '01:00:09:23', '01:00:10:00'), ['A001C001', 239, 1]],
    ['of another clip of the reel', event('A001', '01:10:00:05', '01:10:00:07'), ['A001C002', 5, 2]],
    ['of the same labels on another reel', event('B001', '01:00:00:00', '01:00:00:01'), ['B001C001', 0, 1]],
    ['over midnight', event('A003', '23:59:59:23', '00:00:00:02'), ['A003C001', 47, 3]],
    ['behind midnight', event('A003', '00:00:01:00', '00:00:01:12'), ['A003C001', 72, 12]],
    [
      'of a long reel, by the rule of our lists',
      event(
        shortReels(['C001C001_310304_R2CD']).get('C001C001_310304_R2CD') as string,
        '05:00:00:00',
        '05:00:00:02',
      ),
      ['C001C001', 0, 2],
    ],
    ['of a long reel that was cut off', event('C001C001', '05:00:00:00', '05:00:00:02'), ['C001C001', 0, 2]],
    // 01:00:59;29 is followed by 01:01:00;02 (SMPTE ST 12-1).
    ['of drop-frame, over a minute', event('A002', '01:00:59;29', '01:01:00;03'), ['A002C001', 299, 2]],
    [
      'of drop-frame, with colons',
      `FCM: DROP FRAME\n${event('A002', '01:00:59:29', '01:01:00:03')}`,
      ['A002C001', 299, 2],
    ],
  ])('%s', (_, text, wanted) => {
    expect(found(pulled(text))).toEqual([[wanted], []]);
  });

  test('handles end where the clip does; what overlaps or touches is one range, what does not is two', () => {
    const text = [
      event('A001', '01:00:00:02', '01:00:00:04'),
      event('A001', '01:00:00:08', '01:00:00:10'),
      event('A001', '01:00:01:00', '01:00:01:01'),
      event('A001', '01:00:09:22', '01:00:10:00'),
    ].join('');
    // 0-6, 6-12: they touch; 22-26; 236-240.
    expect(found(pulled(text, { handles: 2 }))).toEqual([
      [
        ['A001C001', 0, 12],
        ['A001C001', 22, 5],
        ['A001C001', 236, 4],
      ],
      [],
    ]);
  });

  test('a hundred stretches of a mixed day, counted label by label', () => {
    // A linear congruence (Numerical Recipes): the same draws every time.
    let state = 7;
    const random = (): number => {
      state = (state * 1_664_525 + 1_013_904_223) % 2 ** 32;
      return state / 2 ** 32;
    };
    for (let drawn = 0; drawn < 100; drawn += 1) {
      const of = day[Math.floor(random() * day.length)] as PullClip;
      const begins = {
        A001C001: '01:00:00:00',
        A001C002: '01:10:00:00',
        B001C001: '01:00:00:00',
        A002C001: '01:00:50;00',
        A003C001: '23:59:58:00',
        C001C001: '05:00:00:00',
      }[of.name] as string;
      const start = Math.floor(random() * (of.frames - 1));
      const frames = 1 + Math.floor(random() * (of.frames - start - 1));
      const from = labelAfter(begins, of.start.base, start);
      const to = labelAfter(from, of.start.base, frames);
      const reel = shortReels(of.reels).get(of.reels[0] as string) as string;
      expect(found(pulled(event(reel, from, to)))).toEqual([[[of.name, start, frames]], []]);
    }
  });
});

describe('what leads to a clip', () => {
  test.each([
    [
      'an auxiliary source, named',
      event('AX', '01:00:00:00', '01:00:00:02', undefined, '* FROM CLIP NAME: b001c001.MOV'),
      'B001C001',
    ],
    [
      'the name of its file',
      event('AX', '01:00:00:00', '01:00:00:02', undefined, '* SOURCE FILE: /x/B001C001.mxf'),
      'B001C001',
    ],
    [
      'a name of the editor and a reel',
      event('A001', '01:00:00:00', '01:00:00:02', undefined, '* FROM CLIP NAME: Kiln, wide'),
      'A001C001',
    ],
  ])('%s', (_, text, name) => {
    expect(found(pulled(text))).toEqual([[[name, 0, 2]], []]);
  });

  test.each([
    ['an equal timecode alone', event('D001', '01:00:00:00', '01:00:00:02'), 'pull-clip-absent'],
    ['no reel and no name', event('AX', '01:00:00:00', '01:00:00:02'), 'pull-clip-absent'],
    ['a reel of the day at another time', event('A001', '09:00:00:00', '09:00:00:02'), 'pull-clip-absent'],
    [
      'a name at another time',
      event('AX', '09:00:00:00', '09:00:00:02', undefined, '* FROM CLIP NAME: A001C001'),
      'pull-frames-outside',
    ],
    [
      'name and reel of two clips',
      event('A001', '01:00:00:00', '01:00:00:02', undefined, '* FROM CLIP NAME: B001C001'),
      'pull-clip-ambiguous',
    ],
  ])('not %s', (_, text, code) => {
    expect(found(pulled(text))).toEqual([[], [code]]);
  });

  test('two takes of one reel with the same timecode are nobody', () => {
    const clips = [...day, clip('A001C009', '01:00:05:00', 240)];
    expect(found(pulled(event('A001', '01:00:06:00', '01:00:06:02'), { clips }))).toEqual([
      [],
      ['pull-clip-ambiguous'],
    ]);
    // Whose frames are all there is not in doubt.
    expect(found(pulled(event('A001', '01:00:09:00', '01:00:11:00'), { clips }))).toEqual([
      [['A001C009', 96, 48]],
      [],
    ]);
  });

  test('frames beyond the clip are said, and those that it has are made', () => {
    expect(found(pulled(event('A001', '01:00:09:12', '01:00:10:12')))).toEqual([
      [['A001C001', 228, 12]],
      ['pull-frames-outside'],
    ]);
  });
});

describe('speed', () => {
  const m2 = (speed: string, from: string, to: string, record: [string, string], label = from): string =>
    event('A001', from, to, record, `M2   A001   ${speed}   ${label}`);
  test.each([
    [
      'as fast as the list, as our own lists have it',
      m2('024.0', '01:00:01:00', '01:00:02:00', ['01:00:00:00', '01:00:01:00']),
      [24, 24],
    ],
    [
      'twice as fast, in the lengths of the source',
      m2('048.0', '01:00:01:00', '01:00:03:00', ['01:00:00:00', '01:00:01:00']),
      [24, 48],
    ],
    [
      'twice as fast, in the lengths of the list',
      m2('048.0', '01:00:01:00', '01:00:02:00', ['01:00:00:00', '01:00:01:00']),
      [24, 48],
    ],
    ['half as fast', m2('012.0', '01:00:01:00', '01:00:01:12', ['01:00:00:00', '01:00:01:00']), [24, 12]],
    ['still', m2('000.0', '01:00:01:00', '01:00:02:00', ['01:00:00:00', '01:00:01:00']), [24, 1]],
  ])('%s', (_, text, [start, frames]) => {
    expect(found(pulled(text))).toEqual([[['A001C001', start, frames]], []]);
  });

  // Counted by hand, frame by frame: what is shown when it is read from source in down, and from source out down.
  test.each([
    ['backwards', m2('-024.0', '01:00:01:00', '01:00:02:00', ['01:00:00:00', '01:00:01:00']), [0, 48]],
    [
      'backwards at half the speed',
      m2('-012.0', '01:00:01:00', '01:00:01:12', ['01:00:00:00', '01:00:01:00']),
      [12, 24],
    ],
    [
      'backwards where the clip begins: nothing before it can be meant',
      m2('-024.0', '01:00:00:02', '01:00:00:07', ['01:00:00:00', '01:00:00:05']),
      [0, 7],
    ],
    [
      'twice as fast from a later label on',
      m2('048.0', '01:00:01:00', '01:00:03:00', ['01:00:00:00', '01:00:01:12'], '01:00:02:00'),
      [24, 48],
    ],
    [
      'twice as fast from a later label on, in the lengths of the list',
      m2('048.0', '01:00:01:00', '01:00:03:00', ['01:00:00:00', '01:00:02:00'], '01:00:02:00'),
      // A second as it is, and then 24 frames of the list that take 48 of the source.
      [24, 72],
    ],
    [
      'forwards and then back',
      `${m2('024.0', '01:00:01:00', '01:00:02:12', ['01:00:00:00', '01:00:01:12'])}\nM2   A001   -024.0   01:00:02:00`,
      [24, 36],
    ],
  ])('%s: all that any reading of it shows is made, and that is said', (_, text, [start, frames]) => {
    const pull = pulled(text);
    expect(found(pull)).toEqual([[['A001C001', start, frames]], ['pull-speed-union']]);
    expect(pull.uses[0]).toMatchObject({ start, frames, union: expect.stringMatching(/frames a second/) });
  });

  test.each([
    ['lengths that do not fit', m2('048.0', '01:00:01:00', '01:00:04:00', ['01:00:00:00', '01:00:01:00'])],
    [
      'lengths that differ, without a word',
      event('A001', '01:00:01:00', '01:00:03:00', ['01:00:00:00', '01:00:01:00']),
    ],
    ['a label that drop-frame has not', event('A002', '01:01:00;01', '01:01:00;05')],
    ['a label of drop-frame in a clip without', event('A001', '01:00:01;00', '01:00:02;00')],
    ['a frame beyond the second', event('A001', '01:00:01:25', '01:00:02:00')],
    ['a list of another rate', `* 25 FRAMES A SECOND\n${event('A001', '01:00:01:00', '01:00:02:00')}`],
  ])('%s is not followed', (_, text) => {
    expect(found(pulled(text))).toEqual([[], ['pull-not-followed']]);
  });

  test('labels above 30 frames a second may be of pairs: somebody has to say', () => {
    const clips = [clip('A001C001', '01:00:00:00', 200, { rate: ratio(50) })];
    const text = event('A001', '01:00:01:10', '01:00:01:20');
    expect(found(pulled(text, { clips }))).toEqual([[], ['pull-not-followed']]);
    expect(found(pulled(text, { clips, rate: ratio(50) }))).toEqual([[['A001C001', 60, 10]], []]);
    expect(found(pulled(text, { clips, rate: ratio(25) }))).toEqual([[], ['pull-not-followed']]);
  });
});

describe('a clip of fields', () => {
  /** 29.97i, drop-frame; and 25i. As 59.94p and 50p, frame 2k and the one behind it are of frame k. */
  const fields = [
    clip('A004C001', '10:00:50;00', 900, { fields: true }),
    clip('A005C001', '11:00:00:00', 250, { fields: true, rate: ratio(25) }),
  ];
  const followed = (text: string, more: Partial<PullRequest> = {}): unknown =>
    found(pulled(text, { clips: fields, ...more }));

  // Labels of 59.94: 10:00:59;59 is followed by 10:01:00;04 (SMPTE ST 12-1: four labels are left out a minute).
  test.each<[string, string, string, [number, number]]>([
    ['the earlier field of the first frame', '10:00:50;00', '10:00:50;01', [0, 1]],
    ['the later field of it', '10:00:50;01', '10:00:50;02', [0, 1]],
    ['the later of one, the earlier of the next', '10:00:50;01', '10:00:50;03', [0, 2]],
    ['a second', '10:00:51;00', '10:00:52;00', [30, 30]],
    ['over a minute', '10:00:59;59', '10:01:00;05', [299, 2]],
  ])('each a frame of its proxies: %s', (_, from, to, wanted) => {
    const text = event('A004', from, to);
    expect(followed(`* 60000/1001 FRAMES A SECOND\n${text}`)).toEqual([[['A004C001', ...wanted]], []]);
    expect(followed(text, { rate: ratio(60000, 1001) })).toEqual([[['A004C001', ...wanted]], []]);
  });

  test('one frame each, in a list that says the rate of the clip', () => {
    const text = event('A005', '11:00:01:10', '11:00:01:20');
    expect(followed(text, { rate: ratio(25) })).toEqual([[['A005C001', 35, 10]], []]);
    expect(followed(text, { rate: ratio(50) })).toEqual([[['A005C001', 30, 5]], []]);
    expect(followed(text, { rate: ratio(24) })).toEqual([[], ['pull-not-followed']]);
  });

  test('one that is slowed is not followed: at that rate a cut may count either', () => {
    const slowed = [
      clip('A005C001', '11:00:00:00', 250, { fields: true, slowed: true, rate: ratio(24_000, 1001) }),
    ];
    const text = event('A005', '11:00:00:10', '11:00:00:20');
    for (const rate of [null, ratio(24_000, 1001), ratio(48_000, 1001)])
      expect(found(pulled(text, { clips: slowed, rate }))).toEqual([[], ['pull-not-followed']]);
  });

  test('of labels alone nobody knows whether they count frames or fields: somebody has to say', () => {
    expect(followed(event('A005', '11:00:01:10', '11:00:01:20'))).toEqual([[], ['pull-not-followed']]);
  });

  test('handles are of the clip, and end where it does', () => {
    const text = event('A005', '11:00:09:48', '11:00:09:49');
    expect(followed(text, { rate: ratio(50), handles: 2 })).toEqual([[['A005C001', 247, 3]], []]);
    expect(followed(event('A005', '11:00:09:48', '11:00:10:02'), { rate: ratio(50) })).toEqual([
      [['A005C001', 249, 1]],
      ['pull-frames-outside'],
    ]);
  });

  test('a clip of whole frames is not halved', () => {
    const clips = [clip('A005C001', '11:00:00:00', 250, { rate: ratio(25) })];
    const text = event('A005', '11:00:01:10', '11:00:01:20');
    expect(found(pulled(text, { clips, rate: ratio(50) }))).toEqual([[], ['pull-not-followed']]);
    expect(found(pulled(text, { clips }))).toEqual([[['A005C001', 35, 10]], []]);
  });
});

describe('a timeline', () => {
  const track = (clips: readonly object[]): string =>
    JSON.stringify({ OTIO_SCHEMA: 'Track.1', name: 'V1', kind: 'Video', children: clips });
  const time = (value: number, rate: number): object => ({ OTIO_SCHEMA: 'RationalTime.1', value, rate });
  const range = (value: number, frames: number, rate = 24): object => ({
    OTIO_SCHEMA: 'TimeRange.1',
    start_time: time(value, rate),
    duration: time(frames, rate),
  });
  const use = (name: string, source: object, available: object | null, url = `../x/${name}.mov`): object => ({
    ...{ OTIO_SCHEMA: 'Clip.1', name, source_range: source },
    media_reference: { OTIO_SCHEMA: 'ExternalReference.1', target_url: url, available_range: available },
  });
  test.each<[string, object, unknown]>([
    // 01:00:00:00 at 24 is frame 86400.
    ['by its timecode', use('A001C001', range(86_410, 5), range(86_400, 240)), [[['A001C001', 10, 5]], []]],
    [
      'from 0 on, where it says that media has no timecode',
      use('A001C001', range(10, 5), range(0, 240)),
      [[['A001C001', 10, 5]], []],
    ],
    [
      'from 0 on, of media of another length',
      use('A001C001', range(10, 5), range(0, 100)),
      [[], ['pull-frames-outside']],
    ],
    ['counted on over midnight', use('A003C001', range(2_073_600, 5), null), [[['A003C001', 48, 5]], []]],
    // 02:00:00:00 at 25 is frame 180 000, and at 50, where each field is a frame, frame 360 000.
    ['of frames', use('A006C001', range(180_010, 5, 25), null), [[['A006C001', 10, 5]], []]],
    ['of fields', use('A006C001', range(360_011, 4, 50), null), [[['A006C001', 5, 3]], []]],
    [
      'of fields, from 0 on',
      use('A006C001', range(11, 4, 50), range(0, 200, 50)),
      [[['A006C001', 5, 3]], []],
    ],
    [
      'by the name of its file',
      use('Kiln', range(86_410, 5), null, 'file:///x/B001C001.mov'),
      [[['B001C001', 10, 5]], []],
    ],
    ['of another rate', use('A001C001', range(90_010, 5, 25), null), [[], ['pull-not-followed']]],
    // 01:00:50;00 at 30000/1001 is frame 109 392: 60 minutes less 108 labels, and 1500 frames.
    [
      'of drop-frame',
      use('A002C001', range(109_392, 5, 29.97002997002997), null),
      [[['A002C001', 0, 5]], []],
    ],
  ])('%s', (_, one, wanted) => {
    expect(found(pulled(track([one]), { clips: [...day, woven] }))).toEqual(wanted);
  });

  test('of ours, by roll and clip, also where a name is given twice', () => {
    const twin = clip('A001C001', '01:00:00:00', 240, { roll: 'E001', reels: ['E001'] });
    const one = {
      ...use('A001C001', range(86_410, 5), null),
      metadata: { rushlight: { roll: 'E001', clip: 'A001C001' } },
    };
    const { ranges } = pulled(track([one]), { clips: [...day, twin] });
    expect(ranges).toEqual([{ roll: 'E001', clip: 'A001C001', start: 10, frames: 5 }]);
    expect(
      found(pulled(track([use('A001C001', range(86_410, 5), null)]), { clips: [...day, twin] })),
    ).toEqual([[], ['pull-clip-ambiguous']]);
  });
});

test('the cut itself is not asked for an order, and reads the same by any line end', () => {
  const text = `TITLE: X\n${event('A001', '01:00:00:00', '01:00:00:01')}`;
  expect(cutOfEdl(text.replaceAll('\n', '\r\n')).uses).toEqual(cutOfEdl(text).uses);
  expect(nextLabel('01:00:00:23', 24)).toBe('01:00:01:00');
});
