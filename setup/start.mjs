/**
 * `npm start` does whatever set-up is missing and runs the demo night.
 * `npm start -- <args>` does the same set-up and hands the arguments to the command line.
 */
import { requireNode } from './node-version.mjs';

requireNode();
const { prepare } = await import('./prepare.mjs');
const { handOver } = await import('./hand-over.mjs');

const given = process.argv.slice(2);
const args = given.length === 0 ? ['demo'] : given;
// Doctor says what the machine lacks, line by line: it must not be stopped by a machine that lacks it.
await prepare({ systemPrograms: args[0] === 'doctor' ? 'none' : 'run' });
process.env.RUSHLIGHT_STARTED_AS = 'npm start --';
await handOver(args);
