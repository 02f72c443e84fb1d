/** Names that we give are safe everywhere, and names that would meet somewhere are known. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fsPath } from '../../files/names.ts';
import { collisionKey, collisions, LONGEST_NAME, safeName, withDigest } from '../../files/safe-names.ts';
import { folderName } from '../../ledger/layout.ts';

const anyName = fc.oneof(
  fc.string({ unit: 'grapheme', maxLength: 300 }),
  fc.string({ unit: 'binary', maxLength: 300 }),
  fc.constantFrom('CON', 'aux.mov', 'lpt¹', '.', '..', '', ' ', '-rf', 'e\u0301', '\udcff\udcfe', 'A001 '),
);

/** Characters and names that Windows refuses (Microsoft, "Naming Files, Paths, and Namespaces"), and what POSIX refuses. */
function objections(name: string): string[] {
  return [
    name === '' && 'empty',
    // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
    /[<>:"/\\|?*\u0000-\u001f]/.test(name) && 'a character that is refused',
    /[. ]$/.test(name) && 'a dot or space at its end',
    /^[-. ]/.test(name) && 'a hidden name, an option or a space at its start',
    /^(con|prn|aux|nul|com\d|lpt\d)(\.|$)/i.test(name) && 'a device',
    !name.isWellFormed() && 'not text',
    name !== name.normalize('NFC') && 'not in NFC',
  ].filter((said) => said !== false);
}

describe('a safe name', () => {
  test.each([
    ['10:30', '10_30'],
    ['a/b\\c', 'a_b_c'],
    ['what? "no" <*|>', 'what_ _no_ ____'],
    ['..hidden', '__hidden'],
    ['-leading', '_leading'],
    ['--help', '__help'],
    ['trailing. ', 'trailing__'],
    ['line\nbreak', 'line_break'],
    ['raw\udcff\udcfe', 'raw__'],
    ['turned\u202egnp', 'turned_gnp'],
    ['CON', '_CON'],
    ['com1.take', '_com1.take'],
    ['lpt² .mov', '_lpt² .mov'],
    ['console', 'console'],
    ['e\u0301cole', '\u00e9cole'],
    ['جرس', 'جرس'],
    ['100%d', '100%d'],
    ['', '_'],
  ])('of %j is %j', (name, expected) => {
    expect(safeName(name)).toBe(expected);
  });

  test('is refused nowhere, and safe as it is', () => {
    fc.assert(
      fc.property(anyName, (name) => {
        const safe = safeName(name);
        expect(objections(safe)).toEqual([]);
        expect(safeName(safe)).toBe(safe);
      }),
    );
  });

  test('with a digest is as short as asked and no other name has it', () => {
    fc.assert(
      fc.property(anyName, fc.integer({ min: 20, max: 200 }), (name, most) => {
        const made = withDigest(safeName(name), name, most);
        expect(Buffer.byteLength(made)).toBeLessThanOrEqual(most);
        expect(objections(made)).toEqual([]);
      }),
    );
    const long = 'n'.repeat(251);
    expect(withDigest(long, `${long}a`, 100)).not.toBe(withDigest(long, `${long}b`, 100));
    // One character of a base and a hundred marks: nothing of it fits.
    expect(withDigest(`a${'\u0301'.repeat(100)}`, 'x', 60)).toMatch(/^_-[0-9a-f]{8}$/);
  });
});

describe('the folder of a day or roll', () => {
  test.each(['A001', 'day-03', 'Glocke gießen', '鐘'])('%s keeps its name', (name) => {
    expect(folderName(name)).toBe(name);
  });

  test.each(['AUX', 'day: one', 'A001.', 'n'.repeat(255), '\udcff'])('%j gets one with a digest', (name) => {
    expect(folderName(name)).toMatch(/-[0-9a-f]{8}$/);
  });

  test('is a name that every file system takes, and its own', () => {
    fc.assert(
      fc.property(anyName, (name) => {
        const folder = folderName(name);
        expect(objections(folder)).toEqual([]);
        expect(Buffer.byteLength(folder)).toBeLessThanOrEqual(LONGEST_NAME);
        expect(folderName(folder)).toBe(folder);
        expect(fsPath(folder)).toBe(folder);
      }),
    );
  });
});

describe('names that meet', () => {
  test('the key of a name does not depend on case or normal form', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme' }), (name) => {
        expect(collisionKey(name.normalize('NFD'))).toBe(collisionKey(name.normalize('NFC')));
        expect(collisionKey(name.normalize('NFC').toUpperCase())).toBe(collisionKey(name));
      }),
    );
  });

  test('are found in groups, those that meet nothing left out', () => {
    const names = ['straße', 'A001', 'STRASSE', 'e\u0301', 'B001', 'a001', '\u00c9', 'A001'];
    expect(collisions(names, (name) => name)).toEqual([
      ['straße', 'STRASSE'],
      ['A001', 'a001', 'A001'],
      ['e\u0301', '\u00c9'],
    ]);
  });
});
