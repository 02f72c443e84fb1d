import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { findClips } from '../../coordinator/survey/index.ts';
import { clipIds } from '../../coordinator/survey/identity.ts';
import { contentDigest } from '../../ledger/content-digest.ts';
import { collisionKey } from '../../files/safe-names.ts';
import { movieExtensions } from '../../coordinator/survey/kinds.ts';
import { blocks } from '../../findings/finding.ts';
import { filesOfPlace } from '../../ledger/clip.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { nameFromBytes } from '../../files/names.ts';

const file = (path: string, bytes = 1000, checksum = `of ${path}`): RollFile => ({
  path,
  bytes,
  hashes: { xxh128: checksum },
});
const files = (...paths: string[]): RollFile[] => paths.map((path) => file(path));
const options = { statedRate: null, ignore: [] };
const frames = (folder: string, numbers: readonly number[], bytes = 1000): RollFile[] =>
  numbers.map((number) => file(`${folder}/bell.${String(number).padStart(4, '0')}.dpx`, bytes));

describe('which files are clips', () => {
  test.each(movieExtensions)('movies ending in %s, in capitals as well', (extension) => {
    const found = findClips(
      files(`A001C001.${extension}`, `sub/A001C002.${extension.toUpperCase()}`),
      options,
    );
    expect(found.clips.map(({ id, place }) => [id, place.kind])).toEqual([
      ['A001C001', 'movie'],
      ['A001C002', 'movie'],
    ]);
    expect(found).toMatchObject({ others: [], findings: [] });
  });

  test('sidecars, audio, grades, checksums and what systems leave behind stand beside', () => {
    const beside = [
      'A001C001.xml',
      'A001C001.wav',
      'look.cube',
      'look.cdl',
      'notes.txt',
      'still.jpg',
      'A001.mhl',
      'ascmhl/0001_A001_2031-03-04_050607Z.mhl',
      'ascmhl/chain',
      'MD5SUMS',
      'roll.xxh128',
      '.DS_Store',
      '._A001C001.mov',
    ];
    const found = findClips(files('A001C001.mov', ...beside), options);
    expect(found.clips).toHaveLength(1);
    expect(found.others).toEqual([...beside].sort());
    expect(found.findings).toEqual([]);
  });

  test.each(['A001C001.rawclip', 'noextension', '.mov', 'A001C002.mov.part', 'slate.dpx', 'A001C001.'])(
    '%j is reported, holds, and is among the others',
    (path) => {
      const found = findClips(files('A001C001.mov', path), options);
      expect(found.clips.map(({ id }) => id)).toEqual(['A001C001']);
      expect(found.findings.map(({ code, file: about }) => [code, about])).toEqual([
        ['file-unrecognised', path],
      ]);
      expect(found.findings.every(blocks)).toBe(true);
      expect(found.others).toEqual([path]);
    },
  );

  test('what an operating system leaves is no riddle, alone or not', () => {
    const left = ['._lonely.mov', '.Spotlight-V100/store.db', '$RECYCLE.BIN/desktop.ini', '.directory'];
    const found = findClips(files('A001C001.mov', ...left), options);
    expect(found.findings).toEqual([]);
    expect(found.others).toEqual([...left].sort());
  });

  const movie = { kind: 'movie', form: 'Matroska' } as const;
  test.each(['A001C002', 'A001C002.txt', 'A001C002.xyz'])(
    '%s is a clip when its first bytes are a movie',
    (path) => {
      const found = findClips(files('A001C001.mov', path), {
        ...options,
        contents: new Map([[path, movie]]),
      });
      expect(found.clips.map(({ name }) => name)).toEqual(['A001C001', 'A001C002']);
      expect(found).toMatchObject({ others: [], findings: [] });
    },
  );

  test('a second movie of the same name that is one by its bytes alone is one finding, and spoils no clip', () => {
    const found = findClips(files('A001C001.mov', 'A001C001.lrv'), {
      ...options,
      contents: new Map([['A001C001.lrv', movie]]),
    });
    expect(found.clips.map(({ name }) => name)).toEqual(['A001C001']);
    expect(found.findings).toMatchObject([
      {
        code: 'file-unrecognised',
        file: 'A001C001.lrv',
        found: 'A001C001.lrv, 1000 bytes, Matroska by its first bytes',
      },
    ]);
  });

  test('a movie behind the name of a companion file is reported, and is no clip', () => {
    const found = findClips(files('A001C001.mov', '._A001C001.mov'), {
      ...options,
      contents: new Map([['._A001C001.mov', movie]]),
    });
    expect(found.clips).toHaveLength(1);
    expect(found.findings).toMatchObject([{ code: 'file-unrecognised', file: '._A001C001.mov' }]);
  });

  test('frames that no reader takes for their name are one finding for all of a clip', () => {
    const frame = { kind: 'frame', form: 'OpenEXR' } as const;
    const paths = [1, 2, 3].map((number) => `A001C002/bell.000${number}`);
    const found = findClips(files('A001C001.mov', ...paths), {
      ...options,
      contents: new Map(paths.map((path) => [path, frame])),
    });
    expect(found.clips.map(({ name }) => name)).toEqual(['A001C001']);
    expect(found.findings).toMatchObject([
      {
        code: 'file-unrecognised',
        file: 'A001C002/bell.0001',
        found:
          'bell.0001, 1000 bytes, OpenEXR by its first bytes, and 2 more that differ from it in their number',
      },
    ]);
    expect(found.others).toEqual(paths);
  });

  test('media that patterns take out are a note with their number and the first pattern', () => {
    const found = findClips(
      files('A001C001.mov', 'TEST/A001C000.mov', 'TEST/f.0001.dpx', 'TEST/x.txt', 'odd'),
      {
        statedRate: null,
        ignore: ['*.txt', 'TEST/', 'odd'],
        contents: new Map([['odd', movie]]),
      },
    );
    expect(found.findings).toEqual([
      {
        code: 'files-ignored',
        file: 'TEST/A001C000.mov',
        found: '3 movie or frame files, the first TEST/A001C000.mov by the pattern TEST/',
        expected: 'no clip among them',
      },
    ]);
    expect(found.findings.some(blocks)).toBe(false);
    const text = findClips(files('A001C001.mov', 'x.txt'), { statedRate: null, ignore: ['*.txt'] });
    expect(text.findings).toEqual([]);
  });

  test('patterns take files out, and only those', () => {
    const found = findClips(files('A001C001.mov', 'TEST/A001C000.mov', 'x.rawclip', 'X.RAWCLIP'), {
      statedRate: null,
      ignore: ['TEST/', '*.rawclip'],
    });
    expect(found.clips.map(({ id }) => id)).toEqual(['A001C001']);
    expect(found.others).toEqual(['TEST/A001C000.mov', 'X.RAWCLIP', 'x.rawclip']);
    expect(found.findings.filter(blocks).map(({ file: about }) => about)).toEqual(['X.RAWCLIP']);
  });

  test('an empty roll has nothing', () => {
    expect(findClips([], options)).toEqual({ clips: [], sounds: [], others: [], findings: [] });
  });

  test('whatever the names, every file is in exactly one place', () => {
    const part = fc.constantFrom('a', 'b.', 'A001_', 'x-', '._', '');
    const end = fc.constantFrom('.mov', '.dpx', '.exr', '.txt', '.rawclip', '');
    const name = fc
      .tuple(
        fc.constantFrom('', 'one/', 'two/'),
        part,
        fc.constantFrom('1', '2', '3', '5', '01', '02', '0005', ''),
        end,
      )
      .map((all) => all.join(''));
    fc.assert(
      fc.property(
        fc.uniqueArray(
          name.filter((path) => !path.endsWith('/') && path !== ''),
          { maxLength: 30 },
        ),
        (paths) => {
          const found = findClips(files(...paths), options);
          const inClips = found.clips.flatMap(({ place }) =>
            place.kind !== 'sequence'
              ? filesOfPlace(place)
              : Array.from(
                  { length: place.count },
                  (_, index) =>
                    `${place.folder === '' ? '' : `${place.folder}/`}${place.prefix}${String(place.first + index).padStart(place.padding, '0')}${place.suffix}`,
                ),
          );
          expect([...inClips, ...found.others].sort()).toEqual([...paths].sort());
        },
      ),
    );
  });
});

describe('sequences', () => {
  test('a folder of frames is one clip with its place and size', () => {
    const found = findClips(frames('A001C003', [86400, 86401, 86402]), {
      statedRate: { num: 24, den: 1 },
      ignore: [],
    });
    expect(found.findings).toEqual([]);
    expect(found.clips).toEqual([
      {
        id: 'bell',
        name: 'bell',
        place: {
          kind: 'sequence',
          folder: 'A001C003',
          prefix: 'bell.',
          suffix: '.dpx',
          padding: 5,
          first: 86400,
          count: 3,
          statedRate: { num: 24, den: 1 },
        },
        bytes: 3000,
        contentDigest: expect.stringMatching(/^[0-9a-f]{64}$/),
      },
    ]);
  });

  test('frames without a name are called after their folder', () => {
    expect(findClips(files('day/A001C004/0001.exr', 'day/A001C004/0002.exr'), options).clips[0]?.id).toBe(
      'A001C004',
    );
  });

  test('frames of the same prefix in several folders are called after their folders', () => {
    const found = findClips([...frames('A001C005', [1, 2]), ...frames('A001C006', [1, 2])], options);
    expect(found.clips.map(({ id, name }) => [id, name])).toEqual([
      ['A001C005', 'A001C005'],
      ['A001C006', 'A001C006'],
    ]);
  });

  test.each<[what: string, roll: RollFile[], code: string, found: RegExp]>([
    ['a gap', frames('c', [1, 2, 5, 6, 9]), 'sequence-gap', /^4 numbers are missing: 3 to 4, 7 to 8$/],
    ['one number missing', frames('c', [1, 3]), 'sequence-gap', /^1 number is missing: 2$/],
    [
      'a number twice',
      [...frames('c', [1, 2]), file('c/bell.1.dpx')],
      'sequence-duplicate',
      /2 files with number 1: bell\.0001\.dpx, bell\.1\.dpx/,
    ],
    [
      'numbers of two forms',
      [...frames('c', [1, 2]), file('c/bell.3.dpx')],
      'sequence-numbering-mixed',
      /1 file is numbered differently.*bell\.3\.dpx/,
    ],
    [
      'a foreign still',
      [...frames('c', [1, 2]), file('c/gong.0001.dpx')],
      'sequence-foreign-file',
      /gong\.0001\.dpx/,
    ],
    [
      'an unnumbered still',
      [...frames('c', [1, 2]), file('c/slate.dpx')],
      'sequence-foreign-file',
      /slate\.dpx/,
    ],
    [
      'a foreign file',
      [...frames('c', [1, 2]), file('c/bell.0001.dpx.part')],
      'sequence-foreign-file',
      /part/,
    ],
    [
      'frames of two sizes',
      [...frames('c', [1, 2, 3]), ...frames('c', [4], 900)],
      'sequence-sizes-differ',
      /^3 of 1000 bytes, 1 of 900 bytes$/,
    ],
  ])('%s holds', (_what, roll, code, text) => {
    const found = findClips(roll, options);
    expect(found.findings.map((item) => item.code)).toEqual([code]);
    expect(found.findings[0]?.found).toMatch(text);
    expect(found.findings.every(blocks)).toBe(true);
    expect(found.clips.map(({ id }) => id)).toEqual(['bell']);
  });

  test('sidecars and audio may lie among frames; compressed frames may differ in size', () => {
    const roll = [file('c/f.0001.exr', 10), file('c/f.0002.exr', 20), file('c/f.xml'), file('c/f.wav')];
    expect(findClips(roll, options).findings).toEqual([]);
  });

  test('two sequences in one folder are two clips', () => {
    const roll = files('c/left.0001.dpx', 'c/left.0002.dpx', 'c/right.0001.dpx', 'c/right.0002.dpx');
    expect(findClips(roll, options)).toMatchObject({
      clips: [{ id: 'left' }, { id: 'right' }],
      findings: [],
    });
  });
});

describe('ids', () => {
  const ids = (...paths: string[]): string[] => findClips(files(...paths), options).clips.map(({ id }) => id);

  test('plain names are kept, letters of every script in normal form too', () => {
    expect(ids('A001_C001.mov', 'Glocke gießen.mov', 'e\u0301tude.mov', '鐘.mov')).toEqual([
      'A001_C001',
      'Glocke gießen',
      '\u00e9tude',
      '鐘',
    ]);
  });

  test.each([
    ['a/b:c.mov'.replace('/', '_'), /^a_b_c-[0-9a-f]{8}$/],
    ['what?*<>|".mov', /^what______-[0-9a-f]{8}$/],
    ['50%d.mov', /^50_d-[0-9a-f]{8}$/],
    ['back\\slash.mov', /^back_slash-[0-9a-f]{8}$/],
    ['-rf.mov', /^_rf-[0-9a-f]{8}$/],
    ['line\nbreak.mov', /^line_break-[0-9a-f]{8}$/],
    ['\u202egnol.mov', /^_gnol-[0-9a-f]{8}$/],
    ['trailing dot..mov', /^trailing dot_-[0-9a-f]{8}$/],
    ['CON.mov', /^_CON-[0-9a-f]{8}$/],
    ['com1.take2.mov', /^_com1\.take2-[0-9a-f]{8}$/],
    [nameFromBytes(Buffer.from([0x62, 0xe9, 0x6c, 0x2e, 0x6d, 0x6f, 0x76])), /^b_l-[0-9a-f]{8}$/],
  ])('%j becomes safe', (path, pattern) => {
    expect(ids(path)[0]).toMatch(pattern);
  });

  test('long names are cut between characters to 120 bytes', () => {
    const [id] = ids(`${'鐘'.repeat(83)}.mov`);
    expect(Buffer.byteLength(id as string)).toBeLessThanOrEqual(120);
    expect(id).toMatch(/^鐘{37}-[0-9a-f]{8}$/);
  });

  test.each([
    [['left/same.mov', 'right/same.mov']],
    [['same.mov', 'same.mxf']],
    [['Same.mov', 'sAME.mov']],
    [['\u00e9.mov', 'e\u0301.mov']],
    [['straße.mov', 'STRASSE.mov']],
  ])('%j get different ids, none the bare name', (paths) => {
    const found = ids(...paths);
    expect(new Set(found.map(collisionKey)).size).toBe(2);
    for (const id of found) expect(id).toMatch(/-[0-9a-f]{8}$/);
  });

  test('ids do not depend on the order of the list', () => {
    const paths = ['b/x.mov', 'a/x.mov', 'c.mov', 'A/X.mov'];
    expect(ids(...paths)).toEqual(ids(...[...paths].reverse()));
  });

  test('whatever the names: safe, short, unique where case and form do not count', () => {
    const character = fc.oneof(
      fc.constantFrom('a', 'A', '.', '-', ' ', '%', ':', '\n', '\udcff', 'é', 'e\u0301', '\u202e', '*'),
      fc.string({ unit: 'grapheme', minLength: 1, maxLength: 1 }),
    );
    const name = fc.array(character, { minLength: 1, maxLength: 60 }).map((parts) => parts.join(''));
    fc.assert(
      fc.property(fc.array(name, { minLength: 1, maxLength: 12 }), (names) => {
        const made = clipIds(names.map((one, index) => ({ name: one, path: `${index}/${one}` })));
        expect(new Set(made.map(collisionKey)).size).toBe(made.length);
        for (const id of made) {
          expect(Buffer.byteLength(id)).toBeLessThanOrEqual(120);
          expect(id).toMatch(/^[^<>:"/\\|?*%\p{C}]+$/u);
          expect(id).not.toMatch(/^[-. ]|[. ]$/);
          expect(id).toBe(id.normalize('NFC'));
        }
      }),
    );
  });
});

describe('content digests', () => {
  const clip = [file('a/f.0001.dpx', 10, 'aa'), file('a/f.0002.dpx', 20, 'bb')];

  test('equal content gives equal digests in any order', () => {
    expect(contentDigest(clip)).toBe(contentDigest([...clip].reverse()));
  });

  test.each<[what: string, changed: RollFile]>([
    ['a checksum', file('a/f.0002.dpx', 20, 'bc')],
    ['a size', file('a/f.0002.dpx', 21, 'bb')],
    ['a path', file('b/f.0002.dpx', 20, 'bb')],
  ])('%s changes it', (_what, changed) => {
    expect(contentDigest([clip[0] as RollFile, changed])).not.toBe(contentDigest(clip));
  });

  test('a manifest in one more algorithm does not change it', () => {
    const also = clip.map((one) => ({ ...one, hashes: { ...one.hashes, md5: '0123' } }));
    expect(contentDigest(also)).toBe(contentDigest(clip));
  });

  test('a file that nobody read has none', () => {
    expect(() => findClips([{ path: 'a.mov', bytes: 1, hashes: {} }], options)).toThrow(RangeError);
  });
});
