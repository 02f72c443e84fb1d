/** One ffmpeg that is fed with finished pictures, watched. Reports what happened as fields; judges nothing. */
import type { MediaTools } from '../../process/locate.ts';
import { type PipeReader, type RunResult, runTool } from '../../process/run.ts';
import { newWatched, progressReader, type Watched, watchLine } from '../watch.ts';

export interface FedRequest {
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly args: readonly string[];
  /** Of all but the last pipe, from which the pictures are read. */
  readonly pipes: readonly PipeReader[];
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
  /** When the program has ended, however. */
  readonly clean: () => Promise<void>;
}

export interface FedFfmpeg {
  /** Waits until the program has taken the picture, or has ended: then it takes nothing more, and `end` says why. Never rejects. */
  take(picture: Uint8Array): Promise<void>;
  /** After the last picture; `watched.decoded`: pictures that it took in. Throws what the runner throws. */
  end(): Promise<{ readonly run: RunResult; readonly watched: Watched }>;
  /** Ends it wherever it is; nothing is reported. */
  stop(): Promise<void>;
}

function latch(): { readonly passed: Promise<void>; readonly open: () => void } {
  let open = (): void => undefined;
  const passed = new Promise<void>((resolve) => {
    open = resolve;
  });
  return { passed, open };
}

export function startFed({ tools, args, pipes, stallMilliseconds, signal, clean }: FedRequest): FedFfmpeg {
  const given = new AbortController();
  const watched = newWatched();
  let touch = (): void => {};
  /** A picture is offered, or there are no more: from here on silence is a stall. */
  let busy = false;
  let write: ((bytes: Uint8Array) => Promise<boolean>) | null = null;
  const opened = latch();
  const finished = latch();
  let last = { frame: -1, bytes: -1 };
  const read = progressReader((sign) => {
    if (sign.frame === last.frame && sign.bytes === last.bytes) return;
    last = sign;
    touch();
  });
  // An encoder that nobody gives anything is not stalled.
  const idle = setInterval(
    () => {
      if (!busy) touch();
    },
    Math.max(20, Math.floor(stallMilliseconds / 4)),
  );
  const run = async (): Promise<RunResult> => {
    try {
      return await runTool(tools.ffmpeg.path, args, {
        signal: AbortSignal.any([signal, given.signal]),
        stallMilliseconds,
        pipes,
        feed: async (own) => {
          write = own;
          opened.open();
          await finished.passed;
        },
        onStart: (sign) => {
          touch = sign;
        },
        onStderrLine: (line) => watchLine(watched, line),
        onProgress: async (stream) => {
          for await (const chunk of stream) read((chunk as Buffer).toString('utf8'));
        },
      });
    } finally {
      clearInterval(idle);
      await clean();
    }
  };
  const ended = run();
  const over = ended.then(
    () => undefined,
    () => undefined,
  );
  return {
    async take(picture) {
      await Promise.race([opened.passed, over]);
      busy = true;
      touch();
      await write?.(picture);
      busy = false;
      touch();
    },
    async end() {
      busy = true;
      touch();
      finished.open();
      return { run: await ended, watched };
    },
    async stop() {
      given.abort();
      finished.open();
      await over;
    },
  };
}
