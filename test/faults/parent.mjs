// Runs the program given by the arguments as Rushlight runs every program, from the compiled tree, and waits.
import { runTool } from '../../dist/process/run.js';

const [program, ...args] = process.argv.slice(2);
const result = await runTool(program, args);
process.stdout.write(JSON.stringify(result));
