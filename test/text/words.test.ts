/** The words that a frame must show, and whether they can be read. Labels typed by hand, after SMPTE ST 12-1. */
import { describe, expect, test } from 'vitest';
import { parseTimecode } from '../../media/time/timecode.ts';
import { contrastRatio, LettersAndGround } from '../../proof/text/contrast.ts';
import { wordsOf } from '../../proof/text/words.ts';

describe('labels', () => {
  test.each<[start: string, base: number, frame: number, label: string]>([
    ['00:00:59;29', 30, 1, '00:01:00;02'],
    ['00:09:59;29', 30, 1, '00:10:00;00'],
    ['00:08:59;59', 60, 1, '00:09:00;04'],
    ['23:59:59:23', 24, 1, '00:00:00:00'],
    ['23:59:59;29', 30, 2, '00:00:00;01'],
    ['00:00:00:00', 24, -1, '23:59:59:23'],
    // As long in every frame: two digits, or as many as the highest number needs.
    ['00:00:00:99', 100, 1, '00:00:01:00'],
    ['00:00:00:09', 120, 0, '00:00:00:009'],
    ['00:00:00:119', 120, 1, '00:00:01:000'],
    ['00:00:00:09', 10, 1, '00:00:01:00'],
  ])('%s at %i, %i frames on: %s', (start, base, frame, label) => {
    expect(wordsOf({ kind: 'timecode', start: parseTimecode(start, base) }, frame)).toBe(label);
  });

  test.each([
    [0, 4, 0, '0000'],
    [0, 4, 9999, '9999'],
    [1001, 6, 23, '001024'],
    // Of a frame before the first, which no frame is: what a label that is late would show.
    [0, 4, -1, '9999'],
  ])('number %i of %i digits, %i frames on: %s', (start, digits, frame, number) => {
    expect(wordsOf({ kind: 'frame', start, each: 1, digits }, frame)).toBe(number);
  });

  test('a name is the same in every frame', () => {
    expect(wordsOf({ kind: 'same', text: 'A001C001' }, 7)).toBe('A001C001');
  });
});

describe('contrast', () => {
  // W3C WCAG 2.2, "contrast ratio": black on white 21, a colour on itself 1.
  test.each<[one: number, other: number, ratio: number]>([
    [235, 16, 21],
    [16, 235, 21],
    [120, 120, 1],
    [255, 235, 1],
  ])('%i on %i', (one, other, ratio) => {
    expect(contrastRatio(one, other, 'bt709')).toBeCloseTo(ratio, 6);
  });

  test('letters and ground are found from parts of letters alone', () => {
    const covered = [0, 0.25, 0.5, 0.75, 0];
    const codesOf = (values: readonly number[], parts: readonly number[]) => {
      const fit = new LettersAndGround();
      for (const [index, part] of parts.entries()) fit.add(values[index] as number, part);
      return fit.codes();
    };
    expect(
      codesOf(
        covered.map((part) => 40 + 160 * part),
        covered,
      ),
    ).toEqual({ letters: expect.closeTo(200, 9), ground: expect.closeTo(40, 9) });
    expect(codesOf([1, 2, 3], [0, 0, 0])).toBeNull();
  });
});
