/**
 * Commands in texts for people. The registry writes them as `rushlight <command> …` in backticks; whoever prints them
 * puts in what this person types: `npm start --` in a checkout, `npx rushlight`, or `rushlight` where it is installed.
 */

/** Set by the programs in bin/ and setup/, which know how they were started. */
export const STARTED_AS = 'RUSHLIGHT_STARTED_AS';

const COMMAND = /`rushlight(?= |`)/g;

/** `text` with every command as this process was started; the registry's own form where nobody said how. */
export function withCommandsAsStarted(text: string, startedAs = process.env[STARTED_AS]): string {
  // A replacement by function: `$` in a path has no meaning.
  return startedAs === undefined || startedAs === ''
    ? text
    : text.replaceAll(COMMAND, () => `\`${startedAs}`);
}
