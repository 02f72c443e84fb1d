/** The command line as its user meets it: what texts name exists, and what is wrong ends with its code and without a stack. */
import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { registry } from '../../findings/registry.ts';
import { packageFolder } from '../../files/installation.ts';
import { commandProcess, type RunCommand, runCli } from '../support/cli.ts';
import { freshFolder } from '../support/folder.ts';

const runCommand = commandProcess();

const commands = [
  ['run'],
  ['check'],
  ['plan'],
  ['manifest'],
  ['profiles', 'list'],
  ['profiles', 'show'],
  ['profiles', 'lint'],
  ['settings', 'new'],
  ['settings', 'lint'],
  ['status'],
  ['page'],
  ['audit'],
  ['sign'],
  ['worker'],
  ['volume', 'init'],
  ['doctor'],
  ['explain'],
  ['demo'],
  ['coordinator'],
];
/** Options of each command, by its `--help`. */
const options = new Map<string, Set<string>>();

beforeAll(async () => {
  for (const command of commands) {
    const { code, stdout } = await runCommand([...command, '--help']);
    expect(code).toBe(0);
    options.set(
      command.join(' '),
      new Set([...stdout.matchAll(/^ {2}(?:-\w, )?(--[a-z-]+)/gm)].map((match) => match[1] as string)),
    );
  }
});

/** Options of other programs that our texts name. */
const ofOthers = new Set(['--version']);

test('every option that a remedy names exists', () => {
  const known = new Set([...options.values()].flatMap((names) => [...names]));
  expect(known).toContain('--deliver');
  const named = Object.entries(registry).flatMap(([code, { title, remedy }]) =>
    [...`${title} ${remedy}`.matchAll(/(?<![\w-])--[a-z][a-z-]*/g)].map((match) => ({
      code,
      option: match[0],
    })),
  );
  expect(named.length).toBeGreaterThan(5);
  expect(named.filter(({ option }) => !known.has(option) && !ofOthers.has(option))).toEqual([]);
});

test('every command that a remedy or a page names exists, with the options named beside it', () => {
  const pages = [
    'README.md',
    ...readdirSync(join(packageFolder, 'docs'), { recursive: true, encoding: 'utf8' })
      .filter((name) => name.endsWith('.md'))
      .map((name) => join('docs', name)),
  ].map((name) => readFileSync(join(packageFolder, name), 'utf8'));
  const texts = [...Object.values(registry).map(({ remedy }) => remedy), ...pages];
  const named = texts.flatMap((text) =>
    [...text.matchAll(/`(?:npx )?rushlight ([a-z][^`]*)`/g)].map((match) => match[1] as string),
  );
  expect(named.length).toBeGreaterThan(5);
  const wrong = named.filter((line) => {
    if (/^help\b/.test(line)) return false;
    const [first = '', second = ''] = line.split(/\s+/);
    const own = options.get(first) ?? options.get(`${first} ${second}`);
    if (own === undefined) return !(first === 'profiles' && second === '');
    return [...line.matchAll(/--[a-z][a-z-]*/g)].some(([option]) => !own.has(option));
  });
  expect(wrong).toEqual([]);
});

describe('what cannot be is refused at once', () => {
  type Refusal = readonly [title: string, args: readonly string[], code: number, reported: string];
  async function refused(run: RunCommand, [, args, code, reported]: Refusal): Promise<void> {
    const folder = freshFolder('usage');
    mkdirSync(join(folder, 'empty'));
    writeFileSync(join(folder, 'file'), 'no folder');
    cpSync(join(packageFolder, 'test/fixtures/manifests/scenario_01'), join(folder, 'day'), {
      recursive: true,
    });
    const before = readdirSync(folder, { recursive: true }).sort();
    const result = await run(
      args.map((arg) => arg.replaceAll('{}', folder)),
      { XDG_CACHE_HOME: join(folder, '..', 'cache') },
    );
    expect(result.code, result.stderr).toBe(code);
    expect(result.stderr).toContain(reported);
    expect(result.stdout).toBe('');
    expect(result.stderr).not.toMatch(/^\s+at .*:\d+:\d+|node:internal|program-fault/m);
    // Nothing is written before everything is known to be right.
    expect(readdirSync(folder, { recursive: true }).sort()).toEqual(before);
  }

  /** `{}` stands for the folder of the case: `day` holds a roll, `empty` nothing, `file` is a file. */
  test.each<Refusal>([
    ['no such command', ['nope'], 2, 'unknown command'],
    ['a day that is not there', ['run', '{}/none', '--deliver', '{}/out'], 2, 'folder-missing'],
    [
      'an ffmpeg that is not there',
      ['run', '{}/day', '--deliver', '{}/out', '--ffmpeg', '{}/none'],
      3,
      'tool-missing',
    ],
  ])('%s: a process ends with that', (...refusal) => refused(runCli, refusal));

  test.each<Refusal>([
    ['no delivery', ['run', '{}/day'], 2, '--deliver'],
    ['an option without its value', ['run', '{}/day', '--deliver'], 2, 'argument missing'],
    ['an option that is not there', ['check', '{}/day', '--profile', 'x'], 2, 'unknown option'],
    ['a day that is a file', ['run', '{}/file', '--deliver', '{}/out'], 2, 'folder-missing'],
    ['a day without a roll, run', ['run', '{}/empty', '--deliver', '{}/out'], 2, 'no-rolls'],
    ['a day without a roll, check', ['check', '{}/empty'], 2, 'no-rolls'],
    ['a day without a roll, plan', ['plan', '{}/empty', '--deliver', '{}/out'], 2, 'no-rolls'],
    ['the delivery is the day', ['run', '{}/day', '--deliver', '{}/day'], 2, 'folders-overlap'],
    ['the delivery lies in the day', ['run', '{}/day', '--deliver', '{}/day/out'], 2, 'folders-overlap'],
    ['the day lies in the delivery', ['run', '{}/day', '--deliver', '{}'], 2, 'folders-overlap'],
    ['the day is named as its own copy', ['check', '{}/day', '--copy', '{}/day'], 2, 'folders-overlap'],
    ['a copy that is not there', ['check', '{}/day', '--copy', '{}/none'], 2, 'folder-missing'],
    ['manifests that are not there', ['check', '{}/day', '--manifests', '{}/none'], 2, 'folder-missing'],
    [
      'the work folder lies in the day',
      ['run', '{}/day', '--deliver', '{}/out', '--work', '{}/day/work'],
      2,
      'folders-overlap',
    ],
    [
      'a profile that is not there',
      ['run', '{}/day', '--deliver', '{}/out', '--profile', 'nobody'],
      2,
      'profile-missing',
    ],
    ['a rate that is none', ['run', '{}/day', '--deliver', '{}/out', '--rate', 'fast'], 2, '24000/1001'],
    ['no worker and no queue', ['run', '{}/day', '--deliver', '{}/out', '--workers', '0'], 2, 'usage-wrong'],
    [
      'a queue that is no address',
      ['run', '{}/day', '--deliver', '{}/out', '--queue', 'http://x'],
      2,
      'redis://',
    ],
    [
      'a roll to make a manifest of that is not there',
      ['manifest', '{}/none', '--to', '{}/manifests'],
      2,
      'folder-missing',
    ],
    [
      'a roll to make a manifest of in itself',
      ['manifest', '{}/day/A002R2EC', '--to', '{}/day'],
      2,
      'folders-overlap',
    ],
    ['nothing to tell the status of', ['status'], 2, 'usage-wrong'],
    ['a delivery that is not there, status', ['status', '{}/none'], 2, 'folder-missing'],
    ['a delivery that is not there, audit', ['audit', '{}/none'], 2, 'delivery-empty'],
    ['a key that is not there', ['sign', '{}/empty', '--key', '{}/none'], 2, 'key-unusable'],
    ['no key', ['sign', '{}/empty'], 2, '--key'],
    ['a public key that is not there', ['audit', '{}/empty', '--public-key', '{}/none'], 2, 'key-unusable'],
    ['a profile to show that is not there', ['profiles', 'show', 'nobody'], 2, 'profile-missing'],
    ['a folder of somebody else for the demo', ['demo', '--folder', '{}/day'], 2, 'demo-folder-taken'],
  ])('%s', (...refusal) => refused(runCommand, refusal));
});

describe('profiles lint, and run, refuse before anything runs', () => {
  const head = 'version: 1\nname: mine\nsummary: x\n';
  const faults: [what: string, text: string, code: string, line: number, said: string][] = [
    [
      'an unknown field',
      `${head}extends: editorial-vc3\nrastr: { width: 1280 }\n`,
      'profile-field-unknown',
      5,
      'raster',
    ],
    [
      'a value that a field cannot have',
      `${head}extends: editorial-vc3\ninterlaced: maybe\n`,
      'profile-value-wrong',
      5,
      'deinterlace',
    ],
    ['VC-3 in MP4', `${head}extends: editorial-vc3\ncontainer: mp4\n`, 'profile-combination', 5, 'mov'],
    [
      '10 bits for an 8-bit class',
      `${head}extends: editorial-vc3\npixels: 4:2:2 10-bit\n`,
      'profile-combination',
      5,
      '4:2:2 8-bit',
    ],
    [
      'a check left out',
      `${head}extends: editorial-vc3\nchecks: [frames]\n`,
      'profile-check-left-out',
      5,
      'duration',
    ],
    ['YAML that breaks off', `${head}raster: { width: 1280\n`, 'profile-unreadable', 5, ''],
  ];

  async function both(
    file: string,
    more: readonly string[] = [],
  ): Promise<{ code: number | null; text: string }[]> {
    const folder = freshFolder('lint');
    cpSync(join(packageFolder, 'test/fixtures/manifests/scenario_01'), join(folder, 'day'), {
      recursive: true,
    });
    const lint = await runCommand(['profiles', 'lint', file, ...more]);
    const run = await runCommand([
      'run',
      join(folder, 'day'),
      '--deliver',
      join(folder, 'out'),
      '--work',
      join(folder, 'work'),
      '--profile',
      file,
      ...more,
    ]);
    expect(existsSync(join(folder, 'out'))).toBe(false);
    return [lint, run].map(({ code, stdout, stderr }) => ({ code, text: stdout + stderr }));
  }

  test.each(faults)('%s', async (_, text, code, line, said) => {
    const file = join(freshFolder('mine'), 'mine.yaml');
    writeFileSync(file, text);
    for (const result of await both(file)) {
      expect(result.code, result.text).toBe(2);
      expect(result.text).toContain(`[${code}]`);
      expect(result.text).toContain(file);
      expect(result.text).toContain(`line ${line}`);
      expect(result.text).toContain(said);
      // People read it folded or not; the sentence is the registry's.
      expect(result.text.replaceAll(/\s+/g, ' ')).toContain(registry[code as keyof typeof registry].remedy);
    }
  });

  test('an encoder that this ffmpeg lacks', async () => {
    const folder = freshFolder('poor');
    const file = join(folder, 'mine.yaml');
    writeFileSync(file, `${head}extends: review-h264\n`);
    // The real program but for one line of its list.
    const poor = join(folder, 'ffmpeg');
    writeFileSync(
      poor,
      '#!/bin/sh\nreal=$(PATH=/usr/local/bin:/usr/bin:/opt/homebrew/bin command -v ffmpeg)\ncase "$*" in *-encoders*) "$real" "$@" | grep -v libx264;; *) exec "$real" "$@";; esac\n',
      { mode: 0o755 },
    );
    for (const result of await both(file, ['--ffmpeg', poor])) {
      expect([2, 3], result.text).toContain(result.code);
      expect(result.text).toContain('[profile-tool-lacks]');
      expect(result.text).toContain('mine');
      expect(result.text).toContain('libx264');
      expect(result.text).toContain('Install a full build of ffmpeg');
    }
  });
});
