/** The source read a second time: one program answers all of it, and where it does not, each question is asked on its own. */
import { chmodSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { openClip } from '../../media/input.ts';
import { CELLS } from '../../proof/form.ts';
import { readSecondTime, type SecondReading } from '../../worker/second-reading.ts';
import { spotFrames } from '../../worker/spot-frames.ts';
import { freshFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor } from '../support/work.ts';

/** In the place of ffmpeg: writes down each start, then does as `body` says; `$inputs` is how many it was given. */
function watchedProgram(folder: string, body: string): { path: string; starts: () => number } {
  const path = join(folder, 'watched');
  const log = join(folder, 'starts');
  writeFileSync(
    path,
    `#!/bin/sh\necho >> '${log}'\ninputs=$(printf '%s\\n' "$@" | grep -c '^-i$')\n${body}\nexec ffmpeg "$@"\n`,
  );
  chmodSync(path, 0o755);
  return { path, starts: () => (existsSync(log) ? readFileSync(log, 'utf8').length : 0) };
}

async function readBy(
  body: string,
  frames = 24,
): Promise<{ reading: SecondReading; starts: number; wanted: number[] }> {
  const folder = freshFolder('second-reading');
  const source = await makeMovie(join(folder, 'A001', 'A001C001.mov'), { frames });
  const job = await jobFor(source, join(folder, 'delivery'));
  const program = watchedProgram(folder, body);
  const { ffmpeg } = await mediaTools();
  const input = await openClip(job.rollFolder, job.clip.place, job.facts);
  const reading = await readSecondTime(
    {
      job,
      tools: { ffmpeg: { ...ffmpeg, path: program.path } },
      stallMilliseconds: 60_000,
      signal: new AbortController().signal,
    },
    input,
  );
  await input.dispose();
  return { reading, starts: program.starts(), wanted: spotFrames(job.clip.contentDigest, frames, 'proxy') };
}

describe('a clip read a second time', () => {
  test('one start gives every packet and both frames; asked apart, the answers are the same', async () => {
    const together = await readBy('');
    expect(together.starts).toBe(1);
    expect(together.wanted).toHaveLength(2);
    expect(together.reading.bitstream.streams.map(({ kind }) => kind)).toEqual(['v', 'a']);
    expect(together.reading.spots.map(({ frame }) => frame)).toEqual(together.wanted);
    for (const { seen } of together.reading.spots) {
      expect(seen?.frames).toBe(1);
      expect(seen?.luma).toHaveLength(CELLS);
    }
    const apart = await readBy('[ "$inputs" -eq 1 ] || exit 1');
    expect(apart.starts).toBe(1 + 3);
    expect(apart.reading).toEqual(together.reading);
  });

  test('what no start answers is missing, and nothing is made up for it', async () => {
    const { reading, starts } = await readBy('exit 1');
    expect(starts).toBe(1 + 3);
    expect(reading.bitstream.streams).toEqual([]);
    expect(reading.spots.map(({ seen }) => seen)).toEqual([null, null]);
  });

  test('of a long clip only a few frames are decoded for the two that are asked for', async () => {
    const log = join(freshFolder('verbose'), 'log');
    const { starts } = await readBy(
      `for word in "$@"; do shift; [ "$word" = error ] && word=verbose; set -- "$@" "$word"; done\nexec ffmpeg "$@" 2>'${log}'`,
      240,
    );
    expect(starts).toBe(1);
    const decoded = [
      ...readFileSync(log, 'utf8').matchAll(/Input stream #[12]:\d+ \(video\):.* (\d+) frames decoded/g),
    ].map((match) => Number(match[1]));
    expect(decoded).toHaveLength(2);
    for (const frames of decoded) expect(frames).toBeLessThan(30);
  });
});
