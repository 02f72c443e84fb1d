/** The recipe's command on real clips: one decode for all deliverables, and the same packets wherever it runs. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { runForOutput } from '../../../process/run.ts';
import { outcomeOf } from '../../../profiles/outcome/decide.ts';
import { recipeOf } from '../../../profiles/recipe/index.ts';
import type { Profile } from '../../../profiles/schema.ts';
import { freshFolder } from '../../support/folder.ts';
import { everyRow } from '../../support/lane.ts';
import { factsOf } from '../../support/make.ts';
import { drained, ffmpeg, makeMovie } from '../../support/media.ts';
import { inputsOf, recipeProfiles } from './support.ts';

const { vc3, rdd36, review } = await recipeProfiles();

test('the same packets come out whatever the number of threads and the company of other profiles', async () => {
  const folder = freshFolder('threads');
  const source = await makeMovie(join(folder, 'clip.mov'), { frames: 24, rate: '24', codec: 'h264' });
  const facts = await factsOf(source);
  const digests = async (threads: number, profiles: readonly Profile[]): Promise<Map<string, string>> => {
    const deliverables = profiles.map((profile) => {
      const decided = outcomeOf({
        day: 'd',
        roll: 'A001',
        clip: { id: 'clip', name: 'clip' },
        facts,
        profile,
      });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      return {
        profile,
        outcome: decided.outcome,
        path: join(folder, `${threads}-${profiles.length}-${profile.name}.${profile.container}`),
      };
    });
    const recipe = recipeOf({
      facts,
      deliverables,
      textFolder: folder,
      threads,
    });
    await ffmpeg(
      ...recipe.inputOptions,
      ...inputsOf(recipe, source),
      '-filter_complex',
      recipe.filterGraph,
      ...recipe.outputArguments,
    );
    // One program reads them all: packets as they stand in the file.
    await ffmpeg(
      ...deliverables.flatMap(({ path }) => ['-i', path]),
      ...deliverables.flatMap(({ path }, input) => [
        ...['-map', `${input}:v`, '-map', `${input}:a?`, '-c', 'copy', '-f', 'framemd5', `${path}.packets`],
      ]),
    );
    return new Map(
      deliverables.map(({ profile, path }) => [profile.name, readFileSync(`${path}.packets`, 'utf8')]),
    );
  };
  const all = [vc3, rdd36, review];
  const together = await digests(1, all);
  for (const packets of together.values()) expect(packets.trim().split('\n').length).toBeGreaterThan(24);
  if (everyRow) expect(await digests(4, all)).toEqual(together);
  for (const profile of all)
    expect((await digests(3, [profile])).get(profile.name)).toBe(together.get(profile.name));
});

test('one decode serves all deliverables, and every decoded frame is reported with its size', async () => {
  const folder = freshFolder('decode');
  const source = await makeMovie(join(folder, 'clip.mov'), { frames: 5, rate: '24', audio: [] });
  const facts = await factsOf(source);
  const deliverables = [vc3, rdd36, review].map((profile) => {
    const decided = outcomeOf({ day: 'd', roll: 'A001', clip: { id: 'clip', name: 'clip' }, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return { profile, outcome: decided.outcome, path: join(folder, `${profile.name}.${profile.container}`) };
  });
  const recipe = recipeOf({
    facts,
    deliverables,
    textFolder: folder,
    threads: 1,
  });
  expect(recipe.filterGraph.match(/\[0:/g)).toHaveLength(1);
  const run = await runForOutput(
    'ffmpeg',
    [
      '-hide_banner',
      '-nostdin',
      '-y',
      '-loglevel',
      'repeat+level+info',
      ...recipe.inputOptions,
      ...inputsOf(recipe, source),
      '-filter_complex',
      recipe.filterGraph,
      ...recipe.outputArguments,
    ],
    { pipes: drained },
  );
  expect(run.exitCode, run.stderr).toBe(0);
  expect(run.stderr.match(/\[Parsed_showinfo_0 @ [^\]]+\] \[info\] n: *\d+ .*s:320x180/g)).toHaveLength(5);
});
