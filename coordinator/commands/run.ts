/** `rushlight run`: a shoot day in, verified rolls and proved deliverables out. */
import { setTimeout as wait } from 'node:timers/promises';
import { type Finding, finding, blocks } from '../../findings/finding.ts';
import type { NightFolders } from '../roll/folders.ts';
import { type NightOptions, nightAsked } from '../night/asked.ts';
import type { NightResult, NightUi } from '../night/request.ts';
import { messagesOf } from '../messages/of-run.ts';
import { runNight } from '../night/run.ts';
import { nightText } from '../show/night-text.ts';
import { pageAddressText } from '../show/page-text.ts';
import { printJson, printText } from '../show/output.ts';
import { type Progress, showProgress } from '../show/progress.ts';
import { findingText } from '../show/words.ts';
import { originOf, type ServeAddress } from '../../serve/address.ts';
import { listenForInterrupts } from './interrupts.ts';

export interface RunOptions extends NightOptions {
  readonly page?: ServeAddress;
  /** File with those who are told. */
  readonly messages?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

function exitCodeOf(result: Pick<NightResult, 'interrupted' | 'verdict'>): 0 | 1 | 130 {
  if (result.interrupted) return 130;
  return result.verdict === 'ready' ? 0 : 1;
}

/** Runs the night and prints what came of it; gives the exit code. Throws FindingError when it cannot begin. */
export async function runCommand(options: RunOptions): Promise<0 | 1 | 130> {
  const result = await takeNight(options);
  if (options.json === true) printJson({ version: 0, kind: 'run', ...result });
  else printText(nightText(result));
  return exitCodeOf(result);
}

/** The night as `run` takes it, with progress and interrupts; what came of it is the caller's to print. */
export async function takeNight(options: RunOptions): Promise<NightResult> {
  const request = await nightAsked(options);
  const { folders } = request;
  const messages = options.messages === undefined ? null : await messagesOf(options.messages, folders);
  const interrupts = listenForInterrupts();
  let progress: Progress | undefined;
  const say = (line: string): void => {
    if (options.quiet === true) return;
    if (progress === undefined) process.stderr.write(`${line}\n`);
    else progress.say(line);
  };
  const of = { day: folders.dayName, delivery: folders.delivery, show: null };
  const ui: NightUi = {
    begin: (runProgress, forecast) => {
      progress = showProgress(runProgress, { quiet: options.quiet === true, forecast });
      messages?.begin(forecast);
    },
    say,
    report: (item: Finding) => {
      if (blocks(item) || options.quiet !== true) say(findingText(item));
      messages?.teller.noted(of, item);
    },
    decided: (result) => messages?.teller.decided(of, result),
  };
  const live = options.page === undefined ? null : await livePage(options.page, folders, ui);
  try {
    const result = await runNight(request, interrupts, ui);
    messages?.teller.ended(of, result);
    const unsent = (await messages?.end(MESSAGES_MILLISECONDS)) ?? [];
    return { ...result, findings: [...result.findings, ...(live?.findings() ?? []), ...unsent] };
  } finally {
    progress?.stop();
    await live?.end();
    await messages?.end(0);
    interrupts.end();
  }
}

/** How long a run that is over waits for its messages. What is not sent by then waits for the next run. */
const MESSAGES_MILLISECONDS = 10_000;

/** How long a run waits for the address of its page, so that it is printed first. */
const PAGE_MILLISECONDS = 5_000;

interface LivePage {
  /** What went wrong with it: no verdict rests on it. */
  findings(): readonly Finding[];
  end(): Promise<void>;
}

async function livePage(
  address: ServeAddress,
  { work, delivery, dayName }: NightFolders,
  { report }: Pick<NightUi, 'report'>,
): Promise<LivePage> {
  const { startPageThread } = await import('../live/page-thread.ts');
  const findings: Finding[] = [];
  const note = (why: string): void => {
    const found = finding('page-not-served', `${originOf(address)}: ${why}`, 'an address that can be served');
    findings.push(found);
    report(found);
  };
  const thread = startPageThread(
    { watch: { work, delivery, day: dayName, awaited: true }, address, serves: false },
    note,
  );
  const said = thread.started.then((started) => {
    if ('why' in started) note(started.why);
    // Also where nothing else is said: nobody can guess it.
    else process.stderr.write(`${pageAddressText(started.addresses)}\n`);
  });
  // A thread that is slow to begin does not keep the run from beginning.
  await Promise.race([said, wait(PAGE_MILLISECONDS, undefined, { ref: false })]);
  return { findings: () => findings, end: thread.end };
}
