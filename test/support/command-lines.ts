/** Command lines in texts that people read: which there are, and whether the program has their commands and options. */
import type { CommandUnknownOpts } from '@commander-js/extra-typings';
import { program } from '../../coordinator/program.ts';

export const root = program(() => undefined);

/** Every command with the commands below it. */
function commandsOf(
  command: CommandUnknownOpts,
  above: readonly string[] = [],
): [string, CommandUnknownOpts][] {
  return command.commands.flatMap((sub) => {
    const path = [...above, sub.name()];
    return [[path.join(' '), sub] as [string, CommandUnknownOpts], ...commandsOf(sub, path)];
  });
}

export const commands = new Map(commandsOf(root));
const optionsOf = (command: CommandUnknownOpts): Set<string> =>
  new Set([...command.options.map((option) => option.long ?? ''), '--help']);
export const everyOption = new Set([...commands.values()].flatMap((command) => [...optionsOf(command)]));

/** `rushlight …` as a reader types it: in backticks, or in a block of commands. Lines that end in \ go on. */
export function commandLinesOf(text: string): string[] {
  return [
    ...text
      .replaceAll(/\\\n\s*/g, ' ')
      .matchAll(/(?:`|^ *)(?:npx rushlight|rushlight|npm start --) ([a-z][^`\n]*)/gm),
  ].map((match) => (match[1] as string).replace(/\s+#.*/, ''));
}

/** What is wrong with a line; null when it is a command with options of its own. */
export function faultOf(line: string): string | null {
  const [first = '', second = ''] = line.split(/\s+/);
  if (first === 'help')
    return second === '' || second.startsWith('<') || commands.has(second) ? null : 'no command';
  const command = commands.get(`${first} ${second}`) ?? commands.get(first);
  if (command === undefined) return 'no command';
  const known = optionsOf(command);
  const unknown = [...line.matchAll(/(?<![\w-])--[a-z][a-z-]*/g)]
    .map(([name]) => name)
    .filter((name) => !known.has(name));
  return unknown.length === 0 ? null : `no ${unknown.join(', ')}`;
}

/** A fenced block of a page: its language, and its text without the indentation of the list that it is in. */
export interface FencedBlock {
  readonly language: string;
  readonly text: string;
}

export function fencedBlocksOf(page: string): FencedBlock[] {
  return [...page.matchAll(/^( *)```([a-z]*)\n([\s\S]*?)^\1```$/gm)].map(
    ([, indent = '', language = '', text = '']) => ({
      language,
      text: text.replaceAll(new RegExp(`^${indent}`, 'gm'), ''),
    }),
  );
}

/** The lines of a block of commands as a shell takes them: what ends in \ goes on, remarks and empty lines left out. */
export const shellLinesOf = (text: string): string[] =>
  text
    .replaceAll(/\\\n\s*/g, ' ')
    .split('\n')
    .map((line) => line.trim())
    .filter((line) => line !== '' && !line.startsWith('#'));
