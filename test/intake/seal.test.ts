/** Seals against the published schema (read by xmllint), the xxhsum program, and intake itself. */
import { execFileSync } from 'node:child_process';
import { appendFileSync, mkdirSync, readFileSync, readdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { intakeRoll } from '../../coordinator/intake/index.ts';
import { sealRoll } from '../../coordinator/seal.ts';
import { FindingError } from '../../findings/finding.ts';
import { fsPath, nameFromBytes } from '../../media/names.ts';
import { freshFolder } from '../support/folder.ts';

const schemas = join(import.meta.dirname, '../fixtures/manifests');

function roll(extra: Readonly<Record<string, string>> = {}): { folder: string; to: string } {
  const base = freshFolder('seal');
  const folder = join(base, 'day/A001');
  mkdirSync(join(folder, 'Clips'), { recursive: true });
  for (const [name, text] of Object.entries({ 'Clips/bell.mov': 'bronze', 'sheet <1> & "2".txt': 'x', ...extra })) writeFileSync(fsPath(`${folder}/${name}`), text);
  return { folder, to: join(base, 'seals') };
}

async function codesOf(work: Promise<unknown>): Promise<string[]> {
  const error: unknown = await work.then(() => null, (reason: unknown) => reason);
  if (!(error instanceof FindingError)) throw new Error(`no findings but ${String(error)}`);
  return error.findings.map(({ code }) => code);
}

test('a seal is valid by the published schemas, states what xxhsum states, and proves the roll', async () => {
  const at = roll({ 'two\nlines.mov': 'y' });
  const seal = await sealRoll({ rollFolder: at.folder, to: at.to });
  expect(basename(seal.file)).toMatch(/^0001_A001_\d{4}-\d\d-\d\d_\d{6}Z\.mhl$/);
  execFileSync('xmllint', ['--noout', '--nonet', '--schema', join(schemas, 'ASCMHL.xsd'), seal.file], { stdio: 'pipe' });
  execFileSync('xmllint', ['--noout', '--nonet', '--schema', join(schemas, 'ASCMHLDirectory__combined.xsd'), join(dirname(seal.file), 'ascmhl_chain.xml')], { stdio: 'pipe' });
  const outside = execFileSync('xxhsum', ['-H128', join(at.folder, 'Clips/bell.mov')], { encoding: 'utf8' }).split(' ')[0] as string;
  expect(readFileSync(seal.file, 'utf8')).toContain(`>${outside}</xxh128>`);
  const order = { day: 'day', roll: 'A001', folder: at.folder, copies: [], manifests: [at.to], readers: 1 };
  expect((await intakeRoll(order)).findings).toEqual([]);
  appendFileSync(join(at.folder, 'Clips/bell.mov'), '!');
  expect((await intakeRoll(order)).findings.map(({ code, file }) => [code, file])).toEqual([['roll-file-size-differs', 'Clips/bell.mov']]);
  expect(readdirSync(at.folder).sort()).toEqual(['Clips', 'sheet <1> & "2".txt', 'two\nlines.mov']);
  expect(readdirSync(join(at.to, 'A001'))).toEqual(['ascmhl']);
});

test('a seal is never written over', async () => {
  const at = roll();
  const first = await sealRoll({ rollFolder: at.folder, to: at.to });
  const before = readFileSync(first.file);
  expect(await codesOf(sealRoll({ rollFolder: at.folder, to: at.to }))).toEqual(['seal-exists']);
  expect(readFileSync(first.file)).toEqual(before);
});

test('what cannot be vouched for is not sealed, and nothing is left behind', async () => {
  const raw = roll({ [nameFromBytes(Buffer.from([0xe9, 0x2e, 0x6d, 0x6f, 0x76]))]: 'z' });
  expect(await codesOf(sealRoll({ rollFolder: raw.folder, to: raw.to }))).toEqual(['seal-name-unwritable']);
  const linked = roll();
  symlinkSync('/etc', join(linked.folder, 'out'));
  expect(await codesOf(sealRoll({ rollFolder: linked.folder, to: linked.to }))).toEqual(['link-leaves-roll']);
  expect(await codesOf(sealRoll({ rollFolder: linked.folder, to: linked.folder }))).toEqual(['folders-overlap']);
  expect(readdirSync(dirname(raw.to))).toEqual(['day']);
  expect(readdirSync(dirname(linked.to))).toEqual(['day']);
});
