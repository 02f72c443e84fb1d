/**
 * `npm run campaign -- --seed <n> --cases <n>`: draws clips, profiles, faults and their places at random, makes each clip
 * with an encoder that has the fault, and asks the gate; then clean cases (`--clean <n>`, a fifth of the others), which
 * must come out ready. Prints a table of faults and verdicts; `--json` everything. `--fault <name>`: that fault alone.
 * `--case <id>`: that case of the seed alone, with its files kept. `--folder <path>`: work there, and keep the material.
 * `--results <file>`: keep there what each case came to, and do not run again what stands there; `--minutes <n>`: begin no case after so many.
 * `--ways`: sources of every kind whose pictures go a colour way, and the faults of one, in place of the others.
 * `--limits` measures instead how small a fault may be and still be found: `--codecs`, `--scenes`, `--kinds` (lists with commas), `--size 1920x1080`,
 * `--frames <n>` of a clip, `--places <n>` drawn for a fault that has one, `--single <n>` frames looked at one by one.
 * Exit code 1 when a fault was missed, a clean case was held, or a case did not work.
 */
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { requireNode } from './node-version.mjs';

requireNode();
const { prepare } = await import('./prepare.mjs');
const { compile, rooms } = await import('./compile.mjs');
const { projectFolder, say } = await import('./say.mjs');
const { table } = await import('./table.mjs');

await prepare({ systemPrograms: 'test' });
compile({
  settings: 'tsconfig.campaign.json',
  target: 'dist-campaign',
  folders: [...rooms, 'test/campaign', 'test/faults', 'test/support'],
  proof: 'test/campaign/main.js',
});
const { campaign, limitsCampaign, lineOf } = await import(
  pathToFileURL(join(projectFolder, 'dist-campaign', 'test', 'campaign', 'main.js')).href
);

if (process.argv.includes('--limits')) {
  try {
    const { rows, alarms } = await limitsCampaign(process.argv.slice(2), say);
    const cells = rows.map(({ coder, kind, strength, scope, cases, found, missed }) => [
      coder,
      kind,
      strength,
      scope,
      cases,
      found,
      Object.entries(missed)
        .map(([scene, count]) => `${scene} ${count}`)
        .join(', '),
    ]);
    process.stdout.write(
      `${table(['codec', 'fault', 'strength', 'frames', 'cases', 'found', 'missed in'], cells)}\n`,
    );
    for (const alarm of alarms) process.stdout.write(`\nintact, and held: ${alarm}\n`);
    process.exit(alarms.length === 0 ? 0 : 1);
  } catch (error) {
    say(error.message);
    process.exit(2);
  }
}

let output;
try {
  output = await campaign(process.argv.slice(2), say);
} catch (error) {
  say(error.message);
  process.exit(2);
}
const { seed, results, summary, left, asJson, kept } = output;
if (asJson) {
  process.stdout.write(`${JSON.stringify({ seed, ...summary, results }, null, 2)}\n`);
} else {
  const { rows, clean } = summary;
  const sum = (key) => rows.reduce((total, row) => total + row[key], 0);
  const cells = rows.map((row) => [
    row.fault,
    row.stage,
    row.cases,
    row.caught,
    row.otherwise,
    row.noEffect,
    row.notClaimed,
    row.below,
    row.missed,
    row.broken,
    row.codes.map(([code, count]) => `${code} ${count}`).join(', '),
  ]);
  process.stdout.write(
    `seed ${seed}\n\n${table(['fault', 'of the', 'cases', 'held', 'held otherwise', 'no effect', 'not claimed', 'below the limit', 'MISSED', 'broken', 'held for'], [...cells, ['all', '', sum('cases'), sum('caught'), sum('otherwise'), sum('noEffect'), sum('notClaimed'), sum('below'), sum('missed'), sum('broken'), '']])}\n\n`,
  );
  process.stdout.write(
    `${table(['clean', 'cases', 'ready', 'WRONGLY HELD', 'broken'], [['clean', clean.cases, clean.ready, clean.wrongHeld, clean.broken]])}\n`,
  );
  for (const result of results.filter(({ end }) => ['missed', 'wrong-held', 'broken'].includes(end)))
    process.stdout.write(`\nseed ${seed}, ${lineOf(result)}\n`);
}
if (left > 0) say(`${left} cases were not begun: the same command, with the same --results, goes on`);
if (kept !== null) say(`files kept in ${kept}`);
process.exit(summary.good && left === 0 ? 0 : 1);
