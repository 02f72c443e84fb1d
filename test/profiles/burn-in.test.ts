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
  text: fc.constantFrom(...burnInTexts),
  height_percent: fc.integer({ min: 2, max: 20 }),
});
const items = fc
  .shuffledSubarray([...burnInPlaces], { minLength: 1 })
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
