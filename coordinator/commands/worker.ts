/** `rushlight worker`: this machine joins a shared queue, until it is asked to end. */
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Finding } from '../../findings/finding.ts';
import { printableAddress } from '../../ledger/queue.ts';
import { locateTools } from '../../process/locate.ts';
import { FARM_LOCKS } from '../night/engine.ts';
import { defaultWorkers, startWorkers } from '../night/workers.ts';
import { printJson, printText } from '../show/output.ts';
import { count, findingText } from '../show/words.ts';
import { inspectSharedRedis, parseQueueAddress } from '../store/shared.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_STALL_SECONDS } from './defaults.ts';

export interface WorkerOptions {
  readonly queue: string;
  readonly workers?: number;
  readonly slots?: number;
  /** Where the logs go. */
  readonly work?: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly stallSeconds?: number;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

export async function workerCommand(options: WorkerOptions): Promise<1 | 130> {
  const address = parseQueueAddress(options.queue);
  const say = (text: string): void => {
    if (options.quiet !== true) process.stderr.write(`${text}\n`);
  };
  const [notes, tools] = await Promise.all([
    inspectSharedRedis(address),
    locateTools({
      ...(options.ffmpeg === undefined ? {} : { ffmpeg: options.ffmpeg }),
      ...(options.ffprobe === undefined ? {} : { ffprobe: options.ffprobe }),
    }),
  ]);
  for (const note of notes) say(findingText(note));
  const findings: Finding[] = [...notes];
  const interrupts = listenForInterrupts();
  const workers = options.workers ?? defaultWorkers();
  const logFolder = options.work ?? join(tmpdir(), `rushlight-worker-${process.pid}`);
  let onGone: () => void = () => undefined;
  const gone = new Promise<void>((resolve) => {
    onGone = resolve;
  });
  const pool = startWorkers(
    {
      count: workers,
      slots: options.slots ?? null,
      logFolder,
      setup: {
        queue: address,
        ffmpeg: tools.ffmpeg.path,
        ffprobe: tools.ffprobe.path,
        stallSeconds: options.stallSeconds ?? DEFAULT_STALL_SECONDS,
        ...FARM_LOCKS,
      },
    },
    {
      // Over a network a lock is left to run out.
      onLost: () => undefined,
      onDeath: (reported) => {
        findings.push(reported);
        say(findingText(reported));
      },
      onAllGone: (reported) => {
        findings.push(reported);
        say(findingText(reported));
        onGone();
      },
    },
  );
  say(
    `${count(workers, 'worker')} on ${printableAddress(address)}; logs in ${logFolder}. Ctrl-C once: running jobs finish, then it stops. Twice: it stops at once.`,
  );
  const interrupted = new Promise<void>((resolve) =>
    interrupts.first.addEventListener('abort', () => resolve(), { once: true }),
  );
  const hasWorkers = await Promise.race([gone.then(() => false), interrupted.then(() => true)]);
  interrupts.second.addEventListener('abort', () => void pool.stopNow(), { once: true });
  await pool.finish();
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
