/** What set-up has to say goes to stderr: stdout belongs to the command's results. */
import { fileURLToPath } from 'node:url';

/** The folder that holds package.json. */
export const projectFolder = fileURLToPath(new URL('..', import.meta.url));

export function say(text) {
  process.stderr.write(`set-up: ${text}\n`);
}

/** Exit code 3: the machine lacks something. */
export function stop(text) {
  say(text);
  process.exit(3);
}
