/** The command line: runs one command and ends with its exit code. */
import { runCommand } from './command-line.ts';
import { flushed } from './show/output.ts';

const code = await runCommand(process.argv.slice(2));
await flushed();
// Connections that wind down must not keep a finished command.
process.exit(code);
