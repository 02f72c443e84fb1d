/** Writes a file of ours for people: whole or not at all, only where its bytes change, and never over what somebody else put there. */
import { lstat, readFile, rm } from 'node:fs/promises';
import { codeOf } from '../files/error-code.ts';
import { fsPath } from '../files/names.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { writeWhole } from '../ledger/store.ts';

/** In every file that we write for people: by it we know them again. */
export const OUR_MARK = 'written by Rushlight';
/** How far into a file the mark is looked for. */
const MARK_WITHIN = 4096;

const isOurs = (file: Buffer): boolean => file.subarray(0, MARK_WITHIN).includes(OUR_MARK);

async function refusalOf(path: string): Promise<string | null> {
  try {
    return (await lstat(fsPath(path))).isFile() ? null : 'something that is no file is there';
  } catch (error) {
    if (codeOf(error) !== 'ENOENT') throw error;
    return null;
  }
}

async function standing(path: string): Promise<Buffer | null> {
  try {
    return await readFile(fsPath(path));
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return null;
    throw error;
  }
}

/** `written`: it changed. A finding where it could not be written; nothing of it is there then. */
export async function writeOwn(
  path: string,
  bytes: Buffer,
): Promise<{ readonly written: boolean; readonly finding: Finding | null }> {
  const refused = (found: string): { written: false; finding: Finding } => ({
    written: false,
    finding: finding('page-not-written', found, 'a place that can be written', { file: path }),
  });
  try {
    const why = await refusalOf(path);
    if (why !== null) return refused(why);
    const before = await standing(path);
    if (before?.equals(bytes) === true) return { written: false, finding: null };
    if (before !== null && !isOurs(before)) return refused('a file that is not ours is there');
    await writeWhole(path, bytes);
    return { written: true, finding: null };
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return refused(codeOf(error));
  }
}

/** Takes away a file of ours that nothing refers to any more; what is not ours is left. */
export async function removeOwn(path: string): Promise<boolean> {
  const before = await standing(path);
  if (before === null || !isOurs(before)) return false;
  await rm(fsPath(path));
  return true;
}
