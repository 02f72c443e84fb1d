/**
 * Answers that are parsed. A program that ends with 0 has not shown that all of its answer came: a wrapper, a pipe or a killed child
 * can cut it off, and half a list reads like a short one. So an answer that its own form shows to be cut off is asked for once more;
 * if the second is no better, that is reported of the answer and nothing is concluded from it.
 */
import { runForOutput, type RunOptions, type RunResult } from './run.ts';

/** The rule: once more where the first answer is not whole. The second one counts, whatever it is. */
export async function askedAgain<Answer>(
  ask: () => Promise<Answer>,
  isWhole: (answer: Answer) => boolean,
): Promise<Answer> {
  const first = await ask();
  return isWhole(first) ? first : await ask();
}

export function isWholeJson(text: string): boolean {
  try {
    JSON.parse(text);
    return true;
  } catch {
    return false;
  }
}

/** Programs end their last line; one that is cut off within a line does not. */
export const endsItsLine = (text: string): boolean => text.endsWith('\n');

export interface WholeText {
  readonly text: string;
  /** False: cut off, twice. */
  readonly whole: boolean;
}

/**
 * A text of a program whose habits nobody knows, by the rule: one that comes twice the same is what the program says, however it ends.
 * `ask` may throw.
 */
export async function wholeText(
  ask: () => Promise<string>,
  isWhole: (text: string) => boolean = endsItsLine,
): Promise<WholeText> {
  const asked: string[] = [];
  const text = await askedAgain(async () => {
    const answer = await ask();
    asked.push(answer);
    return answer;
  }, isWhole);
  return { text, whole: isWhole(text) || (text !== '' && asked.length === 2 && asked[0] === text) };
}

/** Runs a program that ends its lines (or writes JSON: `isWhole`) and gives what it printed on stdout, as text, by the rule. A run that did not end with 0 is not repeated: it has its own reason. */
export async function runForAnswer(
  command: string,
  args: readonly string[],
  options: Omit<RunOptions, 'onStdout'> & { readonly isWhole?: (text: string) => boolean } = {},
): Promise<RunResult & WholeText> {
  const { isWhole = endsItsLine, ...run } = options;
  return await askedAgain(
    async () => {
      const { stdout, ...result } = await runForOutput(command, args, run);
      const text = stdout.toString('utf8');
      return { ...result, text, whole: isWhole(text) };
    },
    ({ reason, exitCode, whole }) => whole || reason !== 'exited' || exitCode !== 0,
  );
}
