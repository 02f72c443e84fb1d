/** The long lane: which parts there are, what is left of them, and that what cannot be run counts as failed. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import {
  FUZZ_CASES,
  helpText,
  NODE_MAJORS,
  partNames,
  parts,
  readOptions,
  stepsLeft,
  stepsOf,
  TABLES,
} from '../../setup/long-lane.mjs';
import { sourcesOf } from '../house/sources.ts';

const whole = { hasFuzz: true, fuzzState: '/state.json', hasImage: true };

test('help names every part with its time, each of them under an hour', () => {
  const lines = helpText().split('\n');
  for (const [name, { minutes, about }] of Object.entries(parts)) {
    expect(
      lines.filter((line) => line.trim().startsWith(`${name} `) && line.includes(`${minutes} min`)),
    ).toHaveLength(1);
    expect(about).not.toBe('');
    expect(minutes).toBeLessThan(60);
  }
});

describe('the command line', () => {
  test.each<[string[], object]>([
    [[], { parts: partNames, again: false, help: false }],
    [['--part', 'node'], { parts: ['node'], again: false, help: false }],
    [['--again', '--part', 'stores'], { parts: ['stores'], again: true, help: false }],
    [['--help'], { parts: partNames, again: false, help: true }],
    [['--part', 'bell'], { error: `--part: bell is none of ${partNames.join(', ')}` }],
    [['--part'], { error: `--part: nothing is none of ${partNames.join(', ')}` }],
    [['node'], { error: 'unknown option node' }],
  ])('%j', (words, options) => {
    expect(readOptions(words)).toEqual(options);
  });
});

test('the titles of all steps differ: the record of what passed goes by them', () => {
  const titles = partNames.flatMap((part) => stepsOf(part, whole).map(({ title }) => title));
  expect(new Set(titles).size).toBe(titles.length);
});

test('every long test file belongs to a part', () => {
  const folders = partNames.flatMap((part) => [
    // Steps of one part may run the same files, each with a seed of its own.
    ...new Set(
      stepsOf(part, whole)
        .filter(({ env }) => env?.RUSHLIGHT_TEST_LANE === 'long')
        .map(({ args }) => args?.at(-1)?.replace(/\/$/, '') as string),
    ),
  ]);
  const files = sourcesOf('test')
    .map(({ file }) => file)
    .filter((file) => file.endsWith('.long.test.ts'));
  expect(files.map((file) => folders.filter((folder) => file.startsWith(`${folder}/`)).length)).toEqual(
    files.map(() => 1),
  );
  expect(folders.filter((folder) => !files.some((file) => file.startsWith(`${folder}/`)))).toEqual([]);
});

test('the part of the tables runs every test file that leaves rows out of the quick lane', () => {
  const files = sourcesOf('test')
    .filter(({ file, text }) => file.endsWith('.test.ts') && /from '[./]+\/support\/lane\.ts'/.test(text))
    .map(({ file }) => file);
  expect([...TABLES].sort()).toEqual(files.sort());
  expect(stepsOf('tables', whole)).toMatchObject([{ env: { RUSHLIGHT_TEST_LANE: 'tables' } }]);
});

test.each(partNames)('what %s starts is there, or the part says what is missing', (part) => {
  const has = (name: string): boolean => existsSync(join(packageFolder, 'setup', name));
  for (const step of stepsOf(part, { ...whole, hasFuzz: has('fuzz.mjs'), hasImage: has('image.mjs') }))
    expect(existsSync(join(packageFolder, step.args?.[0] ?? '')) && step.args !== undefined).toBe(
      step.missing === undefined,
    );
});

test.each<[string, object, string]>([
  ['fuzz', { ...whole, hasFuzz: false }, 'setup/fuzz.mjs'],
  ['image', { ...whole, hasImage: false }, 'setup/image.mjs'],
])('without its program %s has one step, which never counts as passed', (part, here, missing) => {
  const steps = stepsOf(part, here as typeof whole);
  expect(steps).toEqual([{ title: `${missing} is not there`, missing }]);
  expect(stepsLeft(steps, [`${missing} is not there`])).toEqual(steps);
});

test('a step that passed is not run again', () => {
  const steps = stepsOf('node', whole);
  expect(steps.map(({ node }) => node)).toEqual(NODE_MAJORS.flatMap((major) => [major, major, major, major]));
  expect(
    stepsLeft(
      steps,
      steps.slice(0, 3).map(({ title }) => title),
    ),
  ).toEqual(steps.slice(3));
  expect(stepsLeft(steps, [])).toEqual(steps);
});

test('the fuzzing is asked for its cases, its seed, and a state of its own', () => {
  expect(stepsOf('fuzz', whole).map(({ args }) => args)).toEqual([
    ['setup/fuzz.mjs', '--cases', String(FUZZ_CASES), '--seed', '1', '--state', '/state.json'],
  ]);
});
