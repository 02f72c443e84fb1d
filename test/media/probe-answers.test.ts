/** What ffprobe may say of a damaged file and no schema expects: it is said of that file, and ends nothing else. */
import { writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect, test } from 'vitest';
import { openInput } from '../../media/input.ts';
import { probeMovie } from '../../media/probe/index.ts';
import { locateTools } from '../../process/locate.ts';
import { freshFolder } from '../support/folder.ts';

const packet = (text: string): string =>
  `{\n    "packets": [\n        ${text}\n    ],\n    "streams": [],\n    "format": {}\n}\n`;

test.each([
  [
    'a duration beyond 2^53',
    '{"streams":[{"index":0,"codec_type":"video","duration_ts":9223372036854775807}]}',
  ],
  ['an index that is none', '{"streams":[{"index":-1}]}'],
])('%s', async (_name, answer) => {
  expect(await probedWith(answer)).toMatchObject({
    state: 'problem',
    problem: 'unreadable',
    detail: expect.stringContaining('unknown form'),
  });
});

test.each([
  ['no JSON', '{"streams":[{"index":0,'],
  ['nothing', ''],
  ['a packet that is no JSON', packet('{"codec_type": "video", "stream_index": }')],
])('%s is an answer that is cut off', async (_name, answer) => {
  expect(await probedWith(answer)).toMatchObject({
    state: 'problem',
    problem: 'answer-cut-off',
    detail: expect.stringContaining('no whole JSON'),
  });
});

async function probedWith(answer: string): ReturnType<typeof probeMovie> {
  const folder = freshFolder();
  const path = join(folder, 'ffprobe');
  writeFileSync(join(folder, 'answer'), answer);
  writeFileSync(path, `#!/bin/sh\ncat '${join(folder, 'answer')}'\n`, { mode: 0o755 });
  const input = await openInput(resolve('test/fixtures/movies'), { kind: 'movie', file: 'rotated-90.mov' });
  return await probeMovie(input, { ffprobe: { ...(await locateTools()).ffprobe, path } }).finally(() =>
    input.dispose(),
  );
}
