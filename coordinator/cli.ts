/** The command line: runs one command and ends with its exit code. Results go to stdout, everything else to stderr. */
import '../process/late-optimising.ts';
import { type CommandUnknownOpts, CommanderError } from '@commander-js/extra-typings';
import { withCommandsAsStarted } from '../findings/commands.ts';
import { FindingError, finding } from '../findings/finding.ts';
import { program } from './program.ts';
import { flushed, printRefusal } from './show/output.ts';

/** Every command and option, also those of sub-commands, ends by a throw instead of leaving the process. */
function ownExits(command: CommandUnknownOpts): void {
  command.exitOverride();
  for (const sub of command.commands) ownExits(sub);
}

async function main(argv: readonly string[]): Promise<number> {
  const wantsJson = argv.includes('--json');
  try {
    let exitCode = 0;
    const root = program((code) => void (exitCode = code));
    ownExits(root);
    await root.parseAsync([...argv], { from: 'user' });
    return exitCode;
  } catch (error) {
    if (error instanceof CommanderError) {
      // Help and version come this way too, with 0; what is wrong was reported by commander, on stderr.
      if (error.exitCode === 0) return 0;
      if (wantsJson)
        printRefusal(
          [
            finding(
              'usage-wrong',
              error.message.replace(/^error: /, ''),
              withCommandsAsStarted('a command and options that `rushlight help` lists'),
            ),
          ],
          2,
          true,
        );
      return 2;
    }
    if (error instanceof FindingError) {
      printRefusal(error.findings, error.exitCode, wantsJson);
      return error.exitCode;
    }
    if (process.env.RUSHLIGHT_DEBUG) process.stderr.write(`${(error as Error).stack}\n`);
    printRefusal(
      [finding('program-fault', (error as Error).message, 'no fault (RUSHLIGHT_DEBUG=1 shows where)')],
      1,
      wantsJson,
    );
    return 1;
  }
}

const code = await main(process.argv.slice(2));
await flushed();
// Connections that wind down must not keep a finished command.
process.exit(code);
