/** Starts the thread of a live page, and ends it. Whatever becomes of it, the run goes on. */
import { Worker } from 'node:worker_threads';
import { programFile } from '../../files/installation.ts';
import type { PageSetup } from './serve.ts';
import type { FromPageThread, ToPageThread } from './thread-words.ts';

/** More than it needs with as many readers as it lets in; what leaks ends the thread and not the run. */
const MOST_MEGABYTES = 256;
/** Telling readers how it ended must not keep a run from ending. */
const END_MILLISECONDS = 3_000;

export interface PageThread {
  /** Whole, to be typed; a reason where it is not served. */
  readonly started: Promise<{ readonly addresses: readonly string[] } | { readonly why: string }>;
  end(): Promise<void>;
}

/** `gone`: it was served, and is not any more. */
export function startPageThread(setup: PageSetup, gone: (why: string) => void): PageThread {
  const thread = new Worker(programFile('coordinator/live/thread.js'), {
    workerData: setup,
    execArgv: [],
    resourceLimits: { maxOldGenerationSizeMb: MOST_MEGABYTES },
  });
  thread.unref();
  let isEnding = false;
  let isServed = false;
  const ended = new Promise<void>((resolve) => thread.once('exit', () => resolve()));
  const started = new Promise<{ readonly addresses: readonly string[] } | { readonly why: string }>(
    (resolve) => {
      const over = (why: string): void => {
        if (isServed && !isEnding) gone(why);
        isServed = false;
        resolve({ why });
      };
      thread.on('message', (message: FromPageThread) => {
        if (message.kind === 'refused') return resolve({ why: message.why });
        isServed = true;
        resolve({ addresses: message.addresses });
      });
      thread.on('error', (error) => over(error.message));
      thread.on('exit', () => over('its thread ended'));
    },
  );
  return {
    started,
    end: async () => {
      isEnding = true;
      thread.postMessage('end' satisfies ToPageThread);
      let timer: NodeJS.Timeout | undefined;
      const late = new Promise<void>((resolve) => {
        timer = setTimeout(resolve, END_MILLISECONDS);
      });
      await Promise.race([ended, late]);
      clearTimeout(timer);
      await thread.terminate();
    },
  };
}
