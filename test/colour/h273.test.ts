/** Names of colour tags: the code points of ITU-T H.273, and ffmpeg's names for them. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import {
  matrices,
  namesOf,
  primaries,
  type Tag,
  tagForFfmpeg,
  tagFromFfmpeg,
  transfers,
} from '../../media/colour/h273.ts';
import { colourOf } from '../../media/probe/picture.ts';
import { matrixForScaler, pixelsForFfmpeg } from '../../profiles/ffmpeg-names.ts';
import { fields } from '../../profiles/fields.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { encodedPixels, profileSchema } from '../../profiles/schema.ts';
import { clipFacts } from '../support/facts.ts';
import { outputOf } from '../support/pictures.ts';

const tables = { primaries, transfer: transfers, matrix: matrices } as const;
const tags: readonly Tag[] = ['primaries', 'transfer', 'matrix'];

/** What ffmpeg's filter of tags takes, with the code points that it writes for them: `bt709           1  ..FV`. */
async function listed(option: string): Promise<ReadonlyMap<string, number>> {
  const help = await outputOf('ffmpeg', ['-hide_banner', '-h', 'filter=setparams']);
  const part = new RegExp(`^ +${option} +<int>.*\\n((?: {5}\\S.*\\n)*)`, 'm').exec(String(help))?.[1] ?? '';
  return new Map(
    [...part.matchAll(/^ {5}(\S+) +(-?\d+) /gm)].map(([, name, code]) => [name as string, Number(code)]),
  );
}

describe("the code points are those that ffmpeg's own help gives to its names", () => {
  test.each<[Tag, string]>([
    ['primaries', 'color_primaries'],
    ['transfer', 'color_trc'],
    ['matrix', 'colorspace'],
  ])('%s', async (tag, option) => {
    const theirs = await listed(option);
    expect(theirs.size).toBeGreaterThan(10);
    for (const [name, { code, ffmpeg }] of Object.entries(tables[tag]))
      expect([name, theirs.get(ffmpeg)]).toEqual([name, code]);
  });
});

// ITU-T H.273, Tables 2 to 4, written down here once more: what people deliver in.
test.each<[Tag, string, number]>([
  ['primaries', 'bt709', 1],
  ['primaries', 'bt2020', 9],
  ['primaries', 'p3-d65', 12],
  ['transfer', 'bt709', 1],
  ['transfer', 'linear', 8],
  ['transfer', 'srgb', 13],
  ['transfer', 'pq', 16],
  ['transfer', 'hlg', 18],
  ['matrix', 'rgb', 0],
  ['matrix', 'bt709', 1],
  ['matrix', 'bt601', 6],
  ['matrix', 'bt2020', 9],
])('%s %s is %i', (tag, name, code) => {
  expect((tables[tag] as Readonly<Record<string, { code: number }>>)[name]?.code).toBe(code);
});

describe.each(tags)('%s', (tag) => {
  test('goes to ffmpeg and comes back as the same name', () => {
    for (const name of namesOf(tag)) expect(tagFromFfmpeg(tag, tagForFfmpeg(tag, name))).toBe(name);
  });

  test("no name is ffmpeg's for something else, so that what is kept as ffprobe prints it cannot be taken for another", () => {
    const table: Readonly<Record<string, { ffmpeg: string }>> = tables[tag];
    const theirs = Object.values(table).map(({ ffmpeg }) => ffmpeg);
    expect(namesOf(tag).filter((name) => theirs.includes(name) && table[name]?.ffmpeg !== name)).toEqual([]);
    expect(new Set(theirs).size).toBe(theirs.length);
  });

  test('an unknown word never becomes part of a command', () => {
    for (const word of ['smpte2085:range=full', 'toString', '', 'ebu3213'])
      expect(() => tagForFfmpeg(tag, word)).toThrow(RangeError);
  });

  test('every value of a profile is one of the names', () => {
    const field = fields.find(({ path }) => path === `colour.${tag}`);
    const values = (field?.allowed ?? '').split(', ').filter((value) => value !== 'source');
    expect(values.length).toBeGreaterThan(1);
    expect(values.filter((value) => !namesOf(tag).includes(value))).toEqual([]);
  });
});

test('what a profile can convert to, the scaler knows; what it does not know is refused', () => {
  for (const name of ['bt709', 'bt2020', 'bt601']) expect(matrixForScaler(name)).toMatch(/^[a-z0-9]+$/);
  expect(() => matrixForScaler('ictcp')).toThrow(RangeError);
});

test('the tables of the glossary are those of the code', () => {
  const glossary = readFileSync(join(packageFolder, 'docs', 'glossary.md'), 'utf8');
  for (const tag of tags)
    for (const [name, { code, ffmpeg }] of Object.entries(tables[tag]))
      expect(glossary).toContain(`\n| \`${name}\` | ${code} | \`${ffmpeg}\` |`);
  for (const pixels of encodedPixels)
    expect(glossary).toMatch(new RegExp(`\\| \`${pixels}\` \\| .* \\| \`${pixelsForFfmpeg(pixels)}\` \\|`));
});

test('a tag that is not in the table is kept as ffprobe prints it, and is named where the clip is held', async () => {
  const colour = colourOf({ color_primaries: 'ebu3213', color_transfer: 'smpte2084' });
  expect(colour).toEqual({ primaries: 'ebu3213', transfer: 'pq', matrix: null, range: null });
  const profile = profileSchema.parse((await builtInProfiles())[0]?.profile);
  const decision = outcomeOf({
    day: 'day-01',
    roll: 'A001',
    clip: { id: 'id-1', name: 'bell-01' },
    facts: clipFacts({ video: { colour: { ...colour, matrix: 'bt709', range: 'limited' } } }),
    profile,
  });
  expect(
    'findings' in decision ? decision.findings.map(({ code, found }) => `${code}: ${found}`) : [],
  ).toEqual(['colour-not-converted: primaries ebu3213']);
});
