/** `rushlight worker`: this machine joins a shared queue, until it is asked to end. */
import { hostname, tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Finding } from '../../findings/finding.ts';
import { printableAddress } from '../../ledger/queue.ts';
import { readMounts } from '../../ledger/volumes.ts';
import { joinFarm } from '../machine/member.ts';
import { standingFindings } from '../machine/standing.ts';
import { defaultWorkers } from '../night/workers.ts';
import { printJson, printText } from '../show/output.ts';
import { count, findingText } from '../show/words.ts';
import { inspectSharedRedis, parseQueueAddress } from '../store/shared.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_STALL_SECONDS } from '../night/defaults.ts';

export interface WorkerOptions {
  readonly queue: string;
  readonly workers?: number;
  readonly slots?: number;
  readonly volumes?: string;
  readonly queueCa?: string;
  readonly queueCert?: string;
  readonly queueKey?: string;
  /** Where the logs go. */
  readonly work?: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly stallSeconds?: number;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

export async function workerCommand(options: WorkerOptions): Promise<1 | 130> {
  const address = parseQueueAddress(options.queue, options);
  const mounts = options.volumes === undefined ? null : await readMounts(options.volumes);
  const say = (text: string): void => {
    if (options.quiet !== true) process.stderr.write(`${text}\n`);
  };
  const findings: Finding[] = [];
  const report = (...reported: readonly Finding[]): void => {
    for (const item of reported) {
      findings.push(item);
      say(findingText(item));
    }
  };
  report(...(await inspectSharedRedis(address)));
  const interrupts = listenForInterrupts();
  const workers = options.workers ?? defaultWorkers();
  const logFolder = options.work ?? join(tmpdir(), `rushlight-worker-${process.pid}`);
  let onGone: () => void = () => undefined;
  const gone = new Promise<void>((resolve) => {
    onGone = resolve;
  });
  const member = joinFarm(
    {
      address,
      tools: options,
      mounts,
      pool: {
        count: workers,
        slots: options.slots ?? null,
        logFolder,
        stallSeconds: options.stallSeconds ?? DEFAULT_STALL_SECONDS,
      },
    },
    {
      onDeath: report,
      onAllGone: (reported) => {
        report(reported);
        onGone();
      },
      onStanding: (standing) => {
        const news = standingFindings(standing, hostname());
        report(...news);
        if (news.length === 0) say(`This machine is fit again for jobs of run ${standing.run}.`);
      },
      log: () => undefined,
    },
  );
  say(
    `${count(workers, 'worker')} on ${printableAddress(address)}; logs in ${logFolder}. Ctrl-C once: running jobs finish, then it stops. Twice: it stops at once.`,
  );
  const interrupted = new Promise<void>((resolve) =>
    interrupts.first.addEventListener('abort', () => resolve(), { once: true }),
  );
  const hasWorkers = await Promise.race([gone.then(() => false), interrupted.then(() => true)]);
  const stopNow = (): void => void member.stopNow();
  // Two at once come before anybody listens for the second.
  if (interrupts.second.aborted) stopNow();
  else interrupts.second.addEventListener('abort', stopNow, { once: true });
  await member.finish();
  interrupts.end();
  if (options.json === true)
    printJson({
      version: 0,
      kind: 'worker',
      queue: printableAddress(address),
      workers,
      ended: hasWorkers ? 'interrupted' : 'workers-gone',
      findings,
    });
  else printText(hasWorkers ? 'Stopped.' : 'No worker is left.');
  return hasWorkers ? 130 : 1;
}
