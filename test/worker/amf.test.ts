/** The ACES Metadata File beside the frames: fit for the published schema, the same in every night, and held when a word of it is wrong. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { cpSync, existsSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { judgeCompanions } from '../../check/master/amf.ts';
import type { MasterCheckReport } from '../../check/master/index.ts';
import { keepTransforms } from '../../coordinator/settings/keep.ts';
import { noSettings, readSettings, type Settings } from '../../coordinator/settings/read.ts';
import { wayOfClip } from '../../coordinator/settings/way.ts';
import { packageFolder } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { type ColourWay, inputOfSpace, logSpaces } from '../../media/colour/way.ts';
import { exposureFile } from '../../media/colour/way-files.ts';
import { readTransform } from '../../ledger/transform.ts';
import { readLookFiles } from '../../check/master/look-files.ts';
import type { LookFiles } from '../../check/master/measured.ts';
import { sceneLinearOf } from '../../check/master/scene-linear.ts';
import { amfLooksOf } from '../../profiles/master/amf-looks.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import { amfText } from '../../worker/master/amf.ts';
import { inputNames, type InputTransform } from '../../media/colour/input.ts';
import { registeredId, registeredIdTo } from '../../profiles/master/amf-registry.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { groupFolder, interpretation, checkInPlace } from '../support/master.ts';
import { type ClipOnDisk, masterJob, movieClip, rawClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const schema = join(packageFolder, 'test/fixtures/amf/acesMetadataFile.xsd');
const NAME = 'A001C001';
const PROFILES = ['grading-master-exr', 'dpx-10'];

const pathOf = (job: Job, profile: string, ending: 'amf' | 'clf'): string =>
  join(job.deliveryFolder, profile, NAME, `${NAME}.${ending}`);
const textOf = (job: Job, profile: string): string => readFileSync(pathOf(job, profile, 'amf'), 'utf8');

/** libxml2's validator against the schema as the Academy publishes it. Throws with what it says of any of the files. */
const fits = (...paths: readonly string[]): string =>
  execFileSync('xmllint', ['--nonet', '--noout', '--schema', schema, ...paths], {
    encoding: 'utf8',
    stdio: 'pipe',
  });

async function made(
  clip: ClipOnDisk,
  input: InputTransform,
  contentOf?: Job,
  settings: Settings = noSettings,
): Promise<Job> {
  const job = await masterJob(clip, groupFolder('masters'), PROFILES, { ...interpretation, input });
  await keepTransforms([job], job.deliveryFolder, settings);
  await runJob(contentOf === undefined ? job : { ...job, clip: contentOf.clip }, await workContext());
  return job;
}

/** A show with every kind of look: the numbers of a CDL in a space that the registry has no way to, and a table that takes ACEScct. */
const showText = `version: 1
show:
  exposure: -0.5
  gamut_compression: true
  cdl: { file: pit.cc, space: logc3-awg3 }
  look: { file: warm.cube, from: acescct, to: acescct }
`;
const cube = `LUT_3D_SIZE 2\n${[0, 1].flatMap((b) => [0, 1].flatMap((g) => [0, 1].map((r) => `${0.9 * r} ${g} ${0.2 + 0.7 * b}`))).join('\n')}\n`;
const cc =
  '<ColorCorrection xmlns="urn:ASC:CDL:v1.01" id="pit"><SOPNode><Slope>1.1 1 0.9</Slope><Offset>-0.02 0.01 0.03</Offset><Power>1.2 1 0.8</Power></SOPNode><SatNode><Saturation>0.85</Saturation></SatNode></ColorCorrection>';
async function settingsOf(text: string): Promise<{ settings: Settings; way: ColourWay }> {
  const folder = groupFolder('looks');
  writeFileSync(join(folder, 'warm.cube'), cube);
  writeFileSync(join(folder, 'pit.cc'), cc);
  writeFileSync(join(folder, 'show.yaml'), text);
  const settings = await readSettings(join(folder, 'show.yaml'));
  const { show } = settings.file;
  const { way } = wayOfClip(show === undefined ? [] : [{ said: 'show', part: show }], undefined, {
    roll: 'A001',
    name: NAME,
    facts: null,
  });
  if (way === null) throw new Error('nothing is said');
  return { settings, way };
}

/** AP1 to AP0, Academy S-2014-004, annex B. */
const ap1ToAp0 = [
  [0.6954522414, 0.1406786965, 0.1638690622],
  [0.0447945634, 0.8596711185, 0.0955343182],
  [-0.0055258826, 0.0040252103, 1.0015006723],
];

let movie: ClipOnDisk;
let looked: { settings: Settings; way: ColourWay };
let raw: Job;
let log: Job;
let plain: Job;
beforeAll(async () => {
  movie = await movieClip(groupFolder('movie-roll'), {
    frames: 2,
    size: '64x48',
    codec: 'prores',
    timecode: '10:00:00:00',
  });
  raw = await made(await rawClip(groupFolder('raw-roll'), { width: 64, height: 48, frames: 2 }), {
    name: 'bt709',
  });
  log = await made(movie, { name: 'slog3-sgamut3cine' });
  looked = await settingsOf(showText);
  const graded = { ...movie, facts: { ...movie.facts, way: looked.way } };
  plain = await made(graded, { name: 'flog2-fgamut' }, undefined, looked.settings);
}, 180_000);

const of = (text: string, element: string): string[] =>
  [...text.matchAll(new RegExp(`<aces:${element}(?: [^>]*)?>([^<]*)<`, 'g'))].map(
    (found) => found[1] as string,
  );

test('fits the schema of version 2, and every file of others does by the same validator', () => {
  fits(
    ...[raw, log, plain].flatMap((job) => PROFILES.map((profile) => pathOf(job, profile, 'amf'))),
    ...['minimum.amf', 'log-to-aces.amf'].map((name) => join(packageFolder, 'test/fixtures/amf', name)),
  );
  const wrong = join(freshFolder('wrong'), 'wrong.amf');
  writeFileSync(wrong, textOf(log, 'grading-master-exr').replace(' applied="true"', ''));
  expect(() => fits(wrong)).toThrow(/applied/);
});

const registry = JSON.parse(
  readFileSync(join(packageFolder, 'test/fixtures/amf/conversions.json'), 'utf8'),
) as { conversions: string[] };
test('names inputs by identifiers that the registry of ACES has, each by its own, and no other exposure index by that of 800', () => {
  const ids = inputNames.flatMap(
    (name) => registeredId(name === 'logc3-awg3' ? { name, ei: 800 } : { name }) ?? [],
  );
  expect(ids).toHaveLength(14);
  expect(new Set(ids).size).toBe(ids.length);
  expect(ids.filter((id) => !registry.conversions.includes(id))).toEqual([]);
  expect(registeredId({ name: 'logc3-awg3', ei: 400 })).toBeNull();
  expect(registeredId({ curve: 'slog3', gamut: 'bt709' })).toBeNull();
});

test('of ACES2065-1 the input is applied; of ACEScct the way back is not, and what was done is archived', () => {
  const exr = textOf(log, 'grading-master-exr');
  expect(of(exr, 'transformId')).toEqual([
    'urn:ampas:aces:transformId:v2.0:CSC.Sony.SLog3_SGamut3Cine_to_ACES.a2.v1',
  ]);
  expect(exr.match(/applied="\w+"/g)).toEqual(['applied="true"']);
  expect(exr).not.toContain('archivedPipeline');
  expect(exr).toContain(
    `<aces:sequence idx="#" min="864000" max="864001">${NAME}.#######.exr</aces:sequence>`,
  );
  const dpx = textOf(log, 'dpx-10');
  expect(of(dpx, 'transformId')).toEqual([
    'urn:ampas:aces:transformId:v2.0:CSC.Academy.ACEScct_to_ACES.a2.v1',
    'urn:ampas:aces:transformId:v2.0:CSC.Sony.SLog3_SGamut3Cine_to_ACES.a2.v1',
  ]);
  expect(dpx.match(/applied="\w+"/g)).toEqual(['applied="false"', 'applied="true"']);
  expect(dpx.indexOf('archivedPipeline')).toBeGreaterThan(dpx.indexOf('ACEScct_to_ACES'));
});

test('what the registry does not have is named by its file and the digest of that, and what it has needs none', () => {
  for (const job of [raw, plain])
    for (const profile of PROFILES) {
      const digest = createHash('sha256')
        .update(readFileSync(pathOf(job, profile, 'clf')))
        .digest('base64');
      expect(of(textOf(job, profile), 'hash')).toContain(digest);
      expect(of(textOf(job, profile), 'file').filter((name) => !name.startsWith('../'))).toEqual([
        `${NAME}.clf`,
      ]);
    }
  expect(existsSync(pathOf(log, 'grading-master-exr', 'clf'))).toBe(false);
  expect(of(textOf(log, 'grading-master-exr'), 'hash')).toEqual([]);
  // OpenColorIO's own program reads it.
  expect(
    execFileSync('ociochecklut', [pathOf(plain, 'dpx-10', 'clf'), '0.5', '0.5', '0.5'], { encoding: 'utf8' }),
  ).toMatch(/^[\d. e-]+$/m);
});

describe('looks', () => {
  test('stand behind the input in the order in which they are applied, none of them applied, each by what it is named by', () => {
    for (const profile of PROFILES) {
      const text = textOf(plain, profile);
      const [pipeline] = text.split('</aces:pipeline>');
      expect(of(pipeline ?? '', 'description').slice(2)).toEqual([
        'Exposure: -0.5 stops',
        'Reference gamut compression',
        'CDL in logc3-awg3, pit of pit.cc',
        'Look: warm.cube, from acescct to acescct',
        'Output transform of ACES 2, ITU-R BT.709 by BT.1886 at 100 cd/m²',
      ]);
      expect(pipeline).toContain(
        '<aces:transformId>urn:ampas:aces:transformId:v2.0:Look.Academy.ReferenceGamutCompress.a2.v1<',
      );
      expect(pipeline?.match(/<cdl:\w+>[^<]*\d/g)).toEqual([
        '<cdl:Slope>1.1 1 0.9',
        '<cdl:Offset>-0.02 0.01 0.03',
        '<cdl:Power>1.2 1 0.8',
        '<cdl:Saturation>0.85',
      ]);
      expect(text.match(/lookTransform applied="false"/g)).toHaveLength(4);
      // The files lie where the relative names lead, with the digests that stand beside them.
      const folder = join(plain.deliveryFolder, profile, NAME);
      const files = of(text, 'file').filter((name) => name.startsWith('../'));
      expect(files).toHaveLength(4);
      const digests = of(text, 'hash');
      for (const name of files)
        expect(digests).toContain(
          createHash('sha256')
            .update(readFileSync(join(folder, name)))
            .digest('base64'),
        );
    }
    for (const job of [raw, log]) expect(textOf(job, 'dpx-10')).not.toContain('lookTransform');
  });

  // OpenColorIO's own program applies the files: -0.5 stops by hand; the table of the look by hand at a grey, in and out of ACEScct.
  test('are files that OpenColorIO reads, with the values that they should have', () => {
    const folder = join(plain.deliveryFolder, PROFILES[0] as string, NAME);
    const [exposure, , , look] = of(textOf(plain, PROFILES[0] as string), 'file')
      .filter((name) => name.startsWith('../'))
      .map((name) => join(folder, name));
    const through = (path: string | undefined, values: readonly number[]): number[] =>
      execFileSync('ociochecklut', [path ?? '', ...values.map(String)], { encoding: 'utf8' })
        .trim()
        .split(/\s+/)
        .map(Number);
    for (const [index, value] of through(exposure, [0.18, 4, -0.01]).entries())
      expect(value).toBeCloseTo([0.18, 4, -0.01].map((one) => one * 2 ** -0.5)[index] as number, 6);
    // 0.18 is 0.4135884 in ACEScct (Academy S-2016-001); AP1 neutrals are AP0 neutrals.
    const code = 0.4135884;
    const linear = [0.9 * code, code, 0.2 + 0.7 * code].map((one) => 2 ** (one * 17.52 - 9.72));
    const ap0 = ap1ToAp0.map((row) =>
      row.reduce((sum, weight, channel) => sum + weight * (linear[channel] as number), 0),
    );
    for (const [index, value] of through(look, [0.18, 0.18, 0.18]).entries())
      expect(Math.abs(value / (ap0[index] as number) - 1)).toBeLessThan(1e-4);
  });

  const clfBytes = () => readFileSync(pathOf(plain, 'grading-master-exr', 'clf'));
  const outcomeWith = (way: ColourWay): WithAmf => {
    const outcome = plain.deliverables.find(({ profile }) => profile.name === 'grading-master-exr')?.outcome;
    if (outcome?.kind !== 'frames') throw new Error('no master');
    return { ...outcome, amf: { ...outcome.amf, ...amfLooksOf(way) } };
  };

  test.each([
    [
      'a look that ends on a display, in the place of the output transform',
      'look: { file: warm.cube, from: slog3-sgamut3cine, to: bt1886-bt709 }',
    ],
    ['a CDL in ACEScct alone', 'cdl: { slope: [1, 1, 1.2] }'],
    ['the output transform of ACES 1, a pair', 'output: aces-1'],
    ['pictures as they were recorded', 'output: as-recorded'],
    ['everything', showText.split('show:\n')[1]?.replaceAll(/^ {2}/gm, '') ?? ''],
  ])('%s fits the schema, and is held when a word, a digest or a value is another', async (_, text) => {
    const { settings, way } = await settingsOf(
      `version: 1\nshow:\n  ${text.trim().replaceAll('\n', '\n  ')}\n`,
    );
    const outcome = outcomeWith(way);
    const folder = freshFolder('amf');
    await keepTransforms([{ facts: { way }, deliverables: [{ outcome }] }], folder, settings);
    const amf = amfText(outcome, clfBytes());
    writeFileSync(join(folder, 'one.amf'), amf);
    fits(join(folder, 'one.amf'));
    const kept = await readLookFiles(folder, outcome.amf);
    const sceneLinear = sceneLinearOf(
      outcome.linearisation,
      await readTransform(folder, outcome.linearisation),
    );
    const faults = (said: string, files: LookFiles): string[] =>
      judgeCompanions(
        { amf: Buffer.from(said), clf: clfBytes(), kept: files },
        outcome,
        sceneLinear,
      )?.faults.map(({ code }) => code) ?? [];
    expect(faults(amf, kept)).toEqual([]);
    const words = [
      /Slope>1/,
      /applied="false"/,
      /reports\/transforms\/./,
      /transformId:v2.0:Look/,
      /lookTransform|outputTransform/,
    ];
    // Without files: what is wrong with them is held apart.
    const none: LookFiles = new Map();
    for (const word of words) {
      const changed = amf.replace(word, (found) => `${found.slice(0, -1)}9`);
      if (changed !== amf) expect(faults(changed, none)).toContain('amf-differs');
    }
    expect(faults(amf, none)).not.toContain('amf-differs');
    for (const [path, bytes] of kept.size > 2 ? [] : kept) {
      // Of the look's own file too: without it nobody can say that the transform is its.
      expect(faults(amf, new Map([...kept, [path, null]]))).toContain('amf-transform-differs');
      const other = Buffer.from((bytes ?? '').toString().replace(/0\.[1-9]|1\.[1-9]/, '3.5'));
      expect(other).not.toEqual(bytes);
      expect(faults(amf, new Map([...kept, [path, other]]))).toContain('amf-transform-differs');
    }
  });

  test('whose file gives other values, with its own digest in every record, are held', async () => {
    const { way } = looked;
    const other = exposureFile(-0.51);
    const looks = amfLooksOf(way).looks.map((one) =>
      one.what === 'exposure' ? { ...one, by: { kind: 'file' as const, sha256: other.sha256 } } : one,
    );
    const outcome = outcomeWith(way);
    const spoilt: WithAmf = { ...outcome, amf: { ...outcome.amf, looks } };
    const kept = new Map([
      ...(await readLookFiles(plain.deliveryFolder, outcome.amf)),
      [`reports/transforms/${other.sha256.slice(0, 16)}.clf`, Buffer.from(other.text)] as const,
    ]);
    const sceneLinear = sceneLinearOf(
      outcome.linearisation,
      await readTransform(plain.deliveryFolder, outcome.linearisation),
    );
    const amf = Buffer.from(amfText(spoilt, clfBytes()));
    expect(
      judgeCompanions({ amf, clf: clfBytes(), kept }, spoilt, sceneLinear)?.faults.map(({ code }) => code),
    ).toEqual(['amf-transform-differs']);
  });

  test('are named by identifiers that the registry of ACES has', () => {
    const ids = logSpaces.flatMap((space) => registeredIdTo(inputOfSpace(space)) ?? []);
    expect(ids).toHaveLength(7);
    expect(ids.filter((id) => !registry.conversions.includes(id))).toEqual([]);
  });
});

test('every identifier is a UUID of version 5 and of its own; another night writes the same bytes, another profile others', async () => {
  const uuids = [raw, log, plain].flatMap((job) =>
    PROFILES.flatMap((profile) => of(textOf(job, profile), 'uuid')),
  );
  expect(uuids).toHaveLength(3 * (2 + 3));
  for (const uuid of uuids)
    expect(uuid).toMatch(/^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-5[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  expect(new Set(uuids).size).toBe(uuids.length);
  const again = await made(movie, { name: 'slog3-sgamut3cine' });
  for (const profile of PROFILES) expect(textOf(again, profile)).toBe(textOf(log, profile));
});

test('dates are those of the recording; where nobody states one it says so', () => {
  expect(of(textOf(log, 'grading-master-exr'), 'creationDateTime')).toEqual([
    '1970-01-01T00:00:00Z',
    '1970-01-01T00:00:00Z',
  ]);
  expect(textOf(log, 'grading-master-exr')).toContain('Dates: not known');
});

describe('is held', () => {
  async function checked(
    job: Job,
    profile: string,
    spoil: (amf: string, clf: string) => void,
  ): Promise<MasterCheckReport> {
    const folder = join(freshFolder('spoiled'), NAME);
    cpSync(join(job.deliveryFolder, profile, NAME), folder, { recursive: true });
    spoil(join(folder, `${NAME}.amf`), join(folder, `${NAME}.clf`));
    return await checkInPlace(job, profile, folder);
  }
  const edit = (path: string, change: (text: string) => string): void => {
    const before = readFileSync(path, 'utf8');
    const after = change(before);
    if (after === before) throw new Error('nothing was changed');
    writeFileSync(path, after);
  };
  const codes = ({ findings, results }: MasterCheckReport): string[] => [
    ...new Set([
      ...findings.map(({ code }) => code),
      ...results.filter(({ status }) => status === 'failed').map(({ check }) => check),
    ]),
  ];

  test('not as it was made', async () => {
    const [exr, dpx] = PROFILES as [string, string];
    const spoiledBelow: readonly (readonly [Job, string])[] = [
      [raw, exr],
      [log, exr],
      [plain, exr],
      [log, dpx],
    ];
    for (const [job, profile] of spoiledBelow)
      expect(codes(await checked(job, profile, () => undefined))).toEqual([]);
  });

  test.each<[string, () => Job, string[], (amf: string, clf: string) => void]>([
    ['when it is not there', () => log, ['amf-differs'], (amf) => rmSync(amf)],
    [
      'with another transform',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace('SLog3_SGamut3Cine_to', 'SLog3_SGamut3_to')),
    ],
    [
      'with the digest of another file',
      () => raw,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace(/(<aces:hash [^>]*>)./, (_, tag: string) => `${tag}_`)),
    ],
    [
      'with `applied` turned round',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace('applied="true"', 'applied="false"')),
    ],
    [
      'without `applied`',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace(' applied="true"', '')),
    ],
    [
      'with a transform too many',
      () => log,
      ['amf-differs'],
      (amf) =>
        edit(amf, (text) => text.replace('</aces:pipeline>', '<aces:workingLocation/></aces:pipeline>')),
    ],
    [
      'of another clip',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace('min="864000"', 'min="864001"')),
    ],
    [
      'with another UUID',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace(/urn:uuid:./, 'urn:uuid:z')),
    ],
    [
      'with other dates',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replaceAll('1970-01-01', '1971-01-01')),
    ],
    [
      'in another namespace',
      () => log,
      ['amf-differs'],
      (amf) => edit(amf, (text) => text.replace('amf:v2.0', 'amf:v1.0')),
    ],
    ['cut off', () => log, ['amf-differs'], (amf) => edit(amf, (text) => text.slice(0, -20))],
    ['with something behind it', () => log, ['amf-differs'], (amf) => edit(amf, (text) => `${text}<more/>`)],
    [
      'when the file of the transform is not there',
      () => raw,
      ['amf-differs', 'amf-transform-differs'],
      (_, clf) => rmSync(clf),
    ],
    [
      'when the file of the transform is of another one, with its own digest',
      () => plain,
      ['amf-transform-differs'],
      (amf, clf) => {
        edit(clf, (text) => text.replace(/\d\.\d+(?= \d.*\n.*\n<\/Array>\n<\/Matrix>)/, '0.5'));
        const digest = createHash('sha256').update(readFileSync(clf)).digest('base64');
        edit(amf, (text) => text.replace(/(<aces:hash [^>]*>)[^<]*/, (__, tag: string) => `${tag}${digest}`));
      },
    ],
    [
      'when the file of the transform cannot be read',
      () => raw,
      ['amf-differs', 'amf-transform-differs'],
      (_, clf) => writeFileSync(clf, 'no table'),
    ],
    [
      'when raw frames have the matrix of another exposure',
      () => raw,
      ['amf-transform-differs'],
      (amf, clf) => {
        edit(clf, (text) =>
          text.replace(
            /(<Array dim="3 3">\n)([^<]*)/,
            (__, head: string, values: string) =>
              head + values.replace(/-?\d[\d.e-]*/g, (value) => String(1.001 * Number(value))),
          ),
        );
        const digest = createHash('sha256').update(readFileSync(clf)).digest('base64');
        edit(amf, (text) => text.replace(/(<aces:hash [^>]*>)[^<]*/, (__, tag: string) => `${tag}${digest}`));
      },
    ],
  ])('%s', async (_, job, wanted, spoil) => {
    const found = await checked(job(), 'grading-master-exr', spoil);
    expect(codes(found).sort()).toEqual(wanted.length === 0 ? [] : [...wanted, 'amf'].sort());
    expect(found.passed).toBe(wanted.length === 0);
  });

  test('in ACEScct, when what was done before is left out', async () => {
    const found = await checked(log, 'dpx-10', (amf) =>
      edit(amf, (text) => text.replace(/ *<aces:archivedPipeline>[\s\S]*<\/aces:archivedPipeline>\n/, '')),
    );
    expect(codes(found)).toEqual(['amf-differs', 'amf']);
  });
});
