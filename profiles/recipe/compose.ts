/**
 * Argument lists of outputs, put together by fluent-ffmpeg behind this one file. It composes and runs nothing: options
 * go in as separate arguments, and what comes out is held against what went in, since it takes a lone text with one
 * space apart and has other habits that recent programs do not share.
 */
import ffmpeg from 'fluent-ffmpeg';

export interface ComposedOutput {
  readonly options: readonly string[];
  /** A whole target as ffmpeg takes it: a file behind `file:`, a pipe, or the slaves of the tee muxer. */
  readonly target: string;
}

/** What of the library is used; `_getArguments` is a private call of it, the only one that gives the list and runs nothing. */
interface Composer {
  output(target: string): { outputOptions(...options: string[]): unknown };
  _getArguments(): unknown;
}

function isComposer(made: unknown): made is Composer {
  return (
    typeof made === 'object' &&
    made !== null &&
    'output' in made &&
    typeof made.output === 'function' &&
    '_getArguments' in made &&
    typeof made._getArguments === 'function'
  );
}

const isTextList = (value: unknown): value is string[] =>
  Array.isArray(value) && value.every((item) => typeof item === 'string');

function changed(what: string): Error {
  return new Error(
    `fluent-ffmpeg is not as profiles/recipe/compose.ts knows it: ${what}. Install the version that package.json names (npm ci). For another version, find its call that gives the argument list of a command and runs nothing; if it has none, put the list together in that file: options and target of each output, in order.`,
  );
}

/** `-option value … <target>` for every output, in order. `start`: begins a command of fluent-ffmpeg. */
export function composeOutputs(
  outputs: readonly ComposedOutput[],
  start: () => unknown = () => ffmpeg(),
): string[] {
  const command = start();
  if (!isComposer(command)) throw changed('a command has no `output` or no `_getArguments`');
  // Two arguments or more are taken as they stand; a single one would be split at its space.
  for (const { options, target } of outputs) command.output(target).outputOptions(...options);
  const given = command._getArguments();
  if (!isTextList(given)) throw changed('`_getArguments` gives no list of texts');
  // `-y` is put first for what it takes for a file, which a `file:` target is not to every version; the runner says it.
  const composed = given.filter((argument, index) => index > 0 || argument !== '-y');
  const wanted = outputs.flatMap(({ options, target }) => [...options, target]);
  if (composed.length !== wanted.length || composed.some((argument, index) => argument !== wanted[index]))
    throw changed(`it gives ${JSON.stringify(composed)} for ${JSON.stringify(wanted)}`);
  return composed;
}
