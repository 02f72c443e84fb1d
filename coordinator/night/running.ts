/** What a run says of itself in its work folder while it runs, so that `status` can find it. */
import { rm } from 'node:fs/promises';
import { join } from 'node:path';
import { z } from 'zod';
import { queueAddressSchema } from '../../ledger/queue.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';

const runningSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('running'),
  night: z.string(),
  run: z.string(),
  day: z.string(),
  delivery: z.string(),
  /** ISO 8601 UTC. */
  since: z.string(),
  /** The built-in Redis's socket; null with a shared queue, whose address may hold a password. */
  queue: queueAddressSchema.nullable(),
});
export type Running = z.infer<typeof runningSchema>;

const place = (workFolder: string): string => join(workFolder, 'running.json');

export async function writeRunning(
  workFolder: string,
  running: Omit<Running, 'version' | 'kind'>,
): Promise<void> {
  await writeRecord(place(workFolder), runningSchema, { version: 0, kind: 'running', ...running } as Running);
}

export async function readRunning(workFolder: string): Promise<Running | null> {
  const read = await readRecord(place(workFolder), runningSchema);
  // A damaged one says nothing; the lock says whether somebody is at work.
  return read.state === 'read' ? read.value : null;
}

export async function endRunning(workFolder: string): Promise<void> {
  await rm(place(workFolder), { force: true });
}
