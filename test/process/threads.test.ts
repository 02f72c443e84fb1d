/** What a thread throws is known on the other side by its code, whatever its class is called. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { FileDamage } from '../../files/bytes.ts';
import { packageFolder } from '../../files/installation.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { UndevelopableError } from '../../media/raw/develop/undevelopable.ts';
import { DngRefusal } from '../../media/formats/dng/refusal.ts';
import { StillDamage } from '../../media/formats/still.ts';
import { CodedError, errorCodeOf, errorCodes } from '../../files/coded-error.ts';
import { createThreadPool, PoolClosedError, type ThreadPool } from '../../process/threads.ts';
import { frameFailure } from '../../worker/master/masters-without-ffmpeg.ts';
import { freshFolder } from '../support/folder.ts';
import { jobOf } from '../support/jobs.ts';

const dist = join(packageFolder, 'dist');
const classes = {
  damaged: 'new (class Renamed extends StillDamage {})("its header is cut off")',
  refused: 'new DngRefusal(["a", "b"])',
  undevelopable: 'new UndevelopableError("levels", "no white level")',
  decoder: 'new DecoderFailed("bellows", "exit code 3")',
  missing:
    'await import("node:fs/promises").then(({ stat }) => stat("/no/such/file")).catch((error) => error)',
  plain: 'new Error("something else")',
} as const;

let pool: ThreadPool<keyof typeof classes, never> | undefined;
afterEach(() => pool?.close());

/** A thread that throws what it is ordered to. */
function thrower(): ThreadPool<keyof typeof classes, never> {
  const path = join(freshFolder('threads'), 'thrower.mjs');
  const from = (name: string): string => JSON.stringify(join(dist, name));
  writeFileSync(
    path,
    `import { serve } from ${from('process/threads.js')};
import { StillDamage } from ${from('media/formats/still.js')};
import { DngRefusal } from ${from('media/formats/dng/refusal.js')};
import { UndevelopableError } from ${from('media/raw/develop/undevelopable.js')};
import { DecoderFailed } from ${from('media/raw/decoders/decoder.js')};
serve(async () => async (order) => {
${Object.entries(classes)
  .map(
    ([name, made]) =>
      `  if (order === '${name}') throw ${made.replace('await', '(await')}${made.startsWith('await') ? ')' : ''};`,
  )
  .join('\n')}
});
`,
  );
  pool = createThreadPool(path, 1, null);
  return pool;
}

const thrown = async (order: keyof typeof classes): Promise<unknown> =>
  await thrower()
    .run(order)
    .catch((error: unknown) => error);

test.each<[keyof typeof classes, string | null, string]>([
  ['damaged', 'frame-damaged', 'its header is cut off'],
  ['refused', 'frame-refused', 'a; b'],
  ['undevelopable', 'frame-undevelopable', 'no white level'],
  ['decoder', 'decoder-failed', 'bellows: exit code 3'],
  ['plain', null, 'something else'],
])('an error that is %s keeps its code, %s, and its words', async (order, code, message) => {
  const error = await thrown(order);
  expect([errorCodeOf(error), (error as Error).message]).toEqual([code, message]);
  expect(error instanceof CodedError).toBe(code !== null);
});

test('what the system says keeps its own code, and is none of ours', async () => {
  const error = await thrown('missing');
  expect(error).toMatchObject({ code: 'ENOENT', path: '/no/such/file' });
  expect(errorCodeOf(error)).toBeNull();
});

test('an order to threads that were ended is refused with a code', async () => {
  const ended = thrower();
  await ended.close();
  const error = await ended.run('plain').catch((caught: unknown) => caught);
  expect(errorCodeOf(error)).toBe('threads-ended');
});

test('every code has a class, and no two classes have one', () => {
  const made = [
    new FileDamage(''),
    new StillDamage(''),
    new DngRefusal([]),
    new UndevelopableError('size', ''),
    new DecoderFailed('', ''),
    new PoolClosedError(),
  ];
  expect(made.map((error) => error.code).sort()).toEqual([...errorCodes].sort());
});

describe('what a job says of an error from its threads', () => {
  test.each<[keyof typeof classes, string | undefined]>([
    ['damaged', 'frame-develop-failed'],
    ['refused', 'frame-develop-failed'],
    ['undevelopable', 'frame-develop-failed'],
    ['decoder', 'frame-develop-failed'],
    ['missing', undefined],
    ['plain', undefined],
  ])('%s: %s', async (order, code) => {
    const failure = frameFailure(await thrown(order), jobOf(1, 'run-1'));
    expect(failure?.findings[0]?.code).toBe(code);
    if (failure !== null) expect(failure.retryable).toBe(false);
  });
});
