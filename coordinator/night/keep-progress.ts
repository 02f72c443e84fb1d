/** Writes how the run stands into its work folder while it goes on, and takes it away at the end. */
import { rename, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { readRecord, recordBytes } from '../../ledger/store.ts';
import { type ProgressRecord, progressRecordSchema } from '../progress/record.ts';
import type { NightForecast } from '../progress/forecast.ts';
import type { RunProgress } from '../progress/run-progress.ts';
import { roomOn } from '../roll/space.ts';

const EVERY_MILLISECONDS = 2_000;

const place = (workFolder: string): string => join(workFolder, 'progress.json');

export interface KeptProgress {
  /** Nothing is written afterwards, and nothing stays. */
  end(): Promise<void>;
}

export interface ToKeep {
  readonly work: string;
  readonly delivery: string;
  readonly run: string;
  readonly day: string;
  /** Of the show; null: UTC. */
  readonly timeZone: string | null;
  readonly runProgress: RunProgress;
  forecast(): NightForecast | null;
  log(message: string, fields: Record<string, unknown>): void;
}

async function freeOn(delivery: string): Promise<number | null> {
  try {
    return (await roomOn(delivery)).freeBytes;
  } catch {
    return null;
  }
}

/** A disk that takes no record of it ends no night: it is written to the log once. */
export function keepProgress({
  work,
  delivery,
  run,
  day,
  timeZone,
  runProgress,
  forecast,
  log,
}: ToKeep): KeptProgress {
  const since = new Date().toISOString();
  let writing: Promise<void> | null = null;
  let told = false;
  const write = async (): Promise<void> => {
    const record: ProgressRecord = {
      ...({ version: 0, kind: 'progress' } as const),
      ...{ run, day, since, at: new Date().toISOString(), timeZone },
      framesPerSecond: runProgress.rate(),
      freeBytes: await freeOn(delivery),
      rolls: runProgress.rolls().map((roll) => ({ ...roll, afterwards: [...roll.afterwards] })),
      forecast: forecast(),
      working: runProgress.working().map((one) => ({ ...one })),
    };
    // Not synced: after a power cut nobody asks how far it was.
    const draft = `${place(work)}.new`;
    await writeFile(draft, recordBytes(progressRecordSchema, record));
    await rename(draft, place(work));
  };
  const timer = setInterval(() => {
    writing ??= write()
      .catch((error: unknown) => {
        if (!told) log('progress is not written', { reason: String(error) });
        told = true;
      })
      .finally(() => {
        writing = null;
      });
  }, EVERY_MILLISECONDS);
  timer.unref();
  return {
    end: async () => {
      clearInterval(timer);
      await writing;
      await rm(place(work), { force: true });
    },
  };
}

/**
 * null: no run writes there, or what stands there is no such record. `run`: of whom it must be, since one that was killed leaves
 * its own behind; null: of any.
 */
export async function readProgress(workFolder: string, run: string | null): Promise<ProgressRecord | null> {
  const read = await readRecord(place(workFolder), progressRecordSchema);
  return read.state === 'read' && (run === null || read.value.run === run) ? read.value : null;
}
