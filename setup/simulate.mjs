/**
 * `npm run simulate -- --clips <n> --workers <n> --seed <n>`: a mixed shoot day drawn from the seed, made by so many workers in a simulated night, in the order
 * and through the window that a run goes by. Prints how long it takes beside the least that any order could take. `--scatter <x>`: how far jobs
 * lie from what the planner thinks (standard deviation of the logarithm, 0.15 when it is not said; 0: it knows). `--without <n>`: so many of the
 * workers are on machines without a decoder that the clips of one camera need.
 */
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { requireNode } from './node-version.mjs';
import { prepare } from './prepare.mjs';
import { projectFolder, say } from './say.mjs';

requireNode();
await prepare({ systemPrograms: 'none' });
const compiled = (...path) => import(pathToFileURL(join(projectFolder, 'dist', ...path)).href);
const { readArguments, simulationOf, simulationText } = await compiled(
  'coordinator',
  'forecast',
  'simulation.js',
);

try {
  process.stdout.write(simulationText(simulationOf(readArguments(process.argv.slice(2)))));
} catch (error) {
  say(error.message);
  process.exit(2);
}
