/** docs/json.md against the documents themselves: every top-level field is on the page under its command, and the other way round. */
import { generateKeyPairSync } from 'node:crypto';
import { cpSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { commandProcess, type RunCommand, runCli } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { freshFolder } from '../support/folder.ts';

const runCommand = commandProcess();

const page = readFileSync(join(packageFolder, 'docs', 'json.md'), 'utf8');

/** Fields of the table under a heading: what stands in backquotes in its first column. `kind` is in the second. */
function section(title: string): { fields: string[]; kind: string } {
  const text = page.split(/^## /m).find((part) => part.startsWith(`${title}\n`));
  if (text === undefined) throw new Error(`docs/json.md has no part ${title}`);
  const rows = [...text.matchAll(/^\| (`.*?`) \| (.*) \|$/gm)].map(
    (match) => [match[1] as string, match[2] as string] as const,
  );
  const names = rows.flatMap(([left]) =>
    [...left.matchAll(/`([A-Za-z]+)`/g)].map((match) => match[1] as string),
  );
  return { fields: names.sort(), kind: /^0, `([a-z-]+)`$/.exec(rows[0]?.[1] ?? '')?.[1] ?? 'no kind' };
}

async function expectDocument(
  title: string,
  args: readonly string[],
  code: number,
  run: RunCommand = runCommand,
): Promise<void> {
  const result = await run([...args, '--json']);
  expect(result.code, result.stderr).toBe(code);
  const document = JSON.parse(result.stdout) as Record<string, unknown>;
  const { fields, kind } = section(title);
  expect(document.kind).toBe(kind);
  expect(document.version).toBe(0);
  expect(Object.keys(document).sort()).toEqual(fields);
}

test.each([
  ['Refusal', ['status'], 2],
  ['Refusal', ['no-such-command'], 2],
  ['Refusal', ['run'], 2],
  ['Refusal', ['profiles', 'show', 'nobody'], 2],
  ['profiles list', ['profiles', 'list'], 0],
  ['profiles show', ['profiles', 'show', 'review-h264'], 0],
  ['doctor', ['doctor'], 0],
])('%s, as `%j` prints it', async (title, args, code) => {
  await expectDocument(title, args, code);
});

test('status, audit and sign of a folder without a roll', async () => {
  const folder = freshFolder('json');
  await expectDocument('status', ['status', folder, '--work', join(folder, 'work')], 1);
  await expectDocument('audit', ['audit', folder], 1);
  const drive = freshFolder('drive');
  await expectDocument('handover', ['handover', folder, '--to', drive], 1);
  const key = join(folder, 'key.pem');
  writeFileSync(key, generateKeyPairSync('ed25519').privateKey.export({ type: 'pkcs8', format: 'pem' }), {
    mode: 0o600,
  });
  await expectDocument('sign', ['sign', folder, '--key', key], 1);
});

test('volume init', async () => {
  await expectDocument('volume init', ['volume', 'init', freshFolder('json')], 0);
});

test('settings lint of a right file and of a wrong one', async () => {
  const file = join(freshFolder('json'), 'show.yaml');
  writeFileSync(file, 'version: 1\n');
  await expectDocument('settings lint', ['settings', 'lint', file], 0);
  writeFileSync(file, 'version: 2\n');
  await expectDocument('settings lint', ['settings', 'lint', file], 2);
});

test('profiles lint of a right file', async () => {
  const file = join(freshFolder('json'), 'editorial-copy.yaml');
  cpSync(join(packageFolder, 'test', 'fixtures', 'profiles', 'small-vc3.yaml'), file);
  // The name of the file is not the name in it: wrong, and the document is the same.
  await expectDocument('profiles lint', ['profiles', 'lint', file], 2);
});

test('check, manifest and plan of a small day, and a night over it', async () => {
  const folder = freshFolder('json');
  const day = await makeDay(join(folder, 'day-04'), { A001: { 'A001C001.mov': { frames: 6 } } });
  mkdirSync(join(folder, 'manifests'));
  await expectDocument('check', ['check', day, '--quiet'], 0);
  await expectDocument('settings new', ['settings', 'new', day, '--to', join(folder, 'show.yaml')], 0);
  await expectDocument('manifest', ['manifest', join(day, 'A001'), '--to', join(folder, 'manifests')], 0);
  const profile = join(packageFolder, 'test', 'fixtures', 'profiles', 'small-h264.yaml');
  const common = [day, '--deliver', join(folder, 'delivery'), '--profile', profile, '--quiet'];
  await expectDocument('plan', ['plan', ...common], 0);
  await expectDocument(
    'run',
    ['run', ...common, '--work', join(folder, 'work'), '--workers', '1', '--page', '127.0.0.1:0'],
    0,
    async (args) => {
      const result = await runCli(args);
      // Its address is printed also where nothing else is.
      expect(result.stderr).toMatch(/^Live page: http:\/\/127\.0\.0\.1:\d+\/$/m);
      const { handover } = JSON.parse(result.stdout) as { handover: string };
      expect(handover).toBe(join(folder, 'delivery', 'day-04', 'handover'));
      return result;
    },
  );
});

test('every command of the command line has a part on the page', async () => {
  const { stdout } = await runCommand(['--help']);
  const commands = [...stdout.matchAll(/^ {2}([a-z]+) (?:\[options\])?.*/gm)]
    .map((match) => match[1] as string)
    .filter((name) => name !== 'help');
  expect(commands).toContain('run');
  const titles = [...page.matchAll(/^## (.*)$/gm)].map((match) => match[1] as string);
  expect(
    commands.filter((name) => !titles.some((title) => title === name || title.startsWith(`${name} `))),
  ).toEqual([]);
});
