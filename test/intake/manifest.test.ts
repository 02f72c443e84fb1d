/** Manifests against the published schema (read by xmllint), the xxhsum program, and intake itself. */
import { execFileSync } from 'node:child_process';
import {
  appendFileSync,
  cpSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { noDayManifests } from '../../files/manifest/day.ts';
import { intakeRoll } from '../../coordinator/intake/index.ts';
import { makeManifest } from '../../coordinator/manifests/make.ts';
import { FindingError } from '../../findings/finding.ts';
import { readGeneration } from '../../files/manifest/generation.ts';
import { parseXml } from '../../files/manifest/xml.ts';
import { fsPath, nameFromBytes } from '../../files/names.ts';
import { freshFolder } from '../support/folder.ts';

const schemas = join(import.meta.dirname, '../fixtures/manifests');

function roll(extra: Readonly<Record<string, string>> = {}): { folder: string; to: string } {
  const base = freshFolder('manifest');
  const folder = join(base, 'day/A001');
  mkdirSync(join(folder, 'Clips'), { recursive: true });
  for (const [name, text] of Object.entries({
    'Clips/bell.mov': 'bronze',
    'sheet <1> & "2".txt': 'x',
    ...extra,
  }))
    writeFileSync(fsPath(`${folder}/${name}`), text);
  return { folder, to: join(base, 'manifests') };
}

async function codesOf(work: Promise<unknown>): Promise<string[]> {
  const error: unknown = await work.then(
    () => null,
    (reason: unknown) => reason,
  );
  if (!(error instanceof FindingError)) throw new Error(`no findings but ${String(error)}`);
  return error.findings.map(({ code }) => code);
}

test('a manifest is valid by the published schemas, states what xxhsum states, and proves the roll', async () => {
  const at = roll({ 'two\nlines.mov': 'y' });
  const made = await makeManifest({ rollFolder: at.folder, to: at.to });
  expect(basename(made.file)).toMatch(/^0001_A001_\d{4}-\d\d-\d\d_\d{6}Z\.mhl$/);
  validate(dirname(made.file));
  const outside = execFileSync('xxhsum', ['-H128', join(at.folder, 'Clips/bell.mov')], {
    encoding: 'utf8',
  }).split(' ')[0] as string;
  expect(readFileSync(made.file, 'utf8')).toContain(`>${outside}</xxh128>`);
  const order = {
    day: 'day',
    roll: 'A001',
    folder: at.folder,
    copies: [],
    manifests: [at.to],
    dayManifests: noDayManifests,
    readers: 1,
  };
  expect((await intakeRoll(order)).findings).toEqual([]);
  appendFileSync(join(at.folder, 'Clips/bell.mov'), '!');
  expect((await intakeRoll(order)).findings.map(({ code, file }) => [code, file])).toEqual([
    ['roll-file-size-differs', 'Clips/bell.mov'],
  ]);
  expect(readdirSync(at.folder).sort()).toEqual(['Clips', 'sheet <1> & "2".txt', 'two\nlines.mov']);
  expect(readdirSync(join(at.to, 'A001'))).toEqual(['ascmhl']);
});

/** Every manifest and the chain, read by xmllint against the published schemas. */
function validate(folder: string): void {
  for (const name of readdirSync(folder)) {
    const schema = name.endsWith('.mhl') ? 'ASCMHL.xsd' : 'ASCMHLDirectory__combined.xsd';
    execFileSync('xmllint', ['--noout', '--nonet', '--schema', join(schemas, schema), join(folder, name)], {
      stdio: 'pipe',
    });
  }
}

describe('a history that stands already', () => {
  test('gets a further generation: what is equal is verified, what is new is original', async () => {
    const at = roll();
    const first = await makeManifest({ rollFolder: at.folder, to: at.to });
    const before = readFileSync(first.file);
    writeFileSync(join(at.folder, 'Clips/late.mov'), 'slag');
    const second = await makeManifest({ rollFolder: at.folder, to: at.to, algorithm: 'sha1' });
    expect(second).toMatchObject({ generation: 2, files: 3, findings: [] });
    expect(readFileSync(first.file)).toEqual(before);
    validate(dirname(second.file));
    const records = readGeneration(parseXml(readFileSync(second.file)), 'm').files.map(({ path, hashes }) => [
      path,
      hashes.map(({ algorithm, action }) => `${algorithm} ${action}`),
    ]);
    expect(records).toEqual([
      ['Clips/bell.mov', ['sha1 verified', 'xxh128 verified']],
      ['Clips/late.mov', ['sha1 original']],
      ['sheet <1> & "2".txt', ['sha1 verified', 'xxh128 verified']],
    ]);
    expect(
      (
        await intakeRoll({
          day: 'day',
          roll: 'A001',
          folder: at.folder,
          copies: [],
          manifests: [at.to],
          dayManifests: noDayManifests,
          readers: 1,
        })
      ).findings,
    ).toEqual([]);
  });

  test('records what failed, tells what is missing, and intake holds the roll', async () => {
    const at = roll();
    await makeManifest({ rollFolder: at.folder, to: at.to });
    writeFileSync(join(at.folder, 'Clips/bell.mov'), 'Bronze');
    rmSync(join(at.folder, 'sheet <1> & "2".txt'));
    const second = await makeManifest({ rollFolder: at.folder, to: at.to });
    validate(dirname(second.file));
    expect(second.findings.map(({ code, file }) => [code, file])).toEqual([
      ['file-checksum-differs', 'Clips/bell.mov'],
      ['roll-file-absent', 'sheet <1> & "2".txt'],
    ]);
    expect(readFileSync(second.file, 'utf8')).toContain('<xxh128 action="failed"');
    writeFileSync(join(at.folder, 'Clips/bell.mov'), 'bronze');
    const result = await intakeRoll({
      day: 'day',
      roll: 'A001',
      folder: at.folder,
      copies: [],
      manifests: [at.to],
      dayManifests: noDayManifests,
      readers: 1,
    });
    expect(result.findings.map(({ code }) => code).sort()).toEqual(['manifest-failure', 'roll-file-absent']);
  });

  test('is left alone when it is of another roll, or not whole', async () => {
    const [at, other] = [roll(), roll()];
    const made = await makeManifest({ rollFolder: at.folder, to: at.to });
    rmSync(join(other.folder, 'Clips'), { recursive: true });
    renameSync(join(other.folder, 'sheet <1> & "2".txt'), join(other.folder, 'another.mov'));
    expect(await codesOf(makeManifest({ rollFolder: other.folder, to: at.to }))).toEqual([
      'manifest-of-another-roll',
    ]);
    appendFileSync(made.file, '\n');
    expect(await codesOf(makeManifest({ rollFolder: at.folder, to: at.to }))).toEqual([
      'manifest-chain-broken',
    ]);
    expect(readdirSync(dirname(made.file))).toHaveLength(2);
  });

  test("continues the reference implementation's own, with the folder hashes that it published", async () => {
    // Scenario 03 of ascmitc/mhl: xxh64 in the first generation, md5 added in the second.
    const from = (scenario: string): string => join(schemas, scenario, 'A002R2EC');
    const base = freshFolder('manifest');
    const folder = join(base, 'day/A002R2EC');
    cpSync(from('scenario_01'), folder, { recursive: true });
    cpSync(join(folder, 'ascmhl'), join(base, 'manifests/A002R2EC/ascmhl'), { recursive: true });
    const made = await makeManifest({ rollFolder: folder, to: join(base, 'manifests'), algorithm: 'md5' });
    validate(dirname(made.file));
    const published = readFileSync(
      join(from('scenario_03'), 'ascmhl/0002_A002R2EC_2020-01-17_143000Z.mhl'),
      'utf8',
    );
    // All but dates and sizes as written there: values, actions and the order of the entries.
    const values = (text: string): string[] =>
      [...text.matchAll(/<(path|md5|xxh64)(?: [^>]*?(action="\w+"))?[^>]*>([^<]*)</g)].map(
        ([, name, action, value]) => `${name} ${action ?? ''} ${value}`,
      );
    expect(values(readFileSync(made.file, 'utf8'))).toEqual(values(published));
  });
});

test('what cannot be vouched for gets no manifest, and nothing is left behind', async () => {
  const raw = roll({ [nameFromBytes(Buffer.from([0xe9, 0x2e, 0x6d, 0x6f, 0x76]))]: 'z' });
  expect(await codesOf(makeManifest({ rollFolder: raw.folder, to: raw.to }))).toEqual([
    'manifest-name-unwritable',
  ]);
  const linked = roll();
  symlinkSync('/etc', join(linked.folder, 'out'));
  expect(await codesOf(makeManifest({ rollFolder: linked.folder, to: linked.to }))).toEqual([
    'link-leaves-roll',
  ]);
  expect(await codesOf(makeManifest({ rollFolder: linked.folder, to: linked.folder }))).toEqual([
    'folders-overlap',
  ]);
  expect(readdirSync(dirname(raw.to))).toEqual(['day']);
  expect(readdirSync(dirname(linked.to))).toEqual(['day']);
});
