/** Bytes that are written to a program while it runs. */
import { createHash, randomBytes } from 'node:crypto';
import { expect, test } from 'vitest';
import { FIRST_PIPE, runTool } from '../../process/run.ts';

type Write = (bytes: Uint8Array) => Promise<boolean>;

async function text(stream: AsyncIterable<unknown>): Promise<string> {
  const parts: Buffer[] = [];
  for await (const part of stream) parts.push(part as Buffer);
  return Buffer.concat(parts).toString();
}

test.each([0, 1, 3])(
  'every byte arrives in order, and then the end; behind %i other pipes',
  async (pipes) => {
    const bytes = Array.from({ length: 5 }, (_, index) => randomBytes(1 + index * 300_000));
    const read: string[] = [];
    let digest = '';
    const result = await runTool(
      'sh',
      [
        '-c',
        `${Array.from({ length: pipes }, (_, index) => `echo ${index} >&${FIRST_PIPE + index}`).join('; ') || ':'}; sha256sum <&${FIRST_PIPE + pipes}`,
      ],
      {
        pipes: Array.from(
          { length: pipes },
          () => async (stream) => void read.push((await text(stream)).trim()),
        ),
        onStdout: async (stream) => {
          digest = (await text(stream)).slice(0, 64);
        },
        feed: async (write) => {
          for (const part of bytes) expect(await write(part)).toBe(true);
        },
      },
    );
    expect(result).toMatchObject({ reason: 'exited', exitCode: 0 });
    expect(digest).toBe(createHash('sha256').update(Buffer.concat(bytes)).digest('hex'));
    expect(read.sort()).toEqual(Array.from({ length: pipes }, (_, index) => String(index)));
  },
);

test('a program that is slow to read is waited for', async () => {
  let taken = 0;
  let takenWhileAsleep = -1;
  await runTool('sh', ['-c', `sleep 1; echo awake >&2; cat <&${FIRST_PIPE} >/dev/null`], {
    onStderrLine: () => {
      takenWhileAsleep = taken;
    },
    feed: async (write) => {
      for (let part = 0; part < 50; part += 1) if (await write(new Uint8Array(1_000_000))) taken += 1;
    },
  });
  // What fits into the kernel's own buffers at most.
  expect(takenWhileAsleep).toBeGreaterThanOrEqual(0);
  expect(takenWhileAsleep).toBeLessThan(5);
  expect(taken).toBe(50);
});

test.each([
  ['ends well before it has read all', 'exit 0', { reason: 'exited', exitCode: 0 }],
  [
    'fails in the middle',
    `head -c 100000 <&${FIRST_PIPE} >/dev/null; exit 7`,
    { reason: 'exited', exitCode: 7 },
  ],
  [
    'is killed in the middle',
    `head -c 100000 <&${FIRST_PIPE} >/dev/null; kill -9 $$`,
    { reason: 'signalled', signal: 'SIGKILL' },
  ],
  [
    'leaves the pipe to another',
    `(trap '' TERM; sleep 30) & head -c 100000 <&${FIRST_PIPE} >/dev/null; exit 3`,
    { reason: 'exited', exitCode: 3 },
  ],
])('a program that %s: the writer is reported, and the end is reported as it was', async (_, script, end) => {
  const answers: boolean[] = [];
  let over = (): void => undefined;
  const written = new Promise<void>((resolve) => {
    over = resolve;
  });
  const feed = async (write: Write): Promise<void> => {
    do answers.push(await write(new Uint8Array(1_000_000)));
    while (answers.at(-1) === true);
    over();
  };
  expect(await runTool('sh', ['-c', script], { feed })).toMatchObject(end);
  await written;
  expect(answers.at(-1)).toBe(false);
});

test('nobody waits for a writer that has nothing to write when the program has ended', async () => {
  const result = await runTool('sh', ['-c', 'exit 5'], { feed: () => new Promise(() => undefined) });
  expect(result).toMatchObject({ reason: 'exited', exitCode: 5 });
});

test('what the writer throws ends the program and is thrown', async () => {
  const failing = async (write: Write): Promise<void> => {
    await write(new Uint8Array(10));
    throw new Error('no more frames');
  };
  await expect(runTool('sleep', ['30'], { feed: failing, graceMilliseconds: 200 })).rejects.toThrow(
    'no more frames',
  );
});

test('a program that reads nothing at all is stalled all the same', async () => {
  const result = await runTool('sleep', ['30'], {
    stallMilliseconds: 200,
    graceMilliseconds: 200,
    feed: async (write) => void (await write(new Uint8Array(10_000_000))),
  });
  expect(result).toMatchObject({ reason: 'stalled' });
});
