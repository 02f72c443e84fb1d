/** Lists in the CMX 3600 form: columns, reels of eight characters, speeds, CDL lines, and labels that run over midnight. */
import { describe, expect, test } from 'vitest';
import { readEdl, EdlError } from '../../handover/edl/read.ts';
import { shortReels } from '../../handover/edl/reels.ts';
import { edlsOf } from '../../handover/edl/roll.ts';
import { type EdlEvent, edlText } from '../../handover/edl/write.ts';
import { reelOfClip, cutOf } from '../../handover/counting.ts';
import { ratio } from '../../media/time/rate.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { modelRoll } from '../support/day-model.ts';
import { audioFor, clipFacts, clipNamed } from '../support/facts.ts';
import { mixedDay } from '../support/mixed-day.ts';

const NTSC = { num: 30_000, den: 1001 };
const event = (over: Partial<EdlEvent> = {}): EdlEvent => ({
  reel: 'A001',
  fullReel: 'A001',
  clipName: 'A001C001',
  file: 'A001C001.mov',
  sound: true,
  start: parseTimecode('01:00:00:00', 24),
  frames: 48,
  offSpeed: null,
  cdl: null,
  amf: null,
  scene: null,
  take: null,
  remarks: [],
  ...over,
});

test('a list as it stands', () => {
  const text = edlText({
    title: 'A001',
    rate: ratio(24),
    base: 24,
    drop: false,
    events: [
      event({
        cdl: { slope: [1.1, 1, 0.9], offset: [-0.02, 0.01, 0.03], power: [1.2, 1, 0.8], saturation: 0.85 },
        amf: { name: 'A001C001.amf', uuid: 'afe122be-59d3-4360-ad69-33c10108fa7a' },
        scene: '12A',
        take: '3',
      }),
      event({
        reel: 'B0010XYZ',
        fullReel: 'B001C001_310304_R2CD',
        clipName: 'B001C001',
        file: 'B001C001.mov',
        sound: false,
        start: parseTimecode('10:00:00:05', 24),
        frames: 480,
        offSpeed: { captured: ratio(48), slower: ratio(2) },
      }),
    ],
  });
  // The example of Academy and ASC for CDL lines, and the event line of the form: number, reel, channels, transition, four labels.
  expect(text.split('\r\n')).toEqual([
    'TITLE: A001',
    'FCM: NON-DROP FRAME',
    '* 24 FRAMES A SECOND',
    '001  A001     AA/V  C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00',
    '* FROM CLIP NAME: A001C001',
    '* SOURCE FILE: A001C001.mov',
    '* SCENE: 12A',
    '* TAKE: 3',
    '*ASC_SOP (1.1 1 0.9) (-0.02 0.01 0.03) (1.2 1 0.8)',
    '*ASC_SAT 0.85',
    '* AMF_NAME A001C001.amf',
    '* AMF_UUID afe122be-59d3-4360-ad69-33c10108fa7a',
    '002  B0010XYZ V     C        10:00:00:05 10:00:20:05 01:00:02:00 01:00:22:00',
    'M2   B0010XYZ       024.0                10:00:00:05',
    '* FROM CLIP NAME: B001C001',
    '* SOURCE FILE: B001C001.mov',
    '* REEL B0010XYZ IS B001C001_310304_R2CD',
    '* RECORDED AT 48 FRAMES A SECOND, 2 TIMES SLOWER HERE: EACH FRAME IS ONE FRAME',
    '',
  ]);
});

test('drop-frame: labels leave out what they leave out, in source and record, and midnight is 00:00:00;00', () => {
  const text = edlText({
    title: 'A001',
    rate: NTSC,
    base: 30,
    drop: true,
    events: [
      event({ start: parseTimecode('01:00:59;28', NTSC), frames: 4 }),
      event({ start: parseTimecode('23:59:58;00', NTSC), frames: 60 }),
      event({ start: parseTimecode('00:00:00;00', NTSC), frames: 1800 }),
    ],
  });
  expect(text.split('\r\n').filter((line) => /^(FCM|\d)/.test(line))).toEqual([
    'FCM: DROP FRAME',
    '001  A001     AA/V  C        01:00:59;28 01:01:00;04 01:00:00;00 01:00:00;04',
    '002  A001     AA/V  C        23:59:58;00 00:00:00;00 01:00:00;04 01:00:02;04',
    // 1800 frames are one minute and two labels more (SMPTE ST 12-1).
    '003  A001     AA/V  C        00:00:00;00 00:01:00;02 01:00:02;04 01:01:02;06',
  ]);
  const read = readEdl(text, NTSC);
  expect(read.events.map(({ sourceFrames, recordFrames }) => [sourceFrames, recordFrames])).toEqual([
    [4, 4],
    [60, 60],
    [1800, 1800],
  ]);
});

test('a name cannot make a line of its own', () => {
  const text = edlText({
    title: 'A\r\nFCM: DROP FRAME',
    rate: ratio(24),
    base: 24,
    drop: false,
    events: [
      event({ clipName: 'x\n002  BL       V     C        00:00:00:00', scene: '\r\n', take: '=1\t2' }),
    ],
  });
  expect(readEdl(text, ratio(24)).events).toHaveLength(1);
  expect(text.split('\r\n')[1]).toBe('FCM: NON-DROP FRAME');
});

describe('reels of eight characters', () => {
  test('what fits is kept, the rest is four characters and four digits of its own', () => {
    const given = shortReels([
      'A001',
      'a002',
      'A001C001_260102_R1AB',
      'A001C001_260102_R1AC',
      'BL',
      'Glocke läuten',
      '大鐘',
    ]);
    expect(given.get('A001')).toBe('A001');
    expect(given.get('a002')).toBe('A002');
    for (const short of given.values()) expect(short).toMatch(/^[A-Z0-9]{1,8}$/);
    expect(given.get('A001C001_260102_R1AB')).toMatch(/^A001[A-Z0-9]{4}$/);
    expect(given.get('BL')).not.toBe('BL');
    expect(given.get('Glocke läuten')).toMatch(/^GLOC/);
    expect(new Set(given.values()).size).toBe(7);
  });

  test('a reel that is called as another one was shortened keeps its name, and ten thousand stay ten thousand', () => {
    const long = 'A001C001_260102_R1AB';
    const short = shortReels([long]).get(long) as string;
    const both = shortReels([long, short]);
    expect(both.get(short)).toBe(short);
    expect(both.get(long)).not.toBe(short);
    const many = Array.from({ length: 10_000 }, (_, at) => `A001C${String(at).padStart(4, '0')}_310304_R1AB`);
    expect(new Set(shortReels(many).values()).size).toBe(10_000);
    // Small letters are capitals in the form: two reels that differ in nothing else are two all the same.
    expect(new Set(shortReels(['a001', 'A001']).values()).size).toBe(2);
  });

  test('it is the same one in another order and beside others', () => {
    const one = shortReels(['Long reel name 1', 'Long reel name 2']);
    const other = shortReels(['Long reel name 3', 'Long reel name 2', 'Long reel name 1']);
    expect(other.get('Long reel name 2')).toBe(one.get('Long reel name 2'));
  });
});

test('clips of one roll that count otherwise are in lists of their own, and none is left out', async () => {
  const clip = (name: string, label: string, rate: { num: number; den: number }, frames = 24) => ({
    clip: clipNamed(name),
    facts: clipFacts({
      reel: 'A001',
      timecode: parseTimecode(label, rate),
      audio: [audioFor(frames, rate)],
      video: { frames, rate },
    }),
    profiles: ['editorial-vc3'],
  });
  const roll = await modelRoll('A001', [
    clip('A001C001', '01:00:00;00', NTSC),
    clip('A001C002', '01:00:00:00', NTSC),
    clip('A001C003', '01:00:00:00', ratio(24)),
    clip('A001C004', '01:00:00;00', NTSC),
    clip('A001C005', '01:00:00:00', ratio(120)),
  ]);
  const { edls, left } = edlsOf({ roll, reels: new Map([['A001', 'A001']]), amfOf: () => null });
  expect(edls.map(({ counting, edl }) => [counting, edl.events.map(({ clipName }) => clipName)])).toEqual([
    ['29.97df', ['A001C001', 'A001C004']],
    ['29.97', ['A001C002']],
    ['24', ['A001C003']],
  ]);
  expect(left.map(({ clip: { name }, why }) => [name, why])).toEqual([
    ['A001C005', '120 frames in a second of timecode, 100 at most'],
  ]);
});

test('events are numbered to 999, and a further list begins again', async () => {
  const [roll] = await mixedDay();
  if (roll === undefined) throw new Error('no roll');
  const [first] = roll.clips;
  if (first === undefined) throw new Error('no clip');
  const many = { ...roll, clips: Array.from({ length: 1000 }, () => first) };
  const { edls } = edlsOf({
    roll: many,
    reels: shortReels([reelOfClip(first, cutOf(first))]),
    amfOf: () => null,
  });
  expect(edls.map(({ counting, edl }) => [counting, edl.events.length])).toEqual([
    ['29.97df', 999],
    ['29.97df-2', 1],
  ]);
});

describe('lists of others', () => {
  test('dissolves, key words, other line ends and comments are read as far as cuts go', () => {
    const read = readEdl(
      [
        'TITLE: LOCKED CUT',
        'FCM: NON-DROP FRAME',
        '000001  A001 V C 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00',
        '* FROM CLIP NAME:  A001C001',
        '002  A002     V     C        02:00:00:00 02:00:00:00 00:00:01:00 00:00:01:00',
        '002  A003     V     D    012 03:00:00:00 03:00:02:00 00:00:01:00 00:00:03:00',
        'M2   A003           -024.0                03:00:00:00',
        '>>> SOMETHING OF SOMEBODY',
      ].join('\n'),
      ratio(24),
    );
    expect(read.title).toBe('LOCKED CUT');
    expect(
      read.events.map(({ reel, transition, sourceFrames, speed, clipName }) => [
        reel,
        transition,
        sourceFrames,
        speed,
        clipName,
      ]),
    ).toEqual([
      ['A001', 'C', 24, null, 'A001C001'],
      ['A002', 'C', 0, null, null],
      ['A003', 'D', 48, -24, null],
    ]);
  });

  test.each([
    [
      'a label that drop-frame leaves out',
      'FCM: DROP FRAME\n001  A V C 00:01:00:00 00:01:01:00 00:00:00:00 00:00:01:00',
      NTSC,
    ],
    ['frames beyond the rate', '001  A V C 00:01:00:25 00:01:01:00 00:00:00:00 00:00:01:00', ratio(24)],
    ['drop-frame where there is none', 'FCM: DROP FRAME', ratio(24)],
    ['an event with a label too few', '001  A V C 00:01:00:00 00:01:01:00 00:00:00:00', ratio(24)],
    [
      'a speed of another reel',
      '001  A V C 00:01:00:00 00:01:01:00 00:00:00:00 00:00:01:00\nM2 B 024.0 00:00:00:00',
      ratio(24),
    ],
  ])('%s is refused, with its line', (_what, text, rate) => {
    expect(() => readEdl(text, rate)).toThrow(EdlError);
  });
});
