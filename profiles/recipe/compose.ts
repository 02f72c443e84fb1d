/**
 * Argument lists of outputs, put together by fluent-ffmpeg behind this one file. It composes and runs nothing: options
 * go in as separate arguments, since it splits a text with a space in it.
 */
import ffmpeg from 'fluent-ffmpeg';

export interface ComposedOutput {
  readonly options: readonly string[];
  /** Absolute path; handed over behind `file:`. */
  readonly path: string;
}

interface Composer {
  _getArguments(): string[];
}

/** `-option value … file:<path>` for every output, in order. */
export function composeOutputs(outputs: readonly ComposedOutput[]): string[] {
  const command = ffmpeg({ logger: undefined }).input('file:input');
  for (const output of outputs) command.output(`file:${output.path}`).outputOptions([...output.options]);
  const all = (command as unknown as Composer)._getArguments();
  // Its list begins with the input and `-y`; both are written by whoever runs the command.
  const start = all.indexOf('-y');
  if (start < 0) throw new Error('the composer gave a list without -y');
  const args = all.slice(start + 1);
  const wanted = outputs.reduce((sum, output) => sum + output.options.length + 1, 0);
  if (args.length !== wanted) throw new Error(`the composer changed the arguments: ${args.length} of ${wanted}`);
  return args;
}
