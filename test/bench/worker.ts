/** Memory of a worker that waits for work. */
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { FARM_LOCKS } from '../../coordinator/night/locks.ts';
import { startWorkers } from '../../coordinator/night/workers.ts';
import { startPrivateStore } from '../../coordinator/store/private.ts';
import { locateTools } from '../../process/locate.ts';
import { eventually } from '../support/processes.ts';
import type { BenchLine } from './line.ts';

const IDLE_MILLISECONDS = 5000;

/** Of the process that the worker's log says is ready. */
function readyPid(log: string): number | undefined {
  if (!existsSync(log)) return undefined;
  const lines = readFileSync(log, 'utf8')
    .split('\n')
    .filter((line) => line.endsWith('}'));
  return lines
    .map((line) => JSON.parse(line) as { msg: string; pid: number })
    .find(({ msg }) => msg === 'ready')?.pid;
}

export async function benchIdleWorker(): Promise<BenchLine> {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  const nothing = (): void => undefined;
  const store = startPrivateStore(join(folder, 'store'), { onRestart: nothing, onLost: nothing });
  try {
    await store.ready;
    const tools = await locateTools();
    const logFolder = join(folder, 'logs');
    const workers = startWorkers(
      {
        count: 1,
        slots: null,
        logFolder,
        setup: {
          queue: store.address,
          ffmpeg: tools.ffmpeg.path,
          ffprobe: tools.ffprobe.path,
          stallSeconds: 120,
          farm: false,
          mounts: null,
          ...FARM_LOCKS,
        },
      },
      { onDeath: nothing, onLost: nothing, onAllGone: nothing },
    );
    try {
      const pid = await eventually(() => readyPid(join(logFolder, 'local-1.log')), 30_000);
      await new Promise((resolve) => setTimeout(resolve, IDLE_MILLISECONDS));
      // proc_pid_status(5): VmRSS in kB, which are kibibytes.
      const kibibytes = Number(/^VmRSS:\s+(\d+) kB$/m.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1]);
      const megabytes = (kibibytes * 1024) / 1e6;
      return {
        name: 'memory of an idle worker',
        measured: `${megabytes.toFixed(0)} MB`,
        target: 'under 150 MB',
        passed: megabytes < 150,
      };
    } finally {
      await workers.stopNow();
    }
  } finally {
    await store.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}
