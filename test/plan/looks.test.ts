/** How pictures are to look, by the settings: every slip with its line, the nearest level, and which CDL of the show is which clip's. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { understand } from '../../coordinator/settings/interpret.ts';
import { settingsOfDay } from '../../coordinator/roll/shared-names.ts';
import { cdlListing, type CdlList, cdlOfMatch, matchCdl } from '../../coordinator/settings/match-cdls.ts';
import { noSettings, readSettings, type Settings } from '../../coordinator/settings/read.ts';
import { unmatchedFindings } from '../../coordinator/settings/unmatched.ts';
import { cdlsText } from '../../coordinator/show/cdls-text.ts';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { cdlsOf } from '../../media/colour/cdl-file.ts';
import { colourWaySchema } from '../../media/colour/way.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { clfSteps } from '../../media/colour/clf.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { clipFacts } from '../support/facts.ts';
import { freshFolder } from '../support/folder.ts';

const correction = (id: string, saturation: number, slope = '1 1 1'): string =>
  `<ColorCorrection id="${id}"><SOPNode><Slope>${slope}</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode><SatNode><Saturation>${saturation}</Saturation></SatNode></ColorCorrection>`;
const ccc = (...corrections: string[]): string =>
  `<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.01">${corrections.join('')}</ColorCorrectionCollection>`;
const table = (lines = 8, head = ''): string => `${head}LUT_3D_SIZE 2\n${'0.5 0.5 0.5\n'.repeat(lines)}`;
const clf =
  '<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="bell" compCLFversion="3.0"><Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 3">2 0 0 0 2 0 0 0 2</Array></Matrix></ProcessList>';
const files: Readonly<Record<string, string>> = {
  'day.ccc': ccc(correction('A001C001', 0.5), correction('A001C002', 0.6)),
  'broken.ccc': ccc(correction('a', 1)).slice(0, -10),
  'negative.cc': correction('a', 1, '-1 1 1'),
  'show.cube': table(),
  'short.cube': table(7),
  'linear.cube': table(8, 'DOMAIN_MAX 16 16 16\n'),
  'double.clf': clf,
  'text.clf': 'no look',
};

async function settings(text: string): Promise<Settings> {
  const folder = freshFolder('looks');
  for (const [name, content] of Object.entries(files)) writeFileSync(join(folder, name), content);
  mkdirSync(join(folder, 'empty'));
  writeFileSync(join(folder, 'show.yaml'), `version: 1\n${text}`);
  return await readSettings(join(folder, 'show.yaml'));
}
async function refused(text: string): Promise<readonly Finding[]> {
  try {
    await settings(text);
  } catch (error) {
    if (error instanceof FindingError) return error.findings;
    throw error;
  }
  return [];
}

describe('what is wrong with a look is refused with its line', () => {
  test.each([
    ['more stops than there are', 'show:\n  exposure: 11', 'settings-value-wrong', 3, /settings.md/],
    [
      'a negative slope',
      'show:\n  cdl:\n    slope: [-1, 1, 1]',
      'settings-value-wrong',
      4,
      /0 or more \(ASC CDL\)/,
    ],
    [
      'a power of 0',
      'show:\n  cdl:\n    power: [1, 0, 1]',
      'settings-value-wrong',
      4,
      /more than 0 \(ASC CDL\)/,
    ],
    ['a CDL without numbers', 'show:\n  cdl: { space: acescct }', 'settings-value-wrong', 3, /slope, offset/],
    [
      'numbers beside a file',
      'show:\n  cdl:\n    file: day.ccc\n    saturation: 1',
      'settings-value-wrong',
      5,
      /not both/,
    ],
    [
      'a space that nobody has',
      'show:\n  cdl:\n    saturation: 1\n    space: bt709',
      'settings-value-wrong',
      5,
      /./,
    ],
    [
      'a file of another kind',
      'show:\n  cdl:\n    file: day.txt',
      'settings-value-wrong',
      4,
      /\.cdl, \.cc or \.ccc/,
    ],
    ['a file that is not there', 'show:\n  cdl:\n    file: none.ccc', 'cdl-refused', 4, /./],
    ['broken XML', 'show:\n  cdl:\n    file: broken.ccc', 'cdl-refused', 4, /XML/],
    ['a file with a negative slope', 'show:\n  cdl:\n    file: negative.cc', 'cdl-refused', 4, /0 or more/],
    [
      'several corrections and no id',
      'show:\n  cdl:\n    file: day.ccc',
      'cdl-refused',
      3,
      /A001C001, A001C002/,
    ],
    [
      'an id that is not in the file',
      'show:\n  cdl:\n    file: day.ccc\n    id: A001C003',
      'cdl-refused',
      5,
      /A001C001/,
    ],
    [
      'a LUT of another kind',
      'show:\n  look:\n    file: show.3dl\n    from: acescct\n    to: acescct',
      'settings-value-wrong',
      4,
      /\.cube or \.clf/,
    ],
    [
      'a .cube file that is said to take linear values',
      'show:\n  look:\n    file: show.cube\n    from: acescg\n    to: acescct',
      'settings-value-wrong',
      5,
      /log space/,
    ],
    [
      'a .cube file whose domain is of linear values',
      'show:\n  look:\n    file: linear.cube\n    from: acescct\n    to: acescct',
      'look-refused',
      4,
      /log codes/,
    ],
    [
      'a .cube file without its last row',
      'show:\n  look:\n    file: short.cube\n    from: acescct\n    to: srgb',
      'look-refused',
      4,
      /8 rows/,
    ],
    [
      'a .clf file that is none',
      'show:\n  look:\n    file: text.clf\n    from: acescct\n    to: srgb',
      'look-refused',
      4,
      /./,
    ],
    [
      'a look that takes what a display shows',
      'show:\n  look:\n    file: show.cube\n    from: srgb\n    to: srgb',
      'settings-value-wrong',
      5,
      /./,
    ],
    [
      'a look that is read between its places, of a .clf file',
      'show:\n  look:\n    file: double.clf\n    from: acescg\n    to: acescg\n    interpolation: trilinear',
      'settings-value-wrong',
      7,
      /itself/,
    ],
    ['another output', 'show:\n  output: film', 'settings-value-wrong', 3, /./],
    ['a folder without CDLs', 'show:\n  cdls:\n    path: empty', 'cdl-refused', 4, /\.edl/],
    ['a damaged file among the CDLs', 'show:\n  cdls:\n    path: broken.ccc', 'cdl-refused', 4, /XML/],
    [
      'CDLs of a camera',
      'cameras:\n  - name: A\n    known_by: { rolls: [A*] }\n    cdls: { path: day.ccc }',
      'settings-value-wrong',
      5,
      /./,
    ],
    [
      'a look of a clip',
      'rolls:\n  A001:\n    clips:\n      A001C001:\n        look:\n          file: short.cube\n          from: acescct\n          to: srgb',
      'look-refused',
      7,
      /8 rows/,
    ],
  ])('%s', async (_, text, code, line, expected) => {
    const found = await refused(`${text}\n`);
    expect(found.map((item) => [item.code, item.line])).toEqual([[code, line]]);
    expect(found[0]?.expected).toMatch(expected);
  });
});

const clip = (name: string, facts: ClipFacts = clipFacts()) => ({
  roll: 'A001',
  clip: { id: name, name },
  facts,
});
async function understood(text: string, name = 'A001C001', facts?: ClipFacts) {
  const { file } = await settings(text);
  const { roll, facts: seen, ...one } = clip(name, facts);
  const said = understand(seen, { roll, ...one }, file, { profiles: [], stated: null, usual: [], stills: 0 });
  return {
    way: said.facts?.way,
    from: Object.fromEntries(
      said.settings.applied.map(({ setting, value, from }) => [setting, [value, from]]),
    ),
    findings: said.findings.map(({ code }) => code),
  };
}

describe('the way of a clip', () => {
  test('of each part the nearest level counts, and a nearer `none` takes a look away', async () => {
    const text = `show:
  exposure: 1
  look: { file: show.cube, from: acescct, to: bt1886-bt709 }
  cdl: { file: day.ccc, id: A001C002, space: logc3-awg3 }
rolls:
  A001:
    exposure: -0.5
    look: none
    clips: { A001C001: { output: aces-1, gamut_compression: true } }
`;
    const { way, from, findings } = await understood(text);
    expect(colourWaySchema.parse(way)).toEqual({
      exposure: -0.5,
      gamutCompression: true,
      cdl: {
        values: { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1], saturation: 0.6 },
        space: 'logc3-awg3',
        from: { file: 'day.ccc', id: 'A001C002', sha256: expect.stringMatching(/^[0-9a-f]{64}$/) },
      },
      look: null,
      output: 'aces-1',
    });
    expect(from).toMatchObject({
      exposure: ['-0.5 stops', 'roll'],
      gamut_compression: ['true', 'clip'],
      look: ['none', 'roll'],
      output: ['aces-1', 'clip'],
      cdl: [expect.stringContaining('A001C002 of day.ccc'), 'show'],
    });
    expect(findings).toEqual([]);
    expect((await understood(text, 'A001C002')).way).toMatchObject({ output: 'aces-2' });
  });

  test('nobody says anything: there is none, and nothing is said of it', async () => {
    expect(await understood('show: { owner: x }')).toMatchObject({
      way: undefined,
      from: { profiles: ['', 'nobody'] },
    });
  });

  test('pictures as they were recorded have no look; one that is stated all the same is held', async () => {
    expect((await understood('show: { output: as-recorded }')).findings).toEqual([]);
    expect((await understood('show: { output: as-recorded, exposure: 1 }')).findings).toEqual([
      'look-not-shown',
    ]);
    const nearer = 'show: { exposure: 1 }\nrolls: { A001: { output: as-recorded, exposure: 0 } }';
    expect((await understood(nearer)).findings).toEqual([]);
  });

  test('a look is kept as it is, and as a file between ACES2065-1 and where it ends', async () => {
    const { file, transforms } = await settings(
      'show: { look: { file: double.clf, from: acescg, to: acescg } }',
    );
    const look = file.show?.look;
    if (look === undefined || look === 'none') throw new Error('no look');
    expect(transforms.get(look.sha256)?.text).toBe(clf);
    // Twice of what is there, in any linear space.
    const steps = clfSteps(Buffer.from(transforms.get(look.aces)?.text ?? ''));
    for (const [index, value] of evaluate({ steps }, 0.18, -0.1, 7).entries())
      expect(value).toBeCloseTo(2 * ([0.18, -0.1, 7][index] as number), 9);
  });
});

describe('CDLs of many clips', () => {
  const listOf = (name: string, text: string): CdlList => ({
    path: name,
    space: 'acescct',
    entries: cdlsOf(name, Buffer.from(text)).map((one) => ({ ...one, file: name, sha256: '0'.repeat(64) })),
  });
  const at = (start: string, frames: number, reel: string | null = 'A001R1AB'): ClipFacts => {
    const facts = clipFacts();
    return { ...facts, reel, timecode: parseTimecode(start, 24), video: { ...facts.video, frames } };
  };
  const event = (reel: string, from: string, to: string, name?: string): string =>
    `001  ${reel} V C ${from} ${to} 01:00:00:00 01:00:01:00\n${name === undefined ? '' : `* FROM CLIP NAME: ${name}\n`}* ASC_SAT 0.5\n`;
  const inside = event('A001R1AB', '10:00:00:12', '10:00:01:00');

  test.each([
    ['its name', listOf('a.ccc', ccc(correction('a001c001', 0.5))), 'clip name'],
    ['its name, with an ending', listOf('a.ccc', ccc(correction('A001C001.mov', 0.5))), 'clip name'],
    ['its name below its roll', listOf('a.ccc', ccc(correction('A001/A001C001', 0.5))), 'clip name'],
    ['its name below another roll', listOf('a.ccc', ccc(correction('B001/A001C001', 0.5))), null],
    ['the beginning of its name', listOf('a.ccc', ccc(correction('A001C0', 0.5))), null],
    [
      'the name of the file that has one correction',
      listOf('A001C001.cc', correction('x', 0.5)),
      'clip name',
    ],
    [
      'the name in an edit',
      listOf('a.edl', event('AX', '10:00:00:12', '10:00:01:00', 'A001C001.MOV')),
      'clip name',
    ],
    [
      'the name in an edit of another time',
      listOf('a.edl', event('AX', '11:00:00:00', '11:00:01:00', 'A001C001')),
      null,
    ],
    ['reel and timecode', listOf('a.edl', inside), 'reel and timecode'],
    [
      'reel and timecode that reach into it',
      listOf('a.edl', event('A001R1AB', '09:59:59:00', '10:00:00:01')),
      'reel and timecode',
    ],
    [
      'timecode that ends where it begins',
      listOf('a.edl', event('A001R1AB', '09:59:59:00', '10:00:00:00')),
      null,
    ],
    [
      'timecode that begins where it ends',
      listOf('a.edl', event('A001R1AB', '10:00:02:00', '10:00:03:00')),
      null,
    ],
    ['timecode of another reel', listOf('a.edl', event('B001R1AB', '10:00:00:12', '10:00:01:00')), null],
    ['its reel', listOf('a.ccc', ccc(correction('A001R1AB', 0.5))), 'reel'],
  ])('one is matched by %s', (_, list, rule) => {
    expect(
      matchCdl(list, { roll: 'A001', name: 'A001C001', facts: at('10:00:00:00', 48) })?.rule ?? null,
    ).toBe(rule);
  });

  test('a reel of an edit list that is cut to eight letters is the longer one; an unmeasured clip goes by its name', () => {
    const list = listOf('a.edl', inside);
    const facts = at('10:00:00:00', 48, 'A001R1AB_251130');
    expect(matchCdl(list, { roll: 'A001', name: 'x', facts })?.rule).toBe('reel and timecode');
    expect(matchCdl(list, { roll: 'A001', name: 'x', facts: null })).toBeNull();
    const named = listOf('a.ccc', ccc(correction('x', 0.5)));
    expect(matchCdl(named, { roll: 'A001', name: 'x', facts: null })?.rule).toBe('clip name');
  });

  test('a clip past midnight is found behind it', () => {
    const list = listOf('a.edl', event('A001R1AB', '23:59:59:12', '00:00:00:12'));
    expect(matchCdl(list, { roll: 'A001', name: 'x', facts: at('23:59:59:00', 48) })?.rule).toBe(
      'reel and timecode',
    );
  });

  test('what of it counts: the clip itself, then the match, then roll and show', async () => {
    const text = (more: string): string =>
      `show:\n  cdls: { path: day.ccc }\n  cdl: { saturation: 0.1 }\nrolls: { A001: { cdl: { saturation: 0.2 }${more} } }\n`;
    const saturation = async (more: string, name: string) => {
      const { way, from } = await understood(text(more), name);
      return [way?.cdl?.values.saturation, (from.cdl as string[] | undefined)?.[1]];
    };
    expect(await saturation('', 'A001C001')).toEqual([0.5, 'cdls']);
    expect(await saturation('', 'A001C009')).toEqual([0.2, 'roll']);
    expect(await saturation(', clips: { A001C001: { cdl: { saturation: 0.3 } } }', 'A001C001')).toEqual([
      0.3,
      'clip',
    ]);
    expect(await saturation(', clips: { A001C001: { cdl: none } }', 'A001C001')).toEqual([undefined, 'clip']);
  });

  test('two of a clip with other numbers hold it; of the same numbers they are one', () => {
    const file = (list: CdlList) => ({ version: 1 as const, show: { cdls: list } });
    const found = (list: CdlList) => {
      const { roll, facts, ...one } = clip('A001C001');
      const said = understand(facts, { roll, ...one }, file(list), {
        profiles: [],
        stated: null,
        usual: [],
        stills: 0,
      });
      return [said.findings.map(({ code }) => code), said.facts?.way?.cdl?.values.saturation];
    };
    const two = (other: number): CdlList =>
      listOf('a.ccc', ccc(correction('A001C001', 0.5), correction('A001/A001C001', other)));
    expect(found(two(0.6))).toEqual([['cdl-ambiguous'], undefined]);
    expect(found(two(0.5))).toEqual([[], 0.5]);
  });

  test('a name that clips of several rolls have is nobody\u2019s alone; with its roll or in its time it is', () => {
    const held = (list: CdlList, facts = at('10:00:00:00', 48)): readonly [string, boolean] | null => {
      const match = matchCdl({ ...list, shared: new Set(['c0001']) }, { roll: 'A001', name: 'C0001', facts });
      return match === null ? null : [match.rule, cdlOfMatch(list, match) === null];
    };
    expect(held(listOf('a.ccc', ccc(correction('C0001', 0.5))))).toEqual(['clip name', true]);
    expect(held(listOf('a.ccc', ccc(correction('A001/C0001', 0.5))))).toEqual(['clip name', false]);
    expect(held(listOf('a.edl', event('AX', '10:00:00:12', '10:00:01:00', 'C0001')))).toEqual([
      'clip name',
      false,
    ]);
  });

  test('names of several rolls are found by those of their files and folders', async () => {
    const folder = freshFolder('rolls');
    const rolls = ['A001', 'B001'].map((name) => ({ name, folder: join(folder, name) }));
    for (const [roll, path] of [
      ['A001', 'CLIP/C0001.MP4'],
      ['B001', 'CLIP/c0001.mov'],
      ['A001', 'X/F_000001.dng'],
      ['B001', 'Y/F_000009.dng'],
      ['A001', 'Only.mov'],
      ['B001', 'note.txt'],
      ['A001', 'note.txt'],
    ] as const) {
      mkdirSync(join(folder, roll, path, '..'), { recursive: true });
      writeFileSync(join(folder, roll, path), 'x');
    }
    const { file } = await settings('show: { cdls: { path: day.ccc } }');
    const given = { ...noSettings, file };
    const { shared } =
      (await settingsOfDay(given, rolls, new AbortController().signal)).file.show?.cdls ?? {};
    expect([...(shared ?? [])].sort()).toEqual(['c', 'c0001', 'clip', 'f']);
    expect(await settingsOfDay(noSettings, rolls, new AbortController().signal)).toBe(noSettings);
  });

  test('the list says which is whose by which rule, what is nobody’s, what is held, and which clips have none', () => {
    const list = listOf(
      'day.ccc',
      ccc(
        correction('A001C001', 0.5),
        correction('A001C009', 0.5),
        correction('A001C002', 0.5),
        correction('A001/A001C002', 0.6),
      ),
    );
    const clips = ['A001C001', 'A001C002', 'A001C003'].map((name) => ({
      roll: 'A001',
      name,
      facts: clipFacts(),
    }));
    const listing = cdlListing(list, clips);
    expect(
      listing.cdls.map(({ clips: whose }) => whose.map(({ clip: name, rule }) => `${name}, ${rule}`)),
    ).toEqual([['A001C001, clip name'], [], ['A001C002, clip name'], ['A001C002, clip name']]);
    expect(listing.twice.map(({ clip: name }) => name)).toEqual(['A001C002']);
    expect(listing.without).toEqual([{ roll: 'A001', clip: 'A001C003' }]);
    const text = cdlsText(listing);
    expect(text).toMatch(/correction 2, “A001C009” +no clip/);
    expect(text).toMatch(/A001C002 is held/);
    expect(text).toMatch(/without one of them: 1 clip: A001 A001C003/);
  });
});

test('rolls, cameras and CDLs that the day does not have are noted; what it has is not', async () => {
  const { file } = await settings(`show: { cdls: { path: day.ccc } }
cameras:
  - { name: A, known_by: { rolls: [A*] } }
  - { name: drone, known_by: { make: Swallow } }
rolls: { A001: { owner: x }, B001: { owner: y } }
`);
  const rolls = [{ roll: 'A001', clips: [clip('A001C001')] }];
  expect(unmatchedFindings(file, rolls).map(({ code, found }) => [code, found])).toEqual([
    ['settings-unmatched', 'settings for the roll B001'],
    ['settings-unmatched', 'the camera drone'],
    ['cdl-unmatched', '1 of 2: day.ccc, correction 2, “A001C002”'],
  ]);
  expect(unmatchedFindings({ version: 1 }, rolls)).toEqual([]);
});
