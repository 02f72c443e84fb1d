/** Answers that are parsed: one that is cut off is asked for once more, and nothing is concluded from half of it. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { lacksDecoder } from '../../coordinator/survey/codecs.ts';
import { FindingError } from '../../findings/finding.ts';
import { declaredDecoderSchema } from '../../media/declaration.ts';
import { askDeclared } from '../../media/raw/decoders/declared/probe.ts';
import { runForAnswer } from '../../process/answer.ts';
import { abilitiesOf, locateTools } from '../../process/locate.ts';
import { freshFolder } from '../support/folder.ts';

interface Counted {
  readonly path: string;
  asked(): number;
}

/** Prints `whole`, but only its first `bytes` the first `times` times it is asked; always ends with 0. */
function cutting(whole: string, bytes: number, times: number): Counted {
  const folder = freshFolder('answer');
  const [count, text, path] = ['count', 'text', 'program'].map((name) => join(folder, name)) as [
    string,
    string,
    string,
  ];
  writeFileSync(count, '');
  writeFileSync(text, whole);
  writeFileSync(
    path,
    `#!/bin/sh\nprintf x >> '${count}'\nif [ "$(wc -c < '${count}')" -le ${times} ]; then head -c ${bytes} '${text}'; exit 0; fi\ncat '${text}'\n`,
    { mode: 0o755 },
  );
  return { path, asked: () => readFileSync(count, 'utf8').length };
}

/** The same in front of a real program. */
function cuttingBefore(program: string, bytes: number, times: number): Counted {
  const folder = freshFolder('answer');
  const [count, path] = [join(folder, 'count'), join(folder, 'program')];
  writeFileSync(count, '');
  writeFileSync(
    path,
    `#!/bin/sh\nprintf x >> '${count}'\nif [ "$(wc -c < '${count}')" -le ${times} ]; then '${program}' "$@" | head -c ${bytes}; exit 0; fi\nexec '${program}' "$@"\n`,
    { mode: 0o755 },
  );
  return { path, asked: () => readFileSync(count, 'utf8').length };
}

test.each<[string, string, number, number, string, boolean, number]>([
  ['whole at once', 'a\nb\n', 9, 0, 'a\nb\n', true, 1],
  ['cut off once', 'a\nb\n', 3, 1, 'a\nb\n', true, 2],
  ['empty once', 'a\nb\n', 0, 1, 'a\nb\n', true, 2],
  ['empty every time', '', 0, 9, '', false, 2],
  ['cut off in the same place every time', 'a\nb', 9, 0, 'a\nb', false, 2],
  ['cut off in two places', 'a\nb\ncccc', 3, 1, 'a\nb\ncccc', false, 2],
])('an answer that comes %s', async (_, whole, bytes, times, text, isWhole, asked) => {
  const program = cutting(whole, bytes, times);
  expect(await runForAnswer(program.path, [])).toMatchObject({ text, whole: isWhole, exitCode: 0 });
  expect(program.asked()).toBe(asked);
});

test('a program that fails is not asked again: it has a reason of its own', async () => {
  const folder = freshFolder('answer');
  const path = join(folder, 'program');
  writeFileSync(path, `#!/bin/sh\nprintf x >> '${join(folder, 'count')}'\nexit 3\n`, { mode: 0o755 });
  expect(await runForAnswer(path, [])).toMatchObject({ exitCode: 3, text: '' });
  expect(readFileSync(join(folder, 'count'), 'utf8')).toBe('x');
});

describe('of the programs that we ask', () => {
  test('a list of codecs that is cut off lacks nothing, once or twice', async () => {
    const { ffprobe } = await locateTools();
    // The list is in the order of the names within each kind: prores comes long behind 1 kB.
    for (const times of [1, 9])
      expect(await lacksDecoder(cuttingBefore(ffprobe.path, 1000, times).path, 'prores')).toBe(false);
    expect(await lacksDecoder(cuttingBefore(ffprobe.path, 1000, 1).path, 'no_such_codec')).toBe(true);
    expect(await lacksDecoder(cuttingBefore(ffprobe.path, 1000, 9).path, 'no_such_codec')).toBe(false);
  });

  test('lists of coders and filters that are cut off are asked for again, and refused the second time', async () => {
    const { ffmpeg } = await locateTools();
    const whole = await abilitiesOf(ffmpeg);
    expect(await abilitiesOf({ ...ffmpeg, path: cuttingBefore(ffmpeg.path, 700, 1).path })).toEqual(whole);
    const error = await abilitiesOf({ ...ffmpeg, path: cuttingBefore(ffmpeg.path, 700, 9).path }).then(
      () => null,
      (thrown: unknown) => thrown,
    );
    if (!(error instanceof FindingError)) throw new Error(String(error));
    expect(error.findings[0]).toMatchObject({ code: 'tool-unusable' });
    expect(error.findings[0]?.found).toContain('cut off, twice');
  });
});

describe('of a declared decoder', () => {
  async function ask(
    program: Counted,
    format: 'json' | 'text',
    frames: string,
  ): ReturnType<typeof askDeclared> {
    const declared = declaredDecoderSchema.parse({
      version: 1,
      name: 'mould',
      summary: 'Frames of the mould camera',
      takes: { clips: 'movie', names: ['*.mould'] },
      command: ['mould', '{file}'],
      gives: { samples: 'rgb48le', width: 8, height: 8 },
      probe: { command: ['mould', '{file}'], format, frames },
    });
    const clip = join(freshFolder('clip'), 'a.mould');
    writeFileSync(clip, '');
    return await askDeclared(
      { declared, origin: '/mould.yaml', version: '1', program: program.path, probeProgram: program.path },
      clip,
    );
  }

  test.each<[string, 'json' | 'text', string, string, number]>([
    ['JSON', 'json', '{"frames": 120}\n', '/frames', 9],
    // Cut within the number: 12 would be taken for all.
    ['text, within the number', 'text', 'rate 24\nframes 120', '^frames (\\d+)', 17],
  ])('%s that is cut off once is asked for again', async (_, format, whole, frames, bytes) => {
    const program = cutting(`${whole.trimEnd()}\n`, bytes, 1);
    expect(await ask(program, format, frames)).toMatchObject({ reported: { frames: 120 } });
    expect(program.asked()).toBe(2);
  });

  test.each<[string, 'json' | 'text', string, string, number, number]>([
    ['JSON, every time', 'json', '{"frames": 120}\n', '/frames', 9, 9],
    ['text, in two places', 'text', 'frames 120', '^frames (\\d+)', 8, 1],
  ])('%s that stays cut off holds the clip', async (_, format, whole, frames, bytes, times) => {
    const answered = await ask(cutting(whole, bytes, times), format, frames);
    if (!('findings' in answered)) throw new Error(JSON.stringify(answered));
    expect(answered.findings[0]).toMatchObject({ code: 'decoder-metadata-incomplete' });
    expect(answered.findings[0]?.found).toContain('twice');
  });

  test('text without an end of line that comes twice the same is what the program says', async () => {
    expect(await ask(cutting('frames 120', 99, 0), 'text', '^frames (\\d+)')).toMatchObject({
      reported: { frames: 120 },
    });
  });
});
