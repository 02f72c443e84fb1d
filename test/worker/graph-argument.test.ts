import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { tilePlan } from '../../proof/encoder-input/tiles.ts';
import { graphArguments } from '../../worker/graph-argument.ts';
import { freshFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';

test('a graph that is too long for an argument is given as a file, by the name that the release knows', async () => {
  const folder = freshFolder('graph');
  const tools = await mediaTools();
  const of = (graph: string, major: number) =>
    graphArguments(graph, {
      folder,
      tools: { ...tools, ffmpeg: { ...tools.ffmpeg, release: { major, minor: 1 } } },
    });
  expect(await of('null', 5)).toEqual(['-filter_complex', 'null']);
  const long = 'null,'.repeat(30_000);
  const path = join(folder, 'graph.txt');
  expect(await of(long, 5)).toEqual(['-filter_complex_script', path]);
  expect(await of(long, 7)).toEqual(['-/filter_complex', path]);
  expect(readFileSync(path, 'utf8')).toBe(long);
});

test('tiles of what the encoder is given lie beside watermarks, and those of the picture before text on them', () => {
  const whole = { width: 640, height: 360 };
  const marks = [60, 170, 280].map((top) => ({ left: 100, top, width: 200, height: 30 }));
  const plan = tilePlan({
    source: whole,
    framing: { scaled: whole, window: { left: 0, top: 0, ...whole }, covered: marks, inset: null },
    fields: 'none',
    frames: 10,
    rgb: false,
    throughRgb: false,
    throughWhole: false,
    seed: 'bell',
  });
  const lies = ({ from, to }: { from: number; to: number }): boolean =>
    marks.some(({ top, height }) => from < top + height && to > top);
  expect(plan.tiles.map((tile) => [tile.joint, lies(tile)])).toEqual(
    plan.tiles.map(({ joint }) => [joint, joint === 'untexted']),
  );
  expect(new Set(plan.tiles.map(({ joint, from, to }) => `${joint} ${from} ${to}`))).toEqual(
    new Set([
      'given 0 60',
      'untexted 60 90',
      'given 90 170',
      'untexted 170 200',
      'given 200 280',
      'untexted 280 310',
      'given 310 360',
    ]),
  );
});
