/** The night's log: JSON lines in the work folder, for whoever has to find out. People's lines go elsewhere. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { destination, type Logger, pino } from 'pino';

export interface NightLog {
  readonly logger: Logger;
  close(): Promise<void>;
}

export function openLog(folder: string, run: string): NightLog {
  mkdirSync(folder, { recursive: true, mode: 0o700 });
  const stream = destination({ dest: join(folder, `night-${run}.log`), sync: false, mkdir: true });
  // A log that cannot be written (full or deleted work folder) must not end the night.
  stream.on('error', () => undefined);
  const logger = pino({ base: { run }, level: 'debug', timestamp: pino.stdTimeFunctions.isoTime }, stream);
  return {
    logger,
    close: () =>
      new Promise((resolve) => {
        // Connections that wind down may still have a word: it must not end the process.
        logger.level = 'silent';
        const timer = setTimeout(resolve, 1_000);
        stream.once('close', () => {
          clearTimeout(timer);
          resolve();
        });
        stream.end();
      }),
  };
}
