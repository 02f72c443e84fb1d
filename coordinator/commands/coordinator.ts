/** `rushlight coordinator`: watches folders and makes nights of what is complete there, until it is asked to end. */
import { join } from 'node:path';
import { type Logger, pino } from 'pino';
import { startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { stateFolder } from '../../files/machine-id.ts';
import { forgetOldReads, keptReads } from '../intake/kept-reads.ts';
import { readNights } from '../nights/config.ts';
import type { News } from '../nights/news.ts';
import { newStandings, standWatch } from '../nights/stand.ts';
import type { FarmOptions } from '../nights/show-at-work.ts';
import { newRun } from '../night/names.ts';
import { acquireLock } from '../store/lock.ts';
import { parseQueueAddress } from '../store/shared.ts';
import { listenForInterrupts } from './interrupts.ts';

export interface CoordinatorOptions extends FarmOptions {
  /** The YAML file. */
  readonly file: string;
}

/** Logs as JSON lines on stdout. Throws FindingError when it cannot begin. */
export async function coordinatorCommand({ file, ...farm }: CoordinatorOptions): Promise<0 | 130> {
  const config = await readNights(file);
  if (farm.queue !== undefined) parseQueueAddress(farm.queue, farm);
  const coordinator = newRun();
  const logger: Logger = pino({ base: { coordinator }, timestamp: pino.stdTimeFunctions.isoTime });
  const reads = join(stateFolder(), 'reads');
  await forgetOldReads(reads, config.readAgainMilliseconds);
  const interrupts = listenForInterrupts();
  const keeper = startLeaseKeeper();
  try {
    const lock = await acquireLock({
      ...{ workFolder: join(config.work), run: coordinator, keeper },
      lost: (why) => logger.error({ why }, 'another coordinator took the work folder over'),
    });
    try {
      logger.info(
        { file: config.origin, shows: config.shows.map(({ name }) => name) },
        'the coordinator begins',
      );
      await standWatch({
        ...{
          config,
          farm,
          coordinator,
          interrupts,
          logger,
          also: { kept: keptReads(reads, config.readAgainMilliseconds) },
        },
        news: newsToLog(logger),
        standings: newStandings(config),
      });
      logger.info('the coordinator ends');
    } finally {
      await lock.release();
    }
  } finally {
    await keeper.close();
    interrupts.end();
  }
  return 130;
}

function newsToLog(logger: Logger): News {
  return {
    began: (of) => logger.info(of, 'a night begins'),
    decided: (of, { roll, verdict, findings }) =>
      logger.info(
        { ...of, roll, verdict, codes: [...new Set(findings.map(({ code }) => code))] },
        'a roll is decided',
      ),
    ended: (of, { verdict, run, seconds }) => logger.info({ ...of, run, verdict, seconds }, 'a night ends'),
    refused: (of, findings) => logger.error({ ...of, findings }, 'a night could not begin'),
    late: (of, roll, why) => logger.warn({ ...of, roll, why }, 'a roll is late'),
    noted: () => undefined,
  };
}
