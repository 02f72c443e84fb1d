/** Profile files: what is taken, what is refused and how the refusal reads, and what the hash depends on. */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { describeFinding, type Finding } from '../../findings/finding.ts';
import {
  builtInNames,
  builtInProfiles,
  defaultProfiles,
  lintProfileFile,
  loadProfiles,
} from '../../profiles/load.ts';
import { canonicalJson } from '../../profiles/hash.ts';
import { missingAbilities, neededAbilities } from '../../profiles/abilities.ts';
import { describeProfile } from '../../profiles/describe.ts';
import { checksOf } from '../../profiles/master/schema.ts';
import { lossyCheck, mandatoryChecks } from '../../profiles/check-names.ts';
import { isMaster, isMovie } from '../../profiles/schema.ts';
import { freshFolder } from '../support/folder.ts';

function write(text: string, name = 'mine', folder = freshFolder('profile')): string {
  mkdirSync(folder, { recursive: true });
  const path = join(folder, `${name}.yaml`);
  writeFileSync(path, text);
  return path;
}
/** What a codec that loses something must pass. */
const askedOfLossy = [...mandatoryChecks, lossyCheck];
const head = 'version: 1\nname: mine\nsummary: Ours\nextends: editorial-vc3\n';
const lint = async (text: string): Promise<Finding[]> => (await lintProfileFile(write(text))).findings;
const hashOf = async (text: string, name = 'mine'): Promise<string> => {
  const { loaded, findings } = await lintProfileFile(write(text, name));
  expect(findings).toEqual([]);
  return loaded?.hash ?? '';
};

describe('the built-in profiles', () => {
  test('load without a finding, under the names that are announced, each with a hash of its own', async () => {
    const loaded = await builtInProfiles();
    expect(loaded.map((item) => item.profile.name)).toEqual([...builtInNames]);
    expect(new Set(loaded.map((item) => item.hash)).size).toBe(builtInNames.length);
    for (const item of loaded) expect(item.origin).toBe('built in');
  });

  test('ask for every mandatory check', async () => {
    for (const { profile } of await builtInProfiles())
      expect(profile.checks).toEqual(
        expect.arrayContaining([...(isMaster(profile) ? checksOf(profile.format).all : mandatoryChecks)]),
      );
  });

  test('the defaults are among them', () => {
    expect(builtInNames).toEqual(expect.arrayContaining([...defaultProfiles]));
  });
});

describe('a file of the user', () => {
  test('builds on a built-in profile: groups merge, lists and values replace', async () => {
    const { loaded } = await lintProfileFile(
      write(`${head}raster: { width: 1280 }\nchecks: [${askedOfLossy.join(', ')}]\n`),
    );
    const [base] = (await loadProfiles({ wanted: ['editorial-vc3'] })).profiles.filter(isMovie);
    expect(loaded?.profile).toEqual({
      ...base?.profile,
      name: 'mine',
      summary: 'Ours',
      raster: { ...base?.profile.raster, width: 1280 },
      checks: [...askedOfLossy],
    });
  });

  test('builds on a file beside it, which builds on another', async () => {
    const folder = freshFolder('chain');
    write(
      'version: 1\nname: first\nsummary: a\nextends: editorial-vc3\nraster: { width: 1280 }\n',
      'first',
      folder,
    );
    write('version: 1\nname: second\nsummary: b\nextends: first\nreel: roll\n', 'second', folder);
    const path = write(
      'version: 1\nname: third\nsummary: c\nextends: second\ntimecode: { missing: zero }\n',
      'third',
      folder,
    );
    const { loaded, findings } = await lintProfileFile(path);
    expect(findings).toEqual([]);
    expect(loaded?.profile).toMatchObject({
      name: 'third',
      reel: 'roll',
      timecode: { missing: 'zero' },
      raster: { width: 1280, height: 1080, policy: 'pad' },
    });
  });

  test("with another codec leaves the other one's settings behind", async () => {
    const { loaded, findings } = await lintProfileFile(
      write(`${head}video: { codec: rdd36, quality: hq }\npixels: 4:2:2 10-bit\n`),
    );
    expect(findings).toEqual([]);
    expect(loaded?.profile).toMatchObject({ video: { codec: 'rdd36', quality: 'hq' } });
  });

  test('is found by name in a folder, and a name is never a path', async () => {
    const folder = freshFolder('named');
    write(head, 'mine', folder);
    expect((await loadProfiles({ wanted: ['mine'], folders: [folder] })).profiles).toHaveLength(1);
    expect(
      (await loadProfiles({ wanted: ['../mine'], folders: [join(folder, 'below')] })).findings.map(
        (item) => item.code,
      ),
    ).toEqual(['profile-missing']);
  });

  test('asked for twice is there once; two of the same name are refused', async () => {
    const one = write(head);
    const other = write(`${head}reel: roll\n`);
    expect(
      (await loadProfiles({ wanted: [one, one, 'review-h264'] })).profiles.map((item) => item.profile.name),
    ).toEqual(['mine', 'review-h264']);
    expect((await loadProfiles({ wanted: [one, other] })).findings.map((item) => item.code)).toEqual([
      'profile-name-taken',
    ]);
  });

  test('cannot take the name of a built-in profile', async () => {
    const path = write(
      'version: 1\nname: editorial-vc3\nsummary: Mine\nextends: review-h264\n',
      'editorial-vc3',
    );
    expect((await lintProfileFile(path)).findings.map((item) => item.code)).toEqual(['profile-name-taken']);
  });
});

describe('refusals name file, line, field, what was found and what would do', () => {
  test.each([
    ['an unknown field', `${head}colr: {}\n`, 'profile-field-unknown', 5, 'colr', 'colour'],
    [
      'an unknown field in a group',
      `${head}raster:\n  hight: 1080\n`,
      'profile-field-unknown',
      6,
      'raster.hight',
      'height',
    ],
    [
      'a wrong word',
      `${head}\ninterlaced: maybe\n`,
      'profile-value-wrong',
      6,
      'interlaced',
      'hold, deinterlace',
    ],
    [
      'a number where a word belongs',
      `${head}video:\n  codec: vc3\n  quality: 444\n`,
      'profile-value-wrong',
      7,
      'video.quality',
      "'444'",
    ],
    [
      'a fraction',
      `${head}audio: { tolerance_frames: 1.5 }\n`,
      'profile-value-wrong',
      5,
      'audio.tolerance_frames',
      'a whole number from 0 to 50',
    ],
    [
      'an unknown codec',
      `${head}video: { codec: mystery }\n`,
      'profile-value-wrong',
      5,
      'video.codec',
      'vc3, rdd36, h264',
    ],
    [
      "an encoder's own name of the quality",
      `${head.replace('editorial-vc3', 'review-h264')}video: { crf: 20 }\n`,
      'profile-field-unknown',
      5,
      'video.crf',
      'quality, speed',
    ],
    [
      "an encoder's own name of a speed",
      `${head.replace('editorial-vc3', 'review-h264')}video: { speed: veryfast }\n`,
      'profile-value-wrong',
      5,
      'video.speed',
      'very-fast',
    ],
    [
      "a program's own name of pixels",
      `${head}pixel_format: yuv422p\n`,
      'profile-field-unknown',
      5,
      'pixel_format',
      'pixels',
    ],
    [
      "a program's own name of a transfer",
      `${head}colour: { transfer: smpte2084 }\n`,
      'profile-value-wrong',
      5,
      'colour.transfer',
      'pq, hlg',
    ],
    [
      'a member of a list',
      `${head}burn_in:\n  - { text: clip, place: top-left, height_percent: 5 }\n  - { text: slate, place: top-right, height_percent: 5 }\n`,
      'profile-value-wrong',
      7,
      'burn_in[1].text',
      'timecode',
    ],
    [
      'a field that is left out',
      'version: 1\nkind: movie\nname: mine\nsummary: x\n',
      'profile-field-missing',
      1,
      'container',
      'mov, mp4',
    ],
    [
      'a version of the future',
      'version: 2\nname: mine\nsummary: x\nextends: editorial-vc3\n',
      'profile-value-wrong',
      1,
      'version',
      '1',
    ],
    [
      "a name that is not the file's",
      'version: 1\nname: yours\nsummary: x\nextends: editorial-vc3\n',
      'profile-value-wrong',
      2,
      'name',
      'mine',
    ],
    [
      'a name that is taken over',
      'version: 1\nextends: editorial-vc3\n',
      'profile-field-missing',
      1,
      'name',
      '',
    ],
    [
      'a codec that the container cannot hold',
      `${head}container: mp4\nreel: none\naudio: { format: aac }\nchecks: [${askedOfLossy.join(', ')}]\n`,
      'profile-combination',
      5,
      'container',
      'mov',
    ],
    [
      'uncompressed audio in mp4',
      'version: 1\nname: mine\nsummary: x\nextends: review-h264\naudio: { format: pcm-24 }\n',
      'profile-combination',
      5,
      'audio.format',
      'aac',
    ],
    [
      'a reel in mp4',
      'version: 1\nname: mine\nsummary: x\nextends: review-h264\nreel: roll\n',
      'profile-combination',
      5,
      'reel',
      'none',
    ],
    [
      '10 bits for an 8-bit class',
      `${head}pixels: 4:2:2 10-bit\n`,
      'profile-combination',
      5,
      'pixels',
      '4:2:2 8-bit',
    ],
    [
      'a picture below the least of VC-3',
      `${head}raster:\n  width: 240\n`,
      'profile-combination',
      6,
      'raster.width',
      '256',
    ],
    [
      'fit without a width',
      `${head}raster: { width: null }\n`,
      'profile-combination',
      5,
      'raster.width',
      'pixels',
    ],
    [
      'native with a width',
      `${head}raster: { policy: native, width: 1920 }\n`,
      'profile-combination',
      5,
      'raster.width',
      'null',
    ],
    [
      'fill without a height',
      `${head}raster: { policy: fill, height: null }\n`,
      'profile-combination',
      5,
      'raster.height',
      'pixels',
    ],
    [
      'a width that is no multiple of 16',
      `${head}raster: { width: 1000, multiple_of: 16 }\n`,
      'profile-combination',
      5,
      'raster.width',
      '992 or 1008',
    ],
    [
      'odd sizes with 4:2:0',
      'version: 1\nname: mine\nsummary: x\nextends: review-h264\nraster: { multiple_of: 1 }\n',
      'profile-combination',
      5,
      'raster.multiple_of',
      '2',
    ],
    [
      'full range where the codec has none',
      `${head}video: { codec: rdd36, quality: hq }\npixels: 4:2:2 10-bit\ncolour: { range: full }\n`,
      'profile-combination',
      7,
      'colour.range',
      'limited',
    ],
    [
      'one name for every clip',
      `${head}file_name: "{roll}"\n`,
      'profile-combination',
      5,
      'file_name',
      '{clip}',
    ],
    [
      'an unknown placeholder',
      `${head}file_name: "{clip}-{take}"\n`,
      'profile-combination',
      5,
      'file_name',
      '{timecode}',
    ],
    [
      'a folder in the file name',
      `${head}file_name: "a/{clip}"\n`,
      'profile-combination',
      5,
      'file_name',
      '/',
    ],
    [
      'a check of the reel without a reel',
      `${head}reel: none\n`,
      'profile-combination',
      4,
      'checks',
      'a reel that is written',
    ],
    [
      'a parent that is not there',
      'version: 1\nname: mine\nsummary: x\nextends: nobody\n',
      'profile-extends-missing',
      4,
      'extends',
      'nobody.yaml',
    ],
    ['a field twice', `${head}reel: roll\nreel: clip\n`, 'profile-unreadable', 6, '', 'once'],
    ['YAML that breaks off', `${head}raster: { width: 1920\n`, 'profile-unreadable', 6, '', ''],
    ['a list instead of fields', '- version: 1\n', 'profile-unreadable', 1, '', ''],
    ['nothing', '# empty\n', 'profile-unreadable', 1, '', ''],
  ])('%s', async (_title, text, code, line, field, expected) => {
    const findings = await lint(text);
    const found = findings.find((item) => item.code === code && item.field === field);
    expect(found, JSON.stringify(findings)).toBeDefined();
    expect(found?.file).toMatch(/mine\.yaml$/);
    expect(found?.line).toBe(line);
    expect(found?.found).toContain(`line ${found?.line}`);
    expect(found?.expected).toContain(expected);
    expect(describeFinding(found as Finding).remedy.length).toBeGreaterThan(20);
  });

  test('a fault of a file that is built on is reported with that file and its line', async () => {
    const folder = freshFolder('parent');
    write(
      'version: 1\nname: below\nsummary: x\nextends: editorial-vc3\n\n\nreel: perhaps\n',
      'below',
      folder,
    );
    const { findings } = await lintProfileFile(
      write('version: 1\nname: above\nsummary: x\nextends: below\n', 'above', folder),
    );
    expect(findings).toMatchObject([
      { code: 'profile-value-wrong', file: join(folder, 'below.yaml'), line: 7, field: 'reel' },
    ]);
  });

  test.each(askedOfLossy.map((check) => [check]))('leaving out the check %s is refused', async (left) => {
    const checks = askedOfLossy.filter((check) => check !== left);
    expect(await lint(`${head}checks: [${checks.join(', ')}]\n`)).toMatchObject([
      { code: 'profile-check-left-out', line: 5, field: 'checks' },
    ]);
  });

  test('a circle of profiles ends with its path', async () => {
    const folder = freshFolder('circle');
    write('version: 1\nname: one\nsummary: x\nextends: two\n', 'one', folder);
    write('version: 1\nname: two\nsummary: x\nextends: one\n', 'two', folder);
    const { findings } = await lintProfileFile(join(folder, 'one.yaml'));
    expect(findings).toMatchObject([
      { code: 'profile-extends-circle', file: join(folder, 'two.yaml'), line: 4 },
    ]);
    expect(findings[0]?.found).toContain('one → two → one');
  });

  test('a file that is not there, and one that is no text', async () => {
    const folder = freshFolder('none');
    expect((await lintProfileFile(join(folder, 'none.yaml'))).findings.map((item) => item.code)).toEqual([
      'profile-missing',
    ]);
    const path = join(folder, 'raw.yaml');
    writeFileSync(path, Buffer.from([0x76, 0xff, 0xfe]));
    expect((await lintProfileFile(path)).findings.map((item) => item.code)).toEqual(['profile-unreadable']);
  });

  test('every fault of a file is reported at once', async () => {
    const findings = await lint(`${head}reel: perhaps\ninterlaced: maybe\nspeed: fast\n`);
    expect(findings.map((item) => item.field).sort()).toEqual(['interlaced', 'reel', 'speed']);
  });
});

describe('the kind of a profile', () => {
  const kinds = 'movie, master';
  const faults = async (text: string): Promise<unknown> =>
    (await lint(text)).map(({ code, field, found, expected }) => [code, field, found, expected]);

  test('is never guessed from the other fields', async () => {
    const movie = readFileSync(join(packageFolder, 'profiles/builtin/editorial-vc3.yaml'), 'utf8');
    const own = movie.replace('name: editorial-vc3', 'name: mine');
    expect(await faults(own)).toEqual([]);
    expect(await faults(own.replace('kind: movie\n', ''))).toEqual([
      ['profile-field-missing', 'kind', expect.stringMatching(/kind: not stated$/), kinds],
    ]);
    expect(await faults(own.replace('kind: movie', 'kind: proxy'))).toEqual([
      ['profile-value-wrong', 'kind', expect.stringMatching(/kind: "proxy"$/), kinds],
    ]);
  });

  test('is taken over with `extends`, and brings its fields', async () => {
    expect(await faults('version: 1\nname: mine\nsummary: a test\nextends: dpx-10\n')).toEqual([]);
    expect(await faults('version: 1\nname: mine\nsummary: a test\nextends: dpx-10\nburn_in: []\n')).toEqual([
      [
        'profile-field-unknown',
        'burn_in',
        expect.stringMatching(/no such field$/),
        expect.stringContaining('compression'),
      ],
    ]);
  });
});

test.each([
  ['grading-master-aces', 'compression: piz', 'piz with aces'],
  ['dpx-10', 'compression: zips', 'zips with dpx'],
  ['grading-master-aces', 'compression: dwaa', 'dwaa with aces'],
  ['grading-master-exr', 'dwa_level: 90', '90 with zip'],
  ['grading-master-exr', 'bits: 12', '12 with exr'],
  ['grading-master-4444', 'bits: 16', '16 with rdd36'],
  ['grading-master-exr', 'quality: 4444-xq', '4444-xq with exr'],
])('%s with %s is refused: no such form of it', async (from, line, found) => {
  const faults = await lint(`version: 1\nname: mine\nsummary: a test\nextends: ${from}\n${line}\n`);
  expect(faults.map((fault) => [fault.code, fault.found])).toEqual([
    ['profile-combination', expect.stringContaining(found)],
  ]);
});

test.each([
  ['dpx-10', 'bits: 12'],
  ['dpx-10', 'bits: 16'],
  ['grading-master-exr', 'compression: piz'],
  ['grading-master-exr', 'compression: zips'],
  ['grading-master-exr', 'compression: dwaa'],
  ['grading-master-exr', 'compression: dwab\ndwa_level: 90'],
  ['grading-master-4444', "quality: '4444'"],
  ['grading-master-4444', 'quality: 4444-xq'],
])('%s with %s is a profile', async (from, line) => {
  expect(await lint(`version: 1\nname: mine\nsummary: a test\nextends: ${from}\n${line}\n`)).toEqual([]);
});

describe('what this ffmpeg lacks', () => {
  test('each encoder and filter that is missing is named with the profile', async () => {
    const [loaded] = (await loadProfiles({ wanted: ['review-h264'] })).profiles;
    const { encoders, filters } = neededAbilities((loaded as NonNullable<typeof loaded>).profile);
    expect(encoders).toEqual(['libx264', 'aac']);
    const has = {
      encoders: new Set(['aac']),
      filters: new Set(filters.filter((name) => name !== 'drawtext')),
    };
    const { findings } = await loadProfiles({ wanted: ['review-h264'], abilities: has });
    expect(findings.map((item) => [item.code, item.profile, item.expected])).toEqual([
      ['profile-tool-lacks', 'review-h264', 'the encoder libx264'],
      ['profile-tool-lacks', 'review-h264', 'the filter drawtext'],
    ]);
  });

  test('drawtext is asked for only where text is drawn', async () => {
    const [vc3] = (await loadProfiles({ wanted: ['editorial-vc3'] })).profiles;
    const { encoders, filters } = neededAbilities((vc3 as NonNullable<typeof vc3>).profile);
    expect(filters).not.toContain('drawtext');
    expect(
      missingAbilities((vc3 as NonNullable<typeof vc3>).profile, {
        encoders: new Set(encoders),
        filters: new Set(filters),
      }),
    ).toEqual([]);
  });
});

describe('the hash', () => {
  const text = `${head}raster: { width: 1280, height: 720 }\nreel: roll\n`;

  test('stays for other comments, another order of fields, another way of writing and another summary', async () => {
    const other = `# A comment\nreel: "roll"\nraster:\n  height: 720 # and another\n  width: 0x500\nextends: editorial-vc3\nsummary: Words for people\nname: mine\nversion: 1\n`;
    expect(await hashOf(other)).toBe(await hashOf(text));
  });

  test('stays when a value is written out that was taken over', async () => {
    expect(await hashOf(`${text}container: mov\n`)).toBe(await hashOf(text));
  });

  test.each([
    ['a number', text.replace('1280', '1278')],
    ['a word', text.replace('reel: roll', 'reel: clip')],
    ["a group in another file's place", `${text}timecode: { missing: zero }\n`],
    ['the file name', `${text}file_name: "{clip}_v"\n`],
    ['the order of checks', `${text}checks: [reel, ${askedOfLossy.join(', ')}]\n`],
  ])('changes with %s', async (_title, changed) => {
    expect(await hashOf(changed)).not.toBe(await hashOf(text));
  });

  test('changes with the name', async () => {
    expect(await hashOf(text.replace('name: mine', 'name: ours'), 'ours')).not.toBe(await hashOf(text));
  });

  test('canonical JSON is that of RFC 8785 for what profiles hold: its example of sorting, section 3.2.3', () => {
    const example = {
      '\u20ac': 'Euro Sign',
      '\r': 'Carriage Return',
      '\ufb33': 'Hebrew Letter Dalet With Dagesh',
      '1': 'One',
      '\ud83d\ude00': 'Emoji: Grinning Face',
      '\u0080': 'Control',
      '\u00f6': 'Latin Small Letter O With Diaeresis',
    };
    const order = [...canonicalJson(example).matchAll(/"([^"]+)"(?=[,}])/g)].map((match) => match[1]);
    expect(order).toEqual([
      'Carriage Return',
      'One',
      'Control',
      'Latin Small Letter O With Diaeresis',
      'Euro Sign',
      'Emoji: Grinning Face',
      'Hebrew Letter Dalet With Dagesh',
    ]);
  });

  test('canonical JSON reads back as what went in, and does not depend on the order of keys', () => {
    const value = fc.letrec((tie) => ({
      any: fc.oneof(
        { maxDepth: 3 },
        fc.string(),
        fc.maxSafeInteger(),
        fc.boolean(),
        fc.constant(null),
        fc.array(tie('any')),
        fc.dictionary(fc.string(), tie('any'), { noNullPrototype: true }),
      ),
    })).any;
    fc.assert(
      fc.property(value, (item) => {
        const text = canonicalJson(item);
        expect(JSON.parse(text)).toEqual(JSON.parse(JSON.stringify(item)));
        if (typeof item === 'object' && item !== null && !Array.isArray(item))
          expect(canonicalJson(Object.fromEntries(Object.entries(item).reverse()))).toBe(text);
      }),
    );
  });
});

test('a profile is described with every field that it has, each with its meaning', async () => {
  for (const { profile } of await builtInProfiles()) {
    const lines = describeProfile(profile);
    for (const name of Object.keys(profile)) expect(lines.map((line) => line.field)).toContain(name);
    for (const line of lines) expect(line.meaning, line.field).not.toBe('');
    expect(lines.find((line) => line.field === 'video.codec')?.value).toBe(
      isMaster(profile) ? undefined : profile.video.codec,
    );
  }
});
