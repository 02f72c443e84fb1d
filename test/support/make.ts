/** Surveys a movie, decides its outcome, runs the recipe's command and checks the file: the way of one clip without queue or night. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { checkDeliverable, type CheckReport } from '../../check/index.ts';
import { openInput } from '../../media/input.ts';
import { probeMovie } from '../../media/probe/index.ts';
import { locateTools, type MediaTools } from '../../media/tools/locate.ts';
import { runTool } from '../../media/tools/run.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { recipeOf } from '../../profiles/recipe/index.ts';
import type { Profile } from '../../profiles/schema.ts';
import type { ClipFacts } from '../../media/facts.ts';

let located: Promise<MediaTools> | undefined;
export function mediaTools(): Promise<MediaTools> {
  located ??= locateTools();
  return located;
}

export async function factsOf(path: string): Promise<ClipFacts> {
  const input = await openInput(dirname(path), { kind: 'movie', file: basename(path) });
  try {
    const probed = await probeMovie(input, await mediaTools());
    if (probed.state !== 'measured') throw new Error(`${path}: ${JSON.stringify(probed)}`);
    return probed.facts;
  } finally {
    await input.dispose();
  }
}

export interface Made {
  readonly path: string;
  readonly outcome: Outcome;
  readonly checked: CheckReport;
}

/** Makes every profile from one decode; throws when a profile refuses the clip or the command fails. */
export async function makeAll(source: string, profiles: readonly Profile[], folder: string): Promise<Made[]> {
  const tools = await mediaTools();
  const facts = await factsOf(source);
  const texts = join(folder, 'texts');
  mkdirSync(texts, { recursive: true });
  const clip = { id: basename(source).replace(/\.[^.]*$/, ''), name: basename(source).replace(/\.[^.]*$/, '') };
  const deliverables = profiles.map((profile) => {
    const decided = outcomeOf({ day: 'day-01', roll: 'A001', clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return { profile, outcome: decided.outcome, path: join(folder, `${profile.name}-${decided.outcome.fileName}`) };
  });
  const recipe = recipeOf({ facts, deliverables, words: { clip: clip.name, roll: 'A001' }, textFolder: texts, threads: 2 });
  for (const file of recipe.textFiles) writeFileSync(file.path, file.text);
  const input = await openInput(dirname(source), { kind: 'movie', file: basename(source) });
  const run = await runTool(tools.ffmpeg.path, ['-hide_banner', '-nostdin', '-y', '-nostats', '-loglevel', 'repeat+level+error', '-xerror', ...recipe.inputOptions, ...input.args, '-filter_complex', recipe.filterGraph, ...recipe.outputArguments]);
  await input.dispose();
  if (run.exitCode !== 0 || run.stderr !== '') throw new Error(`${run.exitCode} ${run.stderr}\n${run.args.join(' ')}`);
  return await Promise.all(
    deliverables.map(async ({ profile, outcome, path }) => ({ path, outcome, checked: await checkDeliverable({ path, outcome, checks: profile.checks, sourceFacts: facts, tools }) })),
  );
}
