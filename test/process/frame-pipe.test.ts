/** Frames that threads read in turn from the pipe of a program. */
import {
  closeSync,
  existsSync,
  openSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { Worker } from 'node:worker_threads';
import { expect, onTestFinished, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { type FramePipe, openFramePipe } from '../../process/frame-pipe.ts';
import { FIRST_PIPE, type RunResult, runTool } from '../../process/run.ts';
import { freshFolder } from '../support/folder.ts';

const FRAME_BYTES = 300_000;
const turnModule = pathToFileURL(join(packageFolder, 'dist', 'process', 'pipe-lock.js')).href;
const reader = `
const { parentPort, workerData: { share, bytes } } = require('node:worker_threads');
import(${JSON.stringify(turnModule)}).then(({ readTurn }) => {
  const room = new Uint8Array(bytes);
  parentPort.on('message', (turn) => {
    const whole = readTurn(share, turn, room);
    parentPort.postMessage({ turn, whole, first: room[0], same: room.every((byte) => byte === room[0]) });
  });
  parentPort.postMessage('ready');
});`;

interface Answer {
  readonly turn: number;
  readonly whole: boolean;
  readonly first: number;
  readonly same: boolean;
}

interface Threads {
  ask(thread: number, turn: number): Promise<Answer>;
}

async function threadsOf({ share }: FramePipe, count: number): Promise<Threads> {
  const workers = await Promise.all(
    Array.from({ length: count }, async () => {
      const worker = new Worker(reader, { eval: true, workerData: { share, bytes: FRAME_BYTES } });
      onTestFinished(() => void worker.terminate());
      await new Promise((resolve) => void worker.once('message', resolve));
      return worker;
    }),
  );
  return {
    ask: (thread, turn) =>
      new Promise((resolve) => {
        const worker = workers[thread] as Worker;
        worker.once('message', resolve);
        worker.postMessage(turn);
      }),
  };
}

async function freshPipe(): Promise<FramePipe & { readonly path: string }> {
  const path = join(freshFolder(), 'frames');
  const pipe = await openFramePipe(path);
  onTestFinished(() => pipe.close());
  return { ...pipe, path };
}

/** Frame n is full of bytes n. */
const writer = (frames: number, more = 0): string[] => [
  '-e',
  `const fs = require('node:fs'); const put = (bytes) => { for (let at = 0; at < bytes.length; ) at += fs.writeSync(${FIRST_PIPE}, bytes, at); }; for (let n = 0; n < ${frames}; n += 1) put(Buffer.alloc(${FRAME_BYTES}, n)); put(Buffer.alloc(${more}, 255));`,
];

const run = (
  pipe: FramePipe,
  command: string,
  args: readonly string[],
  read: () => Promise<void>,
  signal?: AbortSignal,
): Promise<RunResult> =>
  runTool(command, args, { pipes: [{ ...pipe, read }], ...(signal === undefined ? {} : { signal }) });

test.each([
  ['ends with a whole frame', 0],
  ['ends within a frame, which is none', 1000],
])(
  'whichever thread asks first, each gets the frame of its turn, from a program that %s',
  async (_, more) => {
    const pipe = await freshPipe();
    const { ask } = await threadsOf(pipe, 3);
    const answers: Answer[] = [];
    const result = await run(pipe, process.execPath, writer(7, more), async () => {
      // Three at a time, the last of them first.
      for (let turn = 0; turn < 9; turn += 3)
        answers.push(...(await Promise.all([2, 1, 0].map((thread) => ask(thread, turn + thread)))));
    });
    expect(result).toMatchObject({ reason: 'exited', exitCode: 0 });
    answers.sort((a, b) => a.turn - b.turn);
    expect(answers.map(({ whole }) => whole)).toEqual([
      true,
      true,
      true,
      true,
      true,
      true,
      true,
      false,
      false,
    ]);
    for (const { turn, first, same } of answers.slice(0, 7))
      expect({ turn, first, same }).toEqual({ turn, first: turn, same: true });
  },
);

test('where a program cannot be started, nobody is asked to read, and closing lets go whoever does', async () => {
  const pipe = await freshPipe();
  const { ask } = await threadsOf(pipe, 1);
  let answer: Answer | null = null;
  const result = await run(pipe, join(freshFolder(), 'absent'), [], async () => {
    answer = await ask(0, 0);
  });
  expect(result.reason).toBe('not-started');
  expect(answer).toBeNull();
  await pipe.close();
  expect((await ask(0, 0)).whole).toBe(false);
});

test('readers of a program that is silent are let go when no frame is wanted any more', async () => {
  const pipe = await freshPipe();
  const { ask } = await threadsOf(pipe, 2);
  const over = new AbortController();
  const result = run(
    pipe,
    'sleep',
    ['60'],
    async () => {
      const held = Promise.all([ask(0, 0), ask(1, 1)]);
      await new Promise((resolve) => setTimeout(resolve, 200));
      pipe.end();
      expect((await held).map(({ whole }) => whole)).toEqual([false, false]);
      over.abort();
    },
    over.signal,
  );
  expect(await result).toMatchObject({ reason: 'stopped', forced: false });
});

test('a program that writes more than is wanted is not left blocked', async () => {
  const pipe = await freshPipe();
  const { ask } = await threadsOf(pipe, 1);
  const result = await run(pipe, process.execPath, writer(200), async () => {
    expect(await ask(0, 0)).toMatchObject({ whole: true, first: 0 });
    pipe.end();
  });
  expect(result).toMatchObject({ reason: 'exited', exitCode: 0 });
});

test('a reader that fails does not leave the program blocked on what nobody reads', async () => {
  const pipe = await freshPipe();
  const { ask } = await threadsOf(pipe, 1);
  const done = join(freshFolder(), 'done');
  // Told to end it goes on, as one does that is held in a write; killed it would not come to its last line.
  const failing = run(
    pipe,
    'sh',
    ['-c', `trap '' TERM; head -c ${10 * FRAME_BYTES} /dev/zero >&${FIRST_PIPE}; touch "$1"`, 'sh', done],
    async () => {
      await ask(0, 0);
      pipe.end();
      throw new Error('no room for a frame');
    },
  );
  await expect(failing).rejects.toThrow('no room for a frame');
  expect(existsSync(done)).toBe(true);
});

test('when the program has left its pipe to another, silent one, its reader is let go', async () => {
  const pipe = await freshPipe();
  const { ask } = await threadsOf(pipe, 1);
  const answers: Answer[] = [];
  // In a session of its own it outlives the program's group.
  const result = await run(
    pipe,
    'sh',
    ['-c', `setsid sleep 20 & head -c ${FRAME_BYTES + 5} /dev/zero >&${FIRST_PIPE}; exit 3`],
    async () => {
      answers.push(await ask(0, 0), await ask(0, 1));
    },
  );
  expect(result).toMatchObject({ reason: 'exited', exitCode: 3 });
  expect(answers.map(({ whole }) => whole)).toEqual([true, false]);
});

test('nothing of it is left: no path, no open file', async () => {
  const path = join(freshFolder(), 'frames');
  const openOnes = (): string[] =>
    readdirSync('/proc/self/fd')
      .flatMap((fd) => {
        try {
          return [readlinkSync(`/proc/self/fd/${fd}`)];
        } catch {
          return [];
        }
      })
      .filter((target) => target.includes(path));
  const pipe = await openFramePipe(path);
  expect(openOnes()).toHaveLength(3);
  await run(pipe, process.execPath, writer(1), async () => pipe.end());
  expect(openOnes()).toHaveLength(2);
  await pipe.close();
  await pipe.close();
  expect(openOnes()).toHaveLength(0);
  expect(existsSync(path)).toBe(false);
  // As a reader does that was given up with its program. The numbers of the ends may be other files' by now.
  writeFileSync(path, 'not of the pipe');
  const others = [1, 2, 3].map(() => openSync(path, 'r'));
  pipe.left();
  pipe.end();
  for (const other of others) {
    expect(readFileSync(other, 'utf8')).toBe('not of the pipe');
    closeSync(other);
  }
});

test('where no pipe can stand, it is said', async () => {
  await expect(openFramePipe(join(freshFolder(), 'absent', 'frames'))).rejects.toThrow('no named pipe');
});
