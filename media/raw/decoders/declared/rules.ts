/** What a declared decoder's fields may not say together, beyond what each may hold. Pure. */
import { type DeclaredDecoder, isCfa, placeholders } from '../../../declaration.ts';

export interface Contradiction {
  readonly path: readonly (string | number)[];
  readonly found: string;
  readonly expected: string;
}

const BRACES = /\{[^{}]*\}/g;

function strange(
  command: readonly string[],
  allowed: readonly string[],
  path: readonly (string | number)[],
): Contradiction[] {
  return command.flatMap((argument, index) =>
    [...argument.matchAll(BRACES)]
      .filter(([found]) => !allowed.includes(found))
      .map(([found]) => ({ path: [...path, index], found, expected: allowed.join(', ') })),
  );
}

/** Null: the expression reads, and has one group. */
function whyNoExpression(text: string): string | null {
  try {
    // The empty alternative matches anything, and its match has one place for each group.
    const groups = (new RegExp(`${text}|`, 'm').exec('') ?? []).length - 1;
    return groups === 1 ? null : `${groups} groups`;
  } catch (error) {
    return (error as Error).message;
  }
}

export function contradictions(decoder: DeclaredDecoder): Contradiction[] {
  const { takes, command, gives, probe } = decoder;
  const found: Contradiction[] = [
    ...strange(command, placeholders, ['command']),
    ...strange(probe?.command ?? [], ['{file}', '{folder}'], ['probe', 'command']),
  ];
  const say = (path: readonly (string | number)[], what: string, expected: string): unknown =>
    found.push({ path, found: what, expected });
  const hasFile = (list: readonly string[]): boolean =>
    list.some((argument, index) => index > 0 && argument.includes('{file}'));
  if (!hasFile(command)) say(['command'], 'no argument with {file}', "the clip's file among the arguments");
  if (probe !== null && !hasFile(probe.command))
    say(['probe', 'command'], 'no argument with {file}', "the clip's file among the arguments");
  if (isCfa(gives.samples)) {
    if (takes.clips === 'movie')
      say(
        ['gives', 'samples'],
        `${gives.samples} of a movie`,
        'rgb48 or rgbf32: nothing says what the sensor values of a movie mean',
      );
    if (!takes.names.every((name) => /\.dng$/i.test(name)))
      say(
        ['takes', 'names'],
        `${takes.names.join(', ')} with ${gives.samples}`,
        'names that end in .dng: only DNG tags say what sensor values mean',
      );
  }
  if (gives.around === 'netpbm' && gives.samples !== 'cfa16be' && gives.samples !== 'rgb48be')
    say(['gives', 'samples'], `${gives.samples} in Netpbm pictures`, 'cfa16be, rgb48be');
  if ((gives.width === null) !== (gives.height === null))
    say(['gives', gives.width === null ? 'width' : 'height'], 'null', 'a number, as the other one');
  const sizeKnown =
    gives.width !== null ||
    gives.around === 'netpbm' ||
    isCfa(gives.samples) ||
    (probe?.width != null && probe.height != null);
  if (!sizeKnown)
    say(
      ['gives', 'width'],
      'nothing says how large the pictures are',
      'numbers here, places in `probe`, or around: netpbm',
    );
  if (takes.clips === 'movie' && probe?.frames == null)
    say(['probe'], 'nothing says how many frames a movie has', 'a place of `frames`');
  if (probe?.format === 'json')
    for (const field of ['frames', 'rate', 'width', 'height', 'timecode', 'reel'] as const) {
      const pointer = probe[field];
      if (pointer !== null && !/^(?:\/[^/]*)+$/.test(pointer))
        say(['probe', field], pointer, 'a JSON pointer, as /streams/0/width');
    }
  if (probe?.format === 'text')
    for (const field of ['frames', 'rate', 'width', 'height', 'timecode', 'reel'] as const) {
      const text = probe[field];
      const why = text === null ? null : whyNoExpression(text);
      if (why !== null) say(['probe', field], `${text}: ${why}`, 'a regular expression with one group');
    }
  return found;
}
