/**
 * Messages that wait for their receivers: kept on disk, so that an end of the program loses none, and bounded, so that a receiver that
 * is away for good fills nothing. Each receiver is sent one after the other, in order; one that hangs keeps nobody else waiting, and
 * nobody waits for it.
 */
import { mkdir, readdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { z } from 'zod';
import { codeOf } from '../../files/error-code.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { type NamedMessage, messageSchema } from './message.ts';
import { RefusedForGoodError, type Sender } from './sender.ts';

const waitingSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('message'),
  id: z.string().regex(/^msg_[0-9a-f]{32}$/),
  receiver: z.string(),
  /** Milliseconds since 1970 when it was first to be sent. */
  since: z.number(),
  message: messageSchema,
});
type Waiting = z.infer<typeof waitingSchema>;

export interface OutboxTiming {
  readonly attemptMilliseconds: number;
  /** Before the second attempt, the third, and so on; the last one stays. */
  readonly pauses: readonly number[];
  /** After so long a message is given up. */
  readonly giveUpMilliseconds: number;
}

const SECOND = 1_000;
const MINUTE = 60 * SECOND;
/** Common practice, no source. */
export const usualTiming: OutboxTiming = {
  attemptMilliseconds: 15 * SECOND,
  pauses: [5 * SECOND, 30 * SECOND, 2 * MINUTE, 10 * MINUTE, 30 * MINUTE],
  giveUpMilliseconds: 24 * 60 * MINUTE,
};

/** In all; of more the oldest is dropped. */
export const MOST_WAITING = 1_000;

export interface OutboxRequest {
  readonly folder: string;
  readonly senders: readonly Sender[];
  readonly timing?: OutboxTiming;
  readonly most?: number;
  /** What came of it, without addresses and secrets. */
  onFailure(receiver: string, why: string, isLast: boolean): void;
}

export interface OutboxCounts {
  waiting: number;
  sent: number;
  failed: number;
  dropped: number;
}

export interface Outbox {
  /** Returns at once, and never throws. */
  tell(message: NamedMessage): void;
  readonly counts: Readonly<OutboxCounts>;
  /** Until nothing waits, or the time is over. What waits then stays on disk, if the disk took it. */
  end(milliseconds: number): Promise<void>;
}

export async function openOutbox(request: OutboxRequest): Promise<Outbox> {
  const { folder, senders, timing = usualTiming, most = MOST_WAITING, onFailure } = request;
  const counts: OutboxCounts = { waiting: 0, sent: 0, failed: 0, dropped: 0 };
  const lines = new Map(senders.map((sender) => [sender.key, newLine()]));
  const ending = new AbortController();
  const writing = new Set<Promise<void>>();
  const written = new WeakMap<Waiting, Promise<void>>();
  let number = 0;

  const fileOf = ({ id, receiver, since }: Waiting): string =>
    join(folder, `${since}-${receiver}-${id}.json`);
  const drop = (one: Waiting): void => {
    counts.waiting -= 1;
    // It may still be on its way to the disk.
    later((written.get(one) ?? Promise.resolve()).then(() => rm(fileOf(one), { force: true })));
  };
  /** A disk that takes nothing takes nothing from whoever is told now. */
  const later = (act: Promise<void>): void => {
    const done = act
      .catch((error: unknown) => onFailure('the disk', codeOf(error) || String(error), false))
      .finally(() => writing.delete(done));
    writing.add(done);
  };
  const dropOldest = (): void => {
    const [oldest] = [...lines.values()]
      .filter(({ waiting }) => waiting.length > 0)
      .sort((a, b) => (a.waiting[0]?.since ?? 0) - (b.waiting[0]?.since ?? 0));
    const one = oldest?.waiting.shift();
    if (one === undefined) return;
    drop(one);
    counts.dropped += 1;
    onFailure('a receiver', `more than ${most} messages wait`, true);
  };
  const add = (one: Waiting): boolean => {
    const line = lines.get(one.receiver);
    if (line === undefined) return false;
    line.waiting.push(one);
    counts.waiting += 1;
    if (counts.waiting > most) dropOldest();
    line.wake();
    return true;
  };

  const sendOn = async (sender: Sender): Promise<void> => {
    const line = lines.get(sender.key) as Line;
    let failures = 0;
    while (!ending.signal.aborted) {
      const one = line.waiting[0];
      if (one === undefined) {
        await line.woken();
        continue;
      }
      try {
        const late = AbortSignal.timeout(timing.attemptMilliseconds);
        await sender.send({ id: one.id, message: one.message }, AbortSignal.any([late, ending.signal]));
        counts.sent += 1;
        failures = 0;
        takeOut(line, one);
      } catch (error) {
        if (ending.signal.aborted) return;
        const isLast =
          error instanceof RefusedForGoodError || Date.now() - one.since >= timing.giveUpMilliseconds;
        onFailure(sender.name, error instanceof Error ? error.message : String(error), isLast);
        if (isLast) {
          counts.failed += 1;
          takeOut(line, one);
          continue;
        }
        const pause = timing.pauses[Math.min(failures, timing.pauses.length - 1)] ?? 0;
        failures += 1;
        await resting(pause, ending.signal);
      }
    }
  };
  const takeOut = (line: Line, one: Waiting): void => {
    // Meanwhile it may have been dropped as the oldest.
    const place = line.waiting.indexOf(one);
    if (place === -1) return;
    line.waiting.splice(place, 1);
    drop(one);
    if (counts.waiting === 0) line.wake();
  };

  await mkdir(folder, { recursive: true, mode: 0o700 });
  for (const one of await waitingIn(folder)) if (!add(one)) later(rm(fileOf(one), { force: true }));
  const sending = senders.map((sender) => sendOn(sender));

  return {
    counts,
    tell({ id, message }) {
      for (const { key } of senders.filter(({ wants }) => wants(message.type))) {
        // Two of one moment stay in order.
        number += 1;
        const one: Waiting = {
          ...{ version: 0, kind: 'message', id, receiver: key, message },
          since: Date.now() + (number % 1_000) / 1_000,
        };
        const write = writeRecord(fileOf(one), waitingSchema, one);
        written.set(
          one,
          write.catch(() => undefined),
        );
        later(write);
        add(one);
      }
    },
    async end(milliseconds) {
      const until = performance.now() + milliseconds;
      while (counts.waiting > 0 && performance.now() < until) await resting(20, ending.signal);
      ending.abort();
      for (const line of lines.values()) line.wake();
      await Promise.all(sending);
      // What is written may be taken away again.
      while (writing.size > 0) await Promise.all(writing);
    },
  };
}

interface Line {
  readonly waiting: Waiting[];
  wake(): void;
  woken(): Promise<void>;
}

function newLine(): Line {
  let wake: () => void = () => undefined;
  return {
    waiting: [],
    wake: () => wake(),
    woken: () =>
      new Promise((resolve) => {
        wake = resolve;
      }),
  };
}

function resting(milliseconds: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    const done = (): void => {
      clearTimeout(timer);
      signal.removeEventListener('abort', done);
      resolve();
    };
    const timer = setTimeout(done, milliseconds);
    signal.addEventListener('abort', done, { once: true });
    if (signal.aborted) done();
  });
}

/** Oldest first. What cannot be read is no message. */
async function waitingIn(folder: string): Promise<Waiting[]> {
  const found: Waiting[] = [];
  for (const name of await readdir(folder)) {
    if (!name.endsWith('.json')) continue;
    const read = await readRecord(join(folder, name), waitingSchema);
    if (read.state === 'read') found.push(read.value);
  }
  return found.sort((a, b) => a.since - b.since);
}
