/**
 * The token of a live page, kept in the work folder, which its user alone may enter: a run that is started again in the morning is found
 * by the page that was left open. After a day it is another one.
 */
import { mkdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { z } from 'zod';
import { fsPath } from '../../files/names.ts';
import { readRecord } from '../../ledger/store.ts';
import { newToken } from '../../serve/token.ts';

const tokenSchema = z.object({
  version: z.literal(0),
  kind: z.literal('page-token'),
  token: z.string().regex(/^[0-9a-z]{20}$/),
  /** ISO 8601, UTC. */
  made: z.iso.datetime(),
});

const LIFE_MILLISECONDS = 24 * 3600 * 1000;

/** Throws what node:fs throws where it cannot be kept. */
export async function keptToken(work: string, now: number = Date.now()): Promise<string> {
  const file = join(work, 'page-token.json');
  const read = await readRecord(file, tokenSchema);
  if (read.state === 'read') {
    const age = now - Date.parse(read.value.made);
    if (age >= 0 && age < LIFE_MILLISECONDS) return read.value.token;
  }
  const token = newToken();
  await mkdir(fsPath(work), { recursive: true, mode: 0o700 });
  await rm(fsPath(file), { force: true });
  const kept: z.input<typeof tokenSchema> = {
    ...({ version: 0, kind: 'page-token' } as const),
    ...{ token, made: new Date(now).toISOString() },
  };
  await writeFile(fsPath(file), `${JSON.stringify(kept)}\n`, { mode: 0o600, flag: 'wx' });
  return token;
}
