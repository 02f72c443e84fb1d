import { existsSync, mkdirSync, readdirSync, renameSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { type SequencePlace, openInput } from '../../media/input.ts';
import { fsPath, nameFromBytes } from '../../files/names.ts';
import { probeMovie } from '../../media/probe/index.ts';
import { type MediaTools, locateTools } from '../../process/locate.ts';
import { runForOutput } from '../../process/run.ts';
import { freshFolder } from '../support/folder.ts';
import { makeMovie, makeSequence } from '../support/media.ts';

let tools: MediaTools;
beforeAll(async () => {
  tools = await locateTools();
});

/** Names that mean something to a shell, a protocol, a pattern, a filter or a terminal. */
const oddNames: [what: string, name: string][] = [
  ['spaces and quotes', `a 'b' "c".mov`],
  ['a newline', 'first\nsecond.mov'],
  ['per cent signs', '100%d %05d.mov'],
  ['a colon, as a protocol', 'http:clip.mov'],
  ['a colon, as an option', 'a:b,c;d=e.mov'],
  ['a backslash', 'a\\b.mov'],
  ['a leading hyphen', '-i.mov'],
  ['a concat list', 'concat:x|y.mov'],
  ['right-to-left letters and marks', '\u202eשלום\u202c.mov'],
  ['combining characters', 'e\u0301tude.mov'],
  ['255 bytes', `${'x'.repeat(251)}.mov`],
  [
    'bytes that are not UTF-8',
    nameFromBytes(Buffer.from([0x62, 0xe9, 0x6c, 0x6c, 0xff, 0x2e, 0x6d, 0x6f, 0x76])),
  ],
  ['brackets', '[0:v]{a,b}*?.mov'],
];

describe('a movie of any name is read', () => {
  test.each(oddNames)('%s', async (_what, name) => {
    const folder = freshFolder();
    const made = await makeMovie(join(folder, 'made.mov'), { frames: 6, audio: [] });
    renameSync(made, fsPath(join(folder, name)));
    const input = await openInput(folder, { kind: 'movie', file: name });
    const result = await probeMovie(input, tools);
    expect(result.state === 'measured' && result.facts.video.frames).toBe(6);
    await input.dispose();
  });

  test('in a folder whose name is not UTF-8', async () => {
    const folder = freshFolder();
    const odd = nameFromBytes(Buffer.from([0x41, 0xfe, 0x42]));
    mkdirSync(fsPath(join(folder, odd)));
    renameSync(
      await makeMovie(join(folder, 'made.mov'), { frames: 6, audio: [] }),
      fsPath(join(folder, odd, 'clip.mov')),
    );
    const input = await openInput(join(folder, odd), { kind: 'movie', file: 'clip.mov' });
    const result = await probeMovie(input, tools);
    expect(result.state === 'measured' && result.facts.video.frames).toBe(6);
    await input.dispose();
  });

  test('private links are gone after dispose, and are made only when needed', async () => {
    const links = (): string[] => readdirSync(tmpdir()).filter((name) => name.startsWith('rushlight-links-'));
    const folder = freshFolder();
    const plain = await openInput(folder, { kind: 'movie', file: 'a.mov' });
    expect(plain.args.at(-1)).toBe(`file:${join(folder, 'a.mov')}`);
    const odd = await openInput(folder, {
      kind: 'movie',
      file: nameFromBytes(Buffer.from([0xff, 0x2e, 0x6d, 0x6f, 0x76])),
    });
    const link = (odd.args.at(-1) as string).replace(/^file:/, '');
    expect(links()).toContain(dirname(link).slice(tmpdir().length + 1));
    await odd.dispose();
    expect(existsSync(dirname(link))).toBe(false);
  });
});

/** Frames that ffprobe finds through the arguments. */
async function framesSeen(
  place: SequencePlace,
  roll: string,
): Promise<{ frames: number; rate: string | undefined }> {
  const input = await openInput(roll, place);
  const run = await runForOutput(
    tools.ffprobe.path,
    [
      '-loglevel',
      'error',
      '-count_packets',
      '-show_entries',
      'stream=nb_read_packets,r_frame_rate',
      '-of',
      'json',
      ...input.args,
    ],
    { stallMilliseconds: 60_000 },
  );
  await input.dispose();
  expect(run.stderr).toBe('');
  const stream = (
    JSON.parse(run.stdout.toString('utf8')) as {
      streams: { nb_read_packets: string; r_frame_rate: string }[];
    }
  ).streams[0];
  return { frames: Number(stream?.nb_read_packets), rate: stream?.r_frame_rate };
}

describe('a sequence of any name is read from its first frame at its rate', () => {
  const base = {
    kind: 'sequence',
    folder: 'frames',
    prefix: 'bell.',
    suffix: '.dpx',
    padding: 5,
    first: 1,
    count: 4,
    statedRate: { num: 24000, den: 1001 },
  } as const;

  test.each<[what: string, folder: string, prefix: string, suffix: string]>([
    ['plain', 'frames', 'bell.', '.dpx'],
    ['per cent signs everywhere', 'd%03d', '50%d_', '%.dpx'],
    ['quotes, colon, newline', "a'b:c\nd", 'f"1":', '.dpx'],
    ['no prefix', 'frames', '', '.dpx'],
    ['a leading hyphen', '-folder', '-', '.dpx'],
  ])('%s', async (_what, folder, prefix, suffix) => {
    const roll = freshFolder();
    await makeSequence(join(roll, 'made'), { frames: 4, first: 1001, size: '64x36', prefix: 'x' });
    mkdirSync(join(roll, folder));
    for (let number = 1001; number < 1005; number += 1)
      renameSync(join(roll, 'made', `x0${number}.dpx`), join(roll, folder, `${prefix}0${number}${suffix}`));
    expect(await framesSeen({ ...base, folder, prefix, suffix, first: 1001 }, roll)).toEqual({
      frames: 4,
      rate: '24000/1001',
    });
  });

  test('bytes that are not UTF-8, and numbers beyond what ffmpeg counts', async () => {
    const roll = freshFolder();
    await makeSequence(join(roll, 'made'), { frames: 3, size: '64x36', prefix: 'x' });
    const prefix = nameFromBytes(Buffer.from([0xff, 0x5f]));
    mkdirSync(join(roll, 'frames'));
    for (let index = 1; index <= 3; index += 1)
      renameSync(
        join(roll, 'made', `x0000${index}.dpx`),
        fsPath(join(roll, 'frames', `${prefix}${3_000_000_000 + index}.dpx`)),
      );
    expect(
      (await framesSeen({ ...base, prefix, padding: 0, first: 3_000_000_001, count: 3 }, roll)).frames,
    ).toBe(3);
  });

  test('a sequence of one frame does not take up the next number', async () => {
    const roll = freshFolder();
    await makeSequence(join(roll, 'frames'), { frames: 3, size: '64x36', prefix: 'bell.' });
    expect((await framesSeen({ ...base, count: 1 }, roll)).frames).toBe(1);
  });

  test('without a rate it is not opened', async () => {
    await expect(openInput('/', { ...base, statedRate: null })).rejects.toThrow(RangeError);
  });
});
