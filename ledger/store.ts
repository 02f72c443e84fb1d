/** Records on disk: written whole or not at all, read with tolerance forward and a clear word on damage. */
import { codeOf } from '../files/error-code.ts';
import { open, readFile, rename, rm } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import type { z } from 'zod';
import { type Finding, finding } from '../findings/finding.ts';
import { belongToFolder } from '../files/belonging.ts';
import { makeFolders, syncFolder } from '../files/folders.ts';
import { STAGING_PREFIX } from './layout.ts';
import { newToken } from './owner.ts';

/** Writes text under `path` so that a reader sees the old or the new whole, never a part; also after a power cut. */
export async function writeWhole(path: string, text: string | Buffer): Promise<void> {
  const folder = dirname(path);
  await makeFolders(folder);
  const part = join(folder, `${STAGING_PREFIX}${newToken()}`);
  try {
    const handle = await open(part, 'wx');
    try {
      await handle.writeFile(text);
      await belongToFolder(handle, folder);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await rename(part, path);
  } catch (error) {
    await rm(part, { force: true });
    throw error;
  }
  await syncFolder(folder);
}

/** The bytes of a record as they are written. */
export function recordBytes<Schema extends z.ZodType>(schema: Schema, value: z.input<Schema>): Buffer {
  return Buffer.from(`${JSON.stringify(schema.parse(value), null, 2)}\n`);
}

export async function writeRecord<Schema extends z.ZodType>(
  path: string,
  schema: Schema,
  value: z.input<Schema>,
): Promise<void> {
  await writeWhole(path, recordBytes(schema, value));
}

/** `bytes`: exactly those that `value` was read from. */
export type ReadRecord<Value> =
  | { state: 'absent' }
  | { state: 'damaged'; finding: Finding }
  | { state: 'read'; value: Value; bytes: Buffer };

/** Unknown fields are kept (records of a newer minor version); a wrong version, shape or torn text is `damaged`, never guessed at. */
export async function readRecord<Schema extends z.ZodType>(
  path: string,
  schema: Schema,
): Promise<ReadRecord<z.output<Schema>>> {
  let bytes: Buffer;
  try {
    bytes = await readFile(path);
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return { state: 'absent' };
    return {
      state: 'damaged',
      finding: finding('record-damaged', (error as Error).message, 'a readable record', { file: path }),
    };
  }
  let json: unknown;
  try {
    json = JSON.parse(bytes.toString('utf8'));
  } catch (error) {
    return {
      state: 'damaged',
      finding: finding('record-damaged', `not whole JSON: ${(error as Error).message}`, 'a whole record', {
        file: path,
      }),
    };
  }
  const parsed = schema.safeParse(json);
  if (!parsed.success) {
    const issue = parsed.error.issues[0];
    return {
      state: 'damaged',
      finding: finding(
        'record-damaged',
        `${issue?.path.join('.') || 'the record'}: ${issue?.message ?? 'wrong shape'}`,
        'a record of a version that this program knows',
        { file: path },
      ),
    };
  }
  return { state: 'read', value: parsed.data, bytes };
}
