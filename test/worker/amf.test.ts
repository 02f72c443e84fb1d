/** The ACES Metadata File beside the frames: fit for the published schema, the same in every night, and held when a word of it is wrong. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { cpSync, existsSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { MasterCheckReport } from '../../check/master/index.ts';
import { packageFolder } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { inputNames, type InputTransform } from '../../media/colour/input.ts';
import { registeredId } from '../../profiles/master/amf-registry.ts';
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

/** libxml2's validator against the schema as the Academy publishes it. Throws with what it says. */
const fits = (path: string): string =>
  execFileSync('xmllint', ['--nonet', '--noout', '--schema', schema, path], {
    encoding: 'utf8',
    stdio: 'pipe',
  });

async function made(clip: ClipOnDisk, input: InputTransform, contentOf?: Job): Promise<Job> {
  const job = await masterJob(clip, groupFolder('masters'), PROFILES, { ...interpretation, input });
  await runJob(contentOf === undefined ? job : { ...job, clip: contentOf.clip }, await workContext());
  return job;
}

let movie: ClipOnDisk;
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
  plain = await made(movie, { name: 'flog2-fgamut' });
}, 180_000);

const of = (text: string, element: string): string[] =>
  [...text.matchAll(new RegExp(`<aces:${element}(?: [^>]*)?>([^<]*)<`, 'g'))].map(
    (found) => found[1] as string,
  );

test('fits the schema of version 2, and every file of others does by the same validator', () => {
  for (const job of [raw, log, plain]) for (const profile of PROFILES) fits(pathOf(job, profile, 'amf'));
  for (const name of ['minimum.amf', 'log-to-aces.amf']) fits(join(packageFolder, 'test/fixtures/amf', name));
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
      expect(of(textOf(job, profile), 'hash')).toEqual([digest]);
      expect(of(textOf(job, profile), 'file')).toEqual([`${NAME}.clf`]);
    }
  expect(existsSync(pathOf(log, 'grading-master-exr', 'clf'))).toBe(false);
  expect(of(textOf(log, 'grading-master-exr'), 'hash')).toEqual([]);
  // OpenColorIO's own program reads it.
  expect(
    execFileSync('ociochecklut', [pathOf(plain, 'dpx-10', 'clf'), '0.5', '0.5', '0.5'], { encoding: 'utf8' }),
  ).toMatch(/^[\d. e-]+$/m);
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
    for (const job of [raw, log, plain])
      for (const profile of PROFILES) expect(codes(await checked(job, profile, () => undefined))).toEqual([]);
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
      () => plain,
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
      () => plain,
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
