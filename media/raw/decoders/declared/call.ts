/** One call of a declared decoder's program: its arguments put together, its folder made and removed, its end judged. */
import { mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import { hasRawBytes } from '../../../../files/names.ts';
import { runTool } from '../../../../process/run.ts';
import { DecoderFailed } from '../decoder.ts';
import { whatHappened } from '../libraw.ts';
import { withPrivateLink } from '../private-link.ts';
import type { LoadedDecoder } from './programs.ts';

export interface Call {
  readonly program: string;
  /** As declared, the program first. */
  readonly command: readonly string[];
  /** Absolute, in the form of files/names.ts. */
  readonly path: string;
  readonly frame: number;
  readonly signal?: AbortSignal;
}

/** One pass over the argument: what stands in for a placeholder is never read for another. */
function filled(argument: string, values: Readonly<Record<string, string>>): string {
  return argument.replace(/\{(?:file|frame|folder)\}/g, (found) => values[found] as string);
}

/** Reads all of stdout with `onStdout`. Throws DecoderFailed unless the program ended by itself with 0, and the signal's reason when stopped. */
export async function callProgram(
  { declared }: LoadedDecoder,
  call: Call,
  onStdout: (stream: Readable, touch: () => void) => Promise<void>,
): Promise<void> {
  await withPrivateLink(call.path, async (link, folder) => {
    const scratch = join(folder, 'scratch');
    await mkdir(scratch);
    // A name that no command line can carry is reached by the link whatever the declaration says.
    const file = declared.takes.in_place && !hasRawBytes(call.path) ? call.path : link;
    const args = call.command
      .slice(1)
      .map((argument) =>
        filled(argument, { '{file}': file, '{frame}': String(call.frame), '{folder}': scratch }),
      );
    let touch = (): void => undefined;
    const run = await runTool(call.program, args, {
      cwd: scratch,
      stallMilliseconds: declared.patience_seconds * 1000,
      onStart: (given) => {
        touch = given;
      },
      onStdout: (stream) => onStdout(stream, () => touch()),
      ...(call.signal === undefined ? {} : { signal: call.signal }),
    });
    call.signal?.throwIfAborted();
    if (run.reason !== 'exited' || run.exitCode !== 0)
      throw new DecoderFailed(declared.name, whatHappened(run));
  });
}
