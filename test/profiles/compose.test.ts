/** The one place where fluent-ffmpeg is used, through a private call of it: what of the library must not change. */
import ffmpeg from 'fluent-ffmpeg';
import { expect, test } from 'vitest';
import { composeOutputs } from '../../profiles/recipe/compose.ts';

const outputs = [
  { options: ['-map', '0:v', '-metadata', 'title=The bell, second pour'], target: 'file:/staging/a b.mov' },
  { options: ['-f', 'rawvideo'], target: 'pipe:3' },
] as const;
const wanted = [...outputs[0].options, 'file:/staging/a b.mov', '-f', 'rawvideo', 'pipe:3'];

test('the installed library has the private call, which takes nothing and gives a list of texts', () => {
  const command: unknown = ffmpeg().output('pipe:3').outputOptions('-f', 'rawvideo');
  expect(
    command,
    'fluent-ffmpeg has lost `_getArguments`: install the version that package.json names, or put the list together in profiles/recipe/compose.ts',
  ).toHaveProperty('_getArguments', expect.any(Function));
  expect(composeOutputs([{ options: ['-f', 'rawvideo'], target: 'pipe:3' }])).toEqual([
    '-f',
    'rawvideo',
    'pipe:3',
  ]);
});

test('options and targets come out as they went in, in order, spaces and all', () => {
  expect(composeOutputs(outputs)).toEqual(wanted);
});

const command = (given: unknown) => ({
  output: () => ({ outputOptions: () => undefined }),
  _getArguments: () => given,
});

test.each<[string, unknown, string]>([
  ['the private call is gone', { output: () => ({}) }, 'no `_getArguments`'],
  ['a command is no object any more', undefined, 'no `output`'],
  ['it gives a promise', command(Promise.resolve(wanted)), 'gives no list of texts'],
  ['it gives one text', command(wanted.join(' ')), 'gives no list of texts'],
  ['it leaves an argument out', command(wanted.slice(1)), 'it gives ["0:v"'],
  ['it adds one', command([...wanted, '-shortest']), '"-shortest"] for'],
  ['it splits a text at its space', command(wanted.flatMap((item) => item.split(' '))), 'it gives'],
])('%s: the error says what changed and what to do', (_title, made, what) => {
  const compose = (): string[] => composeOutputs(outputs, () => made);
  expect(compose).toThrow(what);
  expect(compose).toThrow(
    /fluent-ffmpeg is not as profiles\/recipe\/compose\.ts knows it.*npm ci.*put the list together/,
  );
});
