/** What set-up decides, from literals. */
import { describe, expect, test } from 'vitest';
import { closingLine, countTests } from '../../setup/count.mjs';
import { installPlan } from '../../setup/install-plan.mjs';
import { needs } from '../../setup/needs.mjs';
import { nodeTooOld } from '../../setup/node-version.mjs';
import { sameAsLock } from '../../setup/packages.mjs';
import { table } from '../../setup/table.mjs';

describe('Node', () => {
  test.each(['v20.19.0', 'v20.20.2', 'v22.0.0', 'v24.1.0-nightly2025'])('%s will do', (version) => {
    expect(nodeTooOld(version)).toBeNull();
  });
  test.each(['v20.18.3', 'v18.20.4', 'v8.0.0', 'nonsense'])(
    '%s is refused with found, expected and remedy',
    (version) => {
      const text = nodeTooOld(version);
      expect(text).toContain(`found     ${version}`);
      expect(text).toContain('expected  20.19 or newer');
      expect(text).toContain('remedy');
    },
  );
});

describe('missing programs', () => {
  const missing = needs.run;
  test('root on Debian: installed, each package once', () => {
    expect(installPlan(missing, { programs: ['apt-get'], root: true, sudo: false })).toEqual({
      action: 'install',
      packages: ['ffmpeg', 'redis-server'],
      sudo: false,
    });
  });
  test('sudo without a password: installed through it', () => {
    expect(installPlan(missing, { programs: ['apt-get'], root: false, sudo: true })).toEqual({
      action: 'install',
      packages: ['ffmpeg', 'redis-server'],
      sudo: true,
    });
  });
  test('no right to install: the command for apt, nothing else', () => {
    const plan = installPlan(missing, { programs: ['apt-get'], root: false, sudo: false });
    expect(plan.action).toBe('tell');
    expect(plan.lines).toContain(
      '  sudo apt-get update && sudo apt-get install -y --no-install-recommends ffmpeg redis-server',
    );
    expect(plan.lines?.join('\n')).toContain("redis-server or valkey-server (carries the night's queue)");
  });
  test('macOS: the command for brew, without sudo', () => {
    const plan = installPlan(missing, { programs: ['brew'], root: false, sudo: true });
    expect(plan.lines).toContain('  brew install ffmpeg redis');
  });
  test.each([
    ['dnf', 'sudo dnf install -y ffmpeg-free valkey'],
    ['pacman', 'sudo pacman -S --needed ffmpeg valkey'],
  ])('%s: named, never run', (program, command) => {
    expect(installPlan(missing, { programs: [program], root: false, sudo: true }).lines).toContain(
      `  ${command}`,
    );
  });
  test('no package manager: says which programs, and that they must be on PATH', () => {
    const plan = installPlan(missing, { programs: [], root: true, sudo: false });
    expect(plan.action).toBe('tell');
    expect(plan.lines?.join('\n')).toMatch(/ffmpeg[\s\S]*ffprobe[\s\S]*redis-server[\s\S]*PATH/);
  });
  test('after an install that did not help nothing is installed again', () => {
    expect(installPlan(missing, { programs: ['apt-get'], root: true, sudo: false }, false).lines).toContain(
      '  apt-get update && apt-get install -y --no-install-recommends ffmpeg redis-server',
    );
  });
});

describe('packages against the lock file', () => {
  const lock = {
    '': { version: '0.1.0' },
    'node_modules/a': { version: '1.0.0' },
    'node_modules/b': { version: '2.0.0', optional: true },
  };
  test.each([
    ['all there', { 'node_modules/a': { version: '1.0.0' }, 'node_modules/b': { version: '2.0.0' } }, true],
    ['an optional package that could not be fetched', { 'node_modules/a': { version: '1.0.0' } }, true],
    ['another version', { 'node_modules/a': { version: '1.0.1' } }, false],
    [
      'another version of an optional package',
      { 'node_modules/a': { version: '1.0.0' }, 'node_modules/b': { version: '1.9.0' } },
      false,
    ],
    ['one is not there', {}, false],
  ])('%s: %#', (_title, installed, same) => {
    expect(sameAsLock(lock, installed)).toBe(same);
  });
});

describe('the closing line', () => {
  const file = (status: string, tests: readonly string[]) => ({
    status,
    assertionResults: tests.map((one) => ({ status: one })),
  });
  test.each([
    [
      'tests are counted',
      { testResults: [file('passed', ['passed', 'passed']), file('failed', ['passed', 'failed'])] },
      1,
      '3 passed, 1 failed',
    ],
    [
      'a file that cannot be loaded is a failure',
      { testResults: [file('passed', ['passed']), file('failed', [])] },
      1,
      '1 passed, 1 failed',
    ],
    [
      'an error outside of every test is a failure',
      { testResults: [file('passed', ['passed'])] },
      1,
      '1 passed, 1 failed',
    ],
    ['a run without tests is a failure', { testResults: [] }, 0, '0 passed, 1 failed'],
    ['a runner that wrote nothing is a failure', null, 1, '0 passed, 1 failed'],
    [
      'what did not run is reported',
      { testResults: [file('passed', ['passed', 'skipped', 'todo'])] },
      0,
      '1 passed, 0 failed, 2 skipped',
    ],
  ])('%s', (_title, record, status, line) => {
    expect(closingLine(countTests(record, status))).toBe(line);
  });
});

test('a table has straight columns', () => {
  expect(
    table(
      ['name', 'measured'],
      [
        ['intake', '0.9'],
        ['a longer name', '1'],
      ],
    ),
  ).toBe('name           measured\n-------------  --------\nintake         0.9\na longer name  1');
});
