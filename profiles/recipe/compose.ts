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

/** The one member that is used. */
interface Composer {
  output(target: string): { outputOptions(...options: string[]): unknown };
  _getArguments(): string[];
}

/** `-option value … <target>` for every output, in order. */
export function composeOutputs(outputs: readonly ComposedOutput[]): string[] {
  const command = ffmpeg() as Composer;
  // Two arguments or more are taken as they stand; a single one would be split at its space.
  for (const { options, target } of outputs) command.output(target).outputOptions(...options);
  // `-y` comes by itself for what it takes for a file, which a `file:` target is not to every version; the runner says it.
  const composed = command._getArguments().filter((argument, index) => index > 0 || argument !== '-y');
  const wanted = outputs.flatMap(({ options, target }) => [...options, target]);
  if (composed.length !== wanted.length || composed.some((argument, index) => argument !== wanted[index])) {
    throw new Error(`the composer changed the arguments: ${JSON.stringify(composed)}`);
  }
  return composed;
}
