/** An answer of ffprobe that ends early with exit code 0 is asked for once more, and is never taken for the clip's fault. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { openInput } from '../../media/input.ts';
import { probeMovie } from '../../media/probe/index.ts';
import { locateTools } from '../../process/locate.ts';
import { freshFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';

test.each([
  ['within a packet, once', 300, 1, 'measured', 2],
  ['before its first byte, once', 0, 1, 'measured', 2],
  ['every time', 300, 9, 'answer-cut-off', 2],
])('cut off %s', async (_title, bytes, times, expected, asked) => {
  const folder = freshFolder();
  const clip = await makeMovie(join(folder, 'bell.mov'));
  const { ffprobe } = await locateTools();
  const count = join(folder, 'count');
  writeFileSync(count, '');
  const standIn = join(folder, 'ffprobe');
  const script = `#!/bin/sh\nprintf x >> '${count}'\nif [ "$(wc -c < '${count}')" -le ${times} ]; then '${ffprobe.path}' "$@" | head -c ${bytes}; exit 0; fi\nexec '${ffprobe.path}' "$@"\n`;
  writeFileSync(standIn, script, { mode: 0o755 });
  const input = await openInput('/', { kind: 'movie', file: clip });
  const result = await probeMovie(input, { ffprobe: { ...ffprobe, path: standIn } }).finally(() =>
    input.dispose(),
  );
  expect(result.state === 'measured' ? result.state : result.problem).toBe(expected);
  expect(readFileSync(count, 'utf8').length).toBe(asked);
  if (result.state === 'measured') expect(result.facts.video.frames).toBe(24);
});
