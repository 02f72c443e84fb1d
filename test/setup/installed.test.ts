/**
 * The package as somebody installs it who has Node, ffmpeg and redis-server, and no checkout: packed by npm, installed
 * into an empty prefix, run from another folder, under the name that npm gives it.
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { makeDay } from '../support/day.ts';
import { sharedFolder } from '../support/folder.ts';

const folder = mkdtempSync(join(sharedFolder, 'installed-'));
const prefix = join(folder, 'prefix');
const elsewhere = join(folder, 'elsewhere');

interface Ran {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** Without what npm and this checkout put into the environment of their children. */
function cleanEnvironment(): NodeJS.ProcessEnv {
  return Object.fromEntries(
    Object.entries(process.env).filter(
      ([name]) => name !== 'NODE_PATH' && !name.startsWith('npm_lifecycle') && !name.startsWith('RUSHLIGHT_'),
    ),
  );
}

function run(command: string, args: readonly string[], cwd: string): Ran {
  const ended = spawnSync(command, args, { cwd, encoding: 'utf8', env: cleanEnvironment() });
  if (ended.error !== undefined) throw ended.error;
  return { status: ended.status, stdout: ended.stdout, stderr: ended.stderr };
}

const rushlight = (...args: string[]): Ran => run(join(prefix, 'bin', 'rushlight'), args, elsewhere);

beforeAll(() => {
  mkdirSync(elsewhere);
  const packed = run('npm', ['pack', '--pack-destination', folder], packageFolder);
  expect(packed.status, packed.stderr).toBe(0);
  const archive = readdirSync(folder).filter((name) => name.endsWith('.tgz'));
  expect(archive).toHaveLength(1);
  const options = ['--global', '--prefix', prefix, '--prefer-offline', '--no-audit', '--no-fund'];
  const installed = run('npm', ['install', ...options, join(folder, archive[0] as string)], folder);
  expect(installed.status, installed.stderr).toBe(0);
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a package installed in an empty prefix', () => {
  test('finds its profiles and names commands as they are typed here', () => {
    expect(rushlight('profiles', 'list', '--json')).toMatchObject({ status: 0 });
    const explained = rushlight('explain', 'tool-missing');
    expect(explained.status).toBe(0);
    expect(explained.stdout).toContain('`rushlight doctor`');
  });

  test('has compiled kernels, a font, and what else its profiles need', () => {
    const report = JSON.parse(rushlight('doctor', '--json').stdout) as {
      lines: { what: string; state: string }[];
    };
    const stateOf = (what: string): string | undefined =>
      report.lines.find((line) => line.what === what)?.state;
    expect([stateOf('kernels'), stateOf('font')]).toEqual(['good', 'good']);
  });

  test('takes a roll to ready, with workers of its own, in a proxy and in a master of frames', async () => {
    const day = await makeDay(join(folder, 'day-03'), { A001: { 'A001C001.mov': { frames: 6 } } });
    // A master asks what the code values mean, and the movie has no tags.
    const settings = join(folder, 'show.yaml');
    writeFileSync(settings, 'version: 1\nshow:\n  input: { name: bt709 }\n');
    const delivery = join(folder, 'delivery');
    const ended = rushlight(
      ...[
        'run',
        day,
        '--deliver',
        delivery,
        '--work',
        join(folder, 'work'),
        '--settings',
        settings,
        '--json',
      ],
      ...['--profile', 'review-h264', '--profile', 'dpx-10'],
    );
    expect(ended.status, ended.stderr).toBe(0);
  });
});
