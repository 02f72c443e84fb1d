/** Where burnt-in text lies, and how names become text. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { burnInOf } from '../../profiles/outcome/burn-in.ts';
import { coveredStrips } from '../../profiles/outcome/covered.ts';
import { writable } from '../../profiles/outcome/letters.ts';
import { burnInPlaces, burnInTexts, type Profile } from '../../profiles/schema.ts';
import type { Rectangle } from '../../proof/framing.ts';
import { textWindows } from '../../proof/text/window.ts';
import { burnInFace } from '../../proof/text/burn-in-font.ts';
import { wordsOf } from '../../proof/text/words.ts';
import { clipFacts } from '../support/facts.ts';

type Items = Profile['burn_in'];
const video = { codec: 'h264', quality: 21, speed: 'very-fast', key_frame_seconds: 1 } as const;
const names = { clip: 'A001C001', roll: 'A001', reel: 'A001R1AB' };
const timecode = { frame: 86_400, base: 24, drop: false };
const decided = (burn_in: Items, size: { width: number; height: number }, clip = names.clip) =>
  burnInOf({
    profile: { name: 'review', burn_in, video },
    size,
    timecode,
    transfer: 'bt709',
    names: { ...names, clip },
    facts: clipFacts(),
    shown: null,
  });

/** Pixels that two have in common. */
const overlap = (one: Rectangle, other: Rectangle): number =>
  Math.max(0, Math.min(one.left + one.width, other.left + other.width) - Math.max(one.left, other.left)) *
  Math.max(0, Math.min(one.top + one.height, other.top + other.height) - Math.max(one.top, other.top));

const item = fc.record({
  text: fc.constantFrom(...burnInTexts.filter((text) => text !== 'words')),
  height_percent: fc.integer({ min: 2, max: 20 }),
});
const items = fc
  .shuffledSubarray([...burnInPlaces, ...burnInPlaces], { minLength: 1, maxLength: 8 })
  .chain((places) => fc.tuple(...places.map((place) => item.map((one) => ({ ...one, place })))));

test('boxes lie in the picture, in the strips that are left out elsewhere, and on none of the others; or nothing is made', () => {
  let made = 0;
  fc.assert(
    fc.property(
      items,
      fc.record({ width: fc.integer({ min: 16, max: 2100 }), height: fc.integer({ min: 16, max: 1200 }) }),
      fc.string({ unit: 'grapheme', minLength: 1, maxLength: 60 }),
      (texts, size, clip) => {
        const decision = decided(texts, size, clip);
        if ('findings' in decision) {
          expect(decision.findings.map(({ code }) => code)).toEqual(['burn-in-no-room']);
          return;
        }
        made += 1;
        const { windows } = textWindows(decision.burnIn, size);
        const strips = coveredStrips({ burn_in: texts, video }, size.width, size.height);
        for (const [index, { box, letters }] of decision.burnIn.entries()) {
          expect([box.left % 2, box.top % 2, box.width % 2, box.height % 2]).toEqual([0, 0, 0, 0]);
          expect(box.left >= 0 && box.left + box.width <= size.width).toBe(true);
          expect(
            strips.some(({ top, height }) => box.top >= top && box.top + box.height <= top + height),
          ).toBe(true);
          expect(letters.baseline).toBeGreaterThan(box.top);
          // A window has its box whole, and nothing of another one.
          const window = windows[index] as Rectangle;
          expect(overlap(window, box)).toBe(box.width * box.height);
          for (const other of decision.burnIn)
            if (other.box !== box) expect(overlap(window, other.box)).toBe(0);
          for (const other of decision.burnIn.slice(0, index))
            expect(
              other.box.left + other.box.width <= box.left ||
                box.left + box.width <= other.box.left ||
                other.box.top + other.box.height <= box.top ||
                box.top + box.height <= other.box.top,
            ).toBe(true);
        }
      },
    ),
  );
  expect(made).toBeGreaterThan(20);
});

describe('names', () => {
  const font = burnInFace();
  test.each<[name: string, text: string, escaped: string[]]>([
    ['A001C001_1129.mov', 'A001C001_1129.mov', []],
    ["it's 10:30 50% {x} [a],b;c=d \\ %{pts}", "it's 10:30 50% {x} [a],b;c=d \\ %{pts}", []],
    ['Größe Ωж Å', 'Größe Ωж Å', []],
    // A letter and a mark are the one letter that the font has.
    ['Glockengie\u00df e\u0301', 'Glockengieß é', []],
    ['鐘 1', '\\u{9418} 1', ['鐘']],
    // Joined, or written from the right: glyphs of single characters would be wrong.
    ['جرس', '\\u{62c}\\u{631}\\u{633}', ['ج', 'ر', 'س']],
    ['a\u200bb\nc', 'a\\u{200b}b\\nc', ['\u200b']],
    ['raw\udcff', 'raw\\xff', []],
    ['🔔', '\\u{1f514}', ['🔔']],
  ])('%j is written as %s', (name, text, escaped) => {
    expect(writable(name, font)).toEqual({ text, escaped });
  });

  test('what the font has not is said before anything is made, and holds nothing', () => {
    const decision = decided(
      [{ text: 'clip', place: 'top-left', height_percent: 5 }],
      { width: 1280, height: 720 },
      '鐘',
    );
    expect('notes' in decision && decision.notes.map(({ code, found }) => [code, found])).toEqual([
      ['burn-in-unwritable', 'clip "鐘": 鐘 (9418)'],
    ]);
  });

  test('a name that is too long gets smaller letters, then loses its end', () => {
    const texts: Items = [{ text: 'clip', place: 'bottom-left', height_percent: 10 }];
    const of = (clip: string) => {
      const decision = decided(texts, { width: 320, height: 180 }, clip);
      if ('findings' in decision) throw new Error(JSON.stringify(decision.findings));
      return decision.burnIn[0];
    };
    expect([of('A'.repeat(10)), of('A'.repeat(40))].map((one) => one?.letters.size)).toEqual([18, 13]);
    const long = of('A'.repeat(300))?.words;
    expect(long?.kind === 'same' && long.text).toMatch(/^A{60,80}…$/);
  });
});

describe('what a text says', () => {
  const facts = (over: Parameters<typeof clipFacts>[0] = {}) => clipFacts(over);
  const saying = (text: (typeof burnInTexts)[number], over: Parameters<typeof clipFacts>[0]) => {
    const decision = burnInOf({
      ...{ timecode, transfer: 'bt709', names, shown: null, facts: facts(over) },
      profile: { name: 'review', burn_in: [{ text, place: 'top-left', height_percent: 5 }], video },
      size: { width: 1280, height: 720 },
    });
    if ('findings' in decision) throw new Error(JSON.stringify(decision.findings));
    const [item] = decision.burnIn;
    if (item === undefined) throw new Error('nothing is written');
    return {
      says: [wordsOf(item.words, 0), wordsOf(item.words, 1)],
      from: item.from,
      notes: decision.notes.map(({ code }) => code),
    };
  };
  const zone = (timeZone: string | null) => ({ camera: null, watermark: null, timeZone });

  test.each<
    [
      text: (typeof burnInTexts)[number],
      over: Parameters<typeof clipFacts>[0],
      says: [string, string],
      from: string | null,
      notes: string[],
    ]
  >([
    ['frame', {}, ['0000', '0001'], 'counted from 0', []],
    ['frame', { video: { frames: 123_456 } }, ['000000', '000001'], 'counted from 0', []],
    ['frame', { kind: 'sequence', firstNumber: 86_399 }, ['86399', '86400'], 'numbers of the files', []],
    ['frame', { kind: 'sequence', firstNumber: 9990 }, ['09990', '09991'], 'numbers of the files', []],
    ['camera', {}, ['no camera', 'no camera'], null, ['burn-in-missing']],
    [
      'camera',
      { burnIn: { ...zone(null), camera: { name: 'B', from: 'letters of the roll' } } },
      ['B', 'B'],
      'letters of the roll',
      [],
    ],
    ['date', {}, ['no date', 'no date'], null, ['burn-in-missing']],
    // A clock that was never set.
    [
      'date',
      { metadata: { creation_time: '1904-01-01T00:00:00.000000Z' } },
      ['no date', 'no date'],
      null,
      ['burn-in-missing'],
    ],
    [
      'date',
      { metadata: { creation_time: '2031-02-30T00:00:00Z' } },
      ['no date', 'no date'],
      null,
      ['burn-in-missing'],
    ],
    [
      'date',
      { metadata: { creation_time: '2031-03-04T23:30:00.000000Z' } },
      ['2031-03-04 UTC', '2031-03-04 UTC'],
      'creation_time',
      [],
    ],
    [
      'date',
      { metadata: { creation_time: '2031-03-04T23:30:00.000000Z' }, burnIn: zone('Europe/Berlin') },
      ['2031-03-05', '2031-03-05'],
      'creation_time, in Europe/Berlin',
      [],
    ],
    [
      'date',
      { metadata: { creation_time: '2031-03-04T03:30:00Z' }, burnIn: zone('America/Los_Angeles') },
      ['2031-03-03', '2031-03-03'],
      'creation_time, in America/Los_Angeles',
      [],
    ],
    // Without an offset it is the time of the place.
    [
      'date',
      { metadata: { creation_time: '2031-03-04T23:30:00' }, burnIn: zone('Asia/Tokyo') },
      ['2031-03-04', '2031-03-04'],
      'creation_time',
      [],
    ],
    // The clock of the place before that of the container, which may be that of a copy.
    [
      'date',
      {
        metadata: {
          creation_time: '2031-04-01T09:00:00Z',
          'com.apple.quicktime.creationdate': '2031-03-04T23:30:00+0200',
        },
      },
      ['2031-03-04', '2031-03-04'],
      'com.apple.quicktime.creationdate',
      [],
    ],
    ['look', {}, ['as recorded', 'as recorded'], null, []],
  ])('%s of %j: %j', (text, over, says, from, notes) => {
    expect(saying(text, over)).toEqual({ says, from, notes });
  });
});

describe('places', () => {
  const watermark = (words: string | null, layout: 'centred' | 'repeated') => ({
    ...{ words, layout, height_percent: 6, opacity_percent: 40 },
  });
  const withMark = (
    mark: NonNullable<Profile['watermark']>,
    transfer: string,
    stated: string | null = null,
    size = { width: 640, height: 360 },
  ) =>
    burnInOf({
      ...{ timecode, transfer, names, shown: null, size },
      facts: clipFacts({ burnIn: { camera: null, watermark: stated, timeZone: null } }),
      profile: { name: 'review', burn_in: [], watermark: mark, video },
    });

  test('texts of one place lie one below the other in the order of the profile', () => {
    const decision = decided(
      (['top-left', 'bottom-right'] as const).flatMap((place) =>
        (['clip', 'timecode', 'roll'] as const).map((text) => ({ text, place, height_percent: 4 })),
      ),
      { width: 1280, height: 720 },
    );
    if ('findings' in decision) throw new Error(JSON.stringify(decision.findings));
    const tops = decision.burnIn.map(({ text, box }) => [text, box.top] as const);
    expect(tops.map(([text]) => text)).toEqual(['clip', 'timecode', 'roll', 'clip', 'timecode', 'roll']);
    const [a, b, c, d, e, f] = tops.map(([, top]) => top) as [number, number, number, number, number, number];
    expect([a < b, b < c, c < 360, d > 360, d < e, e < f]).toEqual(Array(6).fill(true));
  });

  test('a watermark in the middle, or five times; as much of it as the profile says, and a darker ground where pictures outshine it', () => {
    const of = (mark: Parameters<typeof withMark>[0], transfer: string) => {
      const decision = withMark(mark, transfer, 'For Ines Alder');
      if ('findings' in decision) throw new Error(JSON.stringify(decision.findings));
      return decision.burnIn;
    };
    const [one, ...none] = of(watermark('For Ines Alder', 'centred'), 'bt709');
    expect([one?.from, one?.look.opacity, one?.look.cover, none]).toEqual([
      'profile',
      { num: 102, den: 255 },
      { num: 102, den: 255 },
      [],
    ]);
    const middle =
      one === undefined ? [] : [one.box.left + one.box.width / 2, one.box.top + one.box.height / 2];
    expect(middle).toEqual([expect.closeTo(320, -1), expect.closeTo(180, -1)]);
    const five = of(watermark(null, 'repeated'), 'pq');
    expect(five.map(({ from, words }) => [from, wordsOf(words, 0)])).toEqual(
      Array(5).fill(['settings', 'For Ines Alder']),
    );
    expect(five[0]?.look).toEqual({
      letters: 143,
      ground: 16,
      cover: { num: 128, den: 255 },
      opacity: { num: 102, den: 255 },
    });
    for (const [at, { box }] of five.entries())
      for (const { box: other } of five.slice(0, at)) expect(overlap(box, other)).toBe(0);
  });

  test.each<[string, ReturnType<typeof watermark>, string | null, string]>([
    ['nobody states words', watermark(null, 'centred'), null, 'watermark-missing'],
    ['blanks', watermark(null, 'centred'), '  ', 'watermark-missing'],
    ['Hebrew', watermark(null, 'centred'), 'עבור דנה', 'burn-in-words-unwritable'],
    ['a line feed', watermark('a\nb', 'centred'), null, 'burn-in-words-unwritable'],
    ['no room', watermark('For Ines Alder '.repeat(5), 'repeated'), null, 'burn-in-no-room'],
  ])('a watermark that cannot be: %s', (_what, mark, stated, code) => {
    const decision = withMark(mark, 'bt709', stated, { width: 320, height: 180 });
    expect('findings' in decision && decision.findings.map((one) => one.code)).toEqual([code]);
  });

  test('a name that loses its end is noted', () => {
    const decision = decided(
      [{ text: 'clip', place: 'bottom-left', height_percent: 10 }],
      { width: 320, height: 180 },
      'A'.repeat(300),
    );
    expect('notes' in decision && decision.notes.map(({ code }) => code)).toEqual(['burn-in-shortened']);
  });
});

/** Published alphabets: Unicode, Greek and Coptic (modern letters); the Russian, Ukrainian and Serbian alphabets. */
test.each([
  ['Greek', 'ΑαΒβΓγΔδΕεΖζΗηΘθΙιΚκΛλΜμΝνΞξΟοΠπΡρΣσςΤτΥυΦφΧχΨψΩωάέήίόύώϊϋΐΰ'],
  ['Cyrillic', 'АаБбВвГгҐґДдЂђЕеЁёЄєЖжЗзЅѕИиІіЇїЙйЈјКкЛлЉљМмНнЊњОоПпРрСсТтЋћУуЎўФфХхЦцЧчЏџШшЩщЪъЫыЬьЭэЮюЯя'],
  ['Vietnamese with one mark', 'ĂăÂâĐđÊêÔôƠơƯưạẹịọụỳỹ'],
])('%s is written as it is', (_script, letters) => {
  expect(writable(letters, burnInFace())).toEqual({ text: letters, escaped: [] });
});

test('the coarser the codec, the larger the smallest letters', () => {
  const of = (quality: number) => {
    const decision = burnInOf({
      ...{ timecode, transfer: 'bt709', names, shown: null, facts: clipFacts() },
      size: { width: 640, height: 200 },
      profile: {
        name: 'review',
        burn_in: [{ text: 'timecode', place: 'top-left', height_percent: 2 }],
        watermark: { words: 'Ines', layout: 'centred', height_percent: 4, opacity_percent: 30 },
        video: { ...video, quality },
      },
    });
    if ('findings' in decision) throw new Error(JSON.stringify(decision.findings));
    return decision.burnIn.map(({ letters }) => letters.size);
  };
  expect([of(18), of(21), of(28), of(35)]).toEqual([
    [8, 18],
    [8, 18],
    [12, 27],
    [16, 36],
  ]);
});
