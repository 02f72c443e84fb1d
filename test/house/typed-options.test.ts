/** Options of commands have types of their own: what commander alone gives an action is `any`, which no search for the word finds. */
import { Command, Option } from '@commander-js/extra-typings';
import { expect, test } from 'vitest';
import { collect, rateOption, wholeNumber } from '../../coordinator/commands/options.ts';
import { importsOf, rooms, sourcesOf } from './sources.ts';

type IsAny<Type> = 0 extends 1 & Type ? true : false;

test('an action gets options of known types: the compiler holds this, not the run', async () => {
  let seen: unknown = null;
  await new Command()
    .argument('<day>')
    .addOption(new Option('--readers <n>', '').argParser(wholeNumber(1, 64)))
    .addOption(new Option('--profile <name>', '').argParser(collect))
    .addOption(new Option('--rate <rate>', '').argParser(rateOption))
    .addOption(new Option('--json', ''))
    .action((day, options) => {
      const untyped: IsAny<typeof day | typeof options | typeof options.readers | typeof options.rate> =
        false;
      const readers: number | undefined = options.readers;
      const profiles: readonly string[] | undefined = options.profile;
      const json: true | undefined = options.json;
      seen = { untyped, day, readers, profiles, json, rate: options.rate };
    })
    .parseAsync(['d', '--readers', '8', '--profile', 'a', '--profile', 'b', '--rate', '25.0', '--json'], {
      from: 'user',
    });
  expect(seen).toEqual({
    untyped: false,
    day: 'd',
    readers: 8,
    profiles: ['a', 'b'],
    json: true,
    rate: { num: 25, den: 1 },
  });
});

test('commands are built with those types alone', () => {
  const plain = rooms
    .flatMap((room) => sourcesOf(room))
    .filter(({ text }) => importsOf(text).includes('commander'))
    .map(({ file, text }) => [file, /import \{([^}]*)\} from 'commander'/.exec(text)?.[1]?.trim()]);
  expect(plain).toEqual([['coordinator/commands/options.ts', 'InvalidArgumentError']]);
});
