/** `rushlight coordinator`: watches folders and makes nights of what is complete there, until it is asked to end. */
import { join } from 'node:path';
import { type Logger, pino } from 'pino';
import { startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { stateFolder } from '../../files/machine-id.ts';
import { forgetOldReads, keptReads } from '../intake/kept-reads.ts';
import { openOutbox } from '../messages/outbox.ts';
import { sendersOf } from '../messages/read.ts';
import { newTeller } from '../messages/tell.ts';
import { readNights } from '../nights/config.ts';
import { type News, newsToAll } from '../nights/news.ts';
import { serveNights } from '../nights/serve.ts';
import { newTally } from '../nights/tally.ts';
import { answersPing } from '../store/ping.ts';
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

/** How long an end waits for messages; the others wait on disk. */
const MESSAGES_MILLISECONDS = 5_000;
/** Of a shared Redis that is asked whether it is there. */
const PING_MILLISECONDS = 2_000;

/** Logs as JSON lines on stdout. Throws FindingError when it cannot begin. */
export async function coordinatorCommand({ file, ...farm }: CoordinatorOptions): Promise<0 | 130> {
  const config = await readNights(file);
  const queue = farm.queue === undefined ? null : parseQueueAddress(farm.queue, farm);
  const senders = await sendersOf(config.messages);
  const coordinator = newRun();
  const logger: Logger = pino({ base: { coordinator }, timestamp: pino.stdTimeFunctions.isoTime });
  const reads = join(stateFolder(), 'reads');
  await forgetOldReads(reads, config.readAgainMilliseconds);
  const interrupts = listenForInterrupts();
  const keeper = startLeaseKeeper();
  try {
    const lock = await acquireLock({
      ...{ workFolder: config.work, run: coordinator, keeper },
      lost: (why) => logger.error({ why }, 'another coordinator took the work folder over'),
    });
    try {
      const standings = newStandings(config);
      const tally = newTally(config, standings);
      const outbox = await openOutbox({
        ...{ folder: join(config.work, 'messages'), senders },
        onFailure: (receiver, why, isLast) =>
          logger.warn({ receiver, why, isLast }, 'a message was not taken'),
      });
      const serving = await serveNights({
        ...{ config, standings, tally, messages: outbox.counts },
        queueAnswers: async () =>
          queue === null ? null : await answersPing(queue, PING_MILLISECONDS, interrupts.second),
      });
      try {
        const shows = config.shows.map(({ name }) => name);
        logger.info({ file: config.origin, shows, address: serving.address }, 'the coordinator begins');
        const also = { kept: keptReads(reads, config.readAgainMilliseconds) };
        const news = newsToAll([newsToLog(logger), tally, { began: () => undefined, ...newTeller(outbox) }]);
        await standWatch({ config, farm, coordinator, interrupts, logger, also, news, standings });
      } finally {
        await outbox.end(MESSAGES_MILLISECONDS);
        await serving.close();
      }
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
