/** One decode of a whole file, every stream, by ffmpeg into nothing. */
import type { Readable } from 'node:stream';
import type { OpenedInput } from '../media/input.ts';
import { printable } from '../files/names.ts';
import type { MediaTools } from '../process/locate.ts';
import { runTool } from '../process/run.ts';
import type { DecodeFacts } from './measured.ts';
import type { Witness } from './witness.ts';

/** A decode that says nothing for this long hangs. */
const STALL_MILLISECONDS = 300_000;
const ERRORS_KEPT = 20;

/** ffmpeg's `-progress` form: `key=value` lines; calls back with each `frame`. */
async function readFrames(stream: Readable, onFrames: (frames: number) => void): Promise<void> {
  let rest = '';
  for await (const chunk of stream) {
    const lines = (rest + String(chunk)).split('\n');
    rest = lines.pop() ?? '';
    for (const line of lines) {
      const frames = /^frame=\s*(\d+)/.exec(line)?.[1];
      if (frames !== undefined) onFrames(Number(frames));
    }
  }
}

/**
 * `-xerror` makes ffmpeg end at the first damage, with a non-zero code; without it damage ends with 0. Messages at error
 * level count all the same, `repeat` keeps equal ones from being folded. null: it could not be started, so nothing was measured.
 */
export async function decodeWhole(
  input: OpenedInput,
  tools: Pick<MediaTools, 'ffmpeg'>,
  options: {
    threads?: number;
    signal?: AbortSignal;
    onFrames?: (frames: number) => void;
    witness?: Witness;
  } = {},
): Promise<DecodeFacts | null> {
  let frames = 0;
  let errorCount = 0;
  const errors: string[] = [];
  let touch = (): void => undefined;
  const threads = options.threads === undefined ? [] : ['-threads', String(options.threads)];
  const { witness } = options;
  const isCopied = witness?.graph === null;
  const graph = witness?.graph == null ? [] : ['-filter_complex', witness.graph];
  const run = await runTool(
    tools.ffmpeg.path,
    [
      '-hide_banner',
      '-nostdin',
      '-nostats',
      '-loglevel',
      'repeat+level+error',
      '-xerror',
      ...threads,
      ...input.args,
      ...(witness?.inputs ?? []),
      ...graph,
      '-progress',
      'pipe:3',
      '-stats_period',
      '1',
      '-map',
      '0:v',
      '-map',
      '0:a?',
      ...(isCopied ? ['-c:v', 'copy'] : ['-fps_mode', 'passthrough']),
      '-f',
      'null',
      '-',
      ...(witness?.args ?? []),
    ],
    {
      ...(witness === undefined ? {} : { pipes: witness.pipes }),
      ...(options.signal === undefined ? {} : { signal: options.signal }),
      stallMilliseconds: STALL_MILLISECONDS,
      onStart: (alive) => {
        touch = alive;
      },
      onProgress: (stream) =>
        readFrames(stream, (count) => {
          if (count > frames) touch();
          frames = count;
          options.onFrames?.(count);
        }),
      onStderrLine: (line) => {
        if (line.trim() === '') return;
        errorCount += 1;
        if (errors.length < ERRORS_KEPT) errors.push(printable(line.trim()).replace(/ @ 0x[0-9a-f]+\]/, ']'));
      },
    },
  );
  options.signal?.throwIfAborted();
  if (run.reason === 'not-started') return null;
  return { frames, errors, errorCount, exitCode: run.exitCode, ended: run.reason };
}
