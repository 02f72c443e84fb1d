/** Clips' headers are read in a process of their own: what ends it costs one clip and is said, and the others go on. */
import { execFileSync } from 'node:child_process';
import { copyFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { beforeAll, describe, expect, onTestFinished, test } from 'vitest';
import { findClips, surveyRoll, type SurveyedClip } from '../../coordinator/survey/index.ts';
import { readersApart } from '../../coordinator/survey/reader.ts';
import { FileDamage } from '../../files/bytes.ts';
import { walkFolder } from '../../files/walk.ts';
import { readersHere } from '../../media/raw/clip-readers.ts';
import type { SequencePlace } from '../../media/input.ts';
import { createHelper, HelperDied } from '../../process/helper.ts';
import { type MediaTools, locateTools } from '../../process/locate.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';

const fixtures = resolve('test/fixtures');
const standIn = resolve('test/survey/reader-that-dies.mjs');
const bounds = { heapMegabytes: 40, memoryMegabytes: 4096, silentMilliseconds: 4000 };
let tools: MediaTools;
beforeAll(async () => {
  tools = await locateTools();
});

function apart(options: Parameters<typeof readersApart>[0] = {}): ReturnType<typeof readersApart> {
  const readers = readersApart(options);
  onTestFinished(() => readers.close());
  return readers;
}

async function surveyed(
  roll: string,
  readers: ReturnType<typeof readersApart>,
): Promise<Map<string, SurveyedClip>> {
  const { files } = await walkFolder(roll);
  const { clips } = findClips(
    files.map((file) => ({ ...file, hashes: { xxh128: 'not read here' } })),
    { statedRate: null, ignore: [] },
  );
  return new Map((await surveyRoll(clips, roll, tools, { readers })).map((done) => [done.clip.name, done]));
}

test('clips that end the process are held, each with one finding that says how, and the others are measured', async () => {
  const roll = freshFolder();
  for (const name of ['a-good', 'b-abort', 'c-exit', 'd-loop', 'e-silence', 'f-heap', 'g-good'])
    copyFileSync(join(fixtures, 'movies/rotated-90.mov'), join(roll, `${name}.mov`));
  const done = await surveyed(roll, apart({ ...bounds, program: standIn }));
  const found = Object.fromEntries(
    [...done].map(([name, { facts, findings }]) => [
      name,
      { measured: facts !== null, codes: findings.map(({ code }) => code), found: findings[0]?.found },
    ]),
  );
  const dead = (how: unknown): unknown => ({ measured: false, codes: ['clip-reader-died'], found: how });
  expect(found).toEqual({
    'a-good': expect.objectContaining({ measured: true }),
    'b-abort': dead('signal SIGABRT'),
    'c-exit': dead('exit code 7'),
    'd-loop': dead('no progress for 4 s; it was ended'),
    'e-silence': dead('no progress for 4 s; it was ended'),
    'f-heap': dead(expect.stringMatching(/^signal SIG[A-Z]+: FATAL ERROR: .*heap/)),
    'g-good': expect.objectContaining({ measured: true }),
  });
  expect(done.get('a-good')?.findings.map(({ code }) => code)).not.toContain('clip-reader-died');
});

test('a fault that is thrown there is thrown here, with its name and words', async () => {
  const readers = apart({ ...bounds, program: standIn });
  await expect(readers.form('/nowhere/fault.mov', {})).rejects.toMatchObject({
    name: 'TypeError',
    message: 'nothing of the kind',
  });
  await expect(readers.form('/nowhere/absent.mov', {})).rejects.toMatchObject({
    code: 'ENOENT',
    syscall: 'open',
  });
});

test('whoever stops gets the reason, the process is ended, and what is asked for later begins another', async () => {
  const readers = apart({ ...bounds, silentMilliseconds: 60_000, program: standIn });
  const stop = new AbortController();
  const reason = new Error('enough');
  const waiting = readers.form('/nowhere/loop.mov', { signal: stop.signal });
  setTimeout(() => stop.abort(reason), 300);
  await expect(waiting).rejects.toBe(reason);
  expect((await readers.form(join(fixtures, 'movies/rotated-90.mov'), {})).form).toBe('boxes');
});

test('closed, no process of it is left', async () => {
  const helper = createHelper<{ path: string }, unknown>({
    ...bounds,
    silentMilliseconds: 60_000,
    program: standIn,
  });
  const marked = `/nowhere/silence-${process.pid}.mov`;
  const waiting = helper.run({ path: marked });
  await new Promise((later) => setTimeout(later, 500));
  const running = (): number =>
    execFileSync('ps', ['-eo', 'ppid,args'], { encoding: 'utf8' })
      .split('\n')
      .filter((line) => line.trim().startsWith(`${process.pid} `) && line.includes('reader-that-dies'))
      .length;
  expect(running()).toBe(1);
  helper.close();
  await expect(waiting).rejects.toThrow(HelperDied);
  expect(running()).toBe(0);
});

describe('the real one answers as this process does', () => {
  const frames = (folder: string, suffix: string, first: number, count: number): SequencePlace => ({
    kind: 'sequence',
    folder: '',
    prefix: 'a.',
    suffix,
    padding: 4,
    first,
    count,
    statedRate: null,
    ...(folder === '' ? {} : { folder }),
  });

  test('movies, stills with a damaged one among them, raw frames and one of them decoded', async () => {
    const readers = apart();
    const movie = join(fixtures, 'movies/timecode-only-23976.mov');
    expect(await readers.form(movie, {})).toEqual(await readersHere.form(movie, {}));
    expect(await readers.form(Buffer.from(movie), {})).toEqual(await readersHere.form(movie, {}));

    const roll = freshFolder();
    const exr = readFileSync(join(fixtures, 'exr/aces-timecode-64x64.exr'));
    writeFileSync(join(roll, 'a.0001.exr'), exr);
    writeFileSync(join(roll, 'a.0002.exr'), exr.subarray(0, 900));
    const stills = frames('', '.exr', 1, 3);
    const read = await readers.stills(roll, stills, {});
    expect(read).toEqual(await readersHere.stills(roll, stills, {}));
    expect(read.damaged.map(({ number }) => number)).toEqual([2, 3]);

    const samples = testSamples(20, 14, 12);
    const dng = buildDng({
      width: 20,
      height: 14,
      bits: 12,
      samples,
      rate: [24, 1],
      timecode: '01:00:00:00',
    });
    writeFileSync(join(roll, 'a.0001.dng'), dng);
    writeFileSync(join(roll, 'a.0002.dng'), dng.subarray(0, 500));
    const raw = frames('', '.dng', 1, 2);
    expect(await readers.raw(roll, raw, {})).toEqual(await readersHere.raw(roll, raw, {}));
    await expect(readers.decode(join(roll, 'a.0001.dng'), {})).resolves.toBeUndefined();
    await expect(readers.decode(join(roll, 'a.0002.dng'), {})).rejects.toThrow(FileDamage);
  });
});
