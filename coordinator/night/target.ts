/** The place that is delivered to: is it there, can it be written, how much fits. */
import { randomUUID } from 'node:crypto';
import { rm, stat, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import { STAGING_PREFIX } from '../../ledger/layout.ts';
import { roomOn } from '../roll/space.ts';

export interface TargetState {
  /** Why nothing can be made now; null: it can. */
  readonly trouble: Finding | null;
  /** null when it could not be asked. */
  readonly freeBytes: number | null;
}

export interface Target {
  /** target-gone when the folder is not the one of the beginning; null when it is. Writes nothing. */
  gone(): Promise<Finding | null>;
  /** `reserveBytes`: less than this free is as good as full. */
  look(reserveBytes: number): Promise<TargetState>;
}

/** Remembers the folder's file system: an unmounted volume leaves its empty mount point behind, on another one. */
export async function openTarget(folder: string): Promise<Target> {
  const { dev } = await stat(folder);
  const subject = { file: folder };
  const gone = async (): Promise<Finding | null> => {
    try {
      return (await stat(folder)).dev === dev
        ? null
        : finding(
            'target-gone',
            'another file system stands there',
            'the one that was there when the night began',
            subject,
          );
    } catch (error) {
      return troubleOf(error as NodeJS.ErrnoException, folder);
    }
  };
  return {
    gone,
    async look(reserveBytes) {
      try {
        const away = await gone();
        if (away !== null) return { trouble: away, freeBytes: null };
        const { freeBytes: free } = await roomOn(folder);
        const probe = join(folder, `${STAGING_PREFIX}probe-${randomUUID()}`);
        try {
          // As much as a report: on some systems a full volume still takes an empty file.
          await writeFile(probe, Buffer.alloc(4096), { flag: 'wx' });
        } finally {
          await rm(probe, { force: true });
        }
        if (free < reserveBytes)
          return {
            trouble: finding(
              'target-full',
              `${free} bytes free`,
              `at least ${reserveBytes} bytes for what is made at once`,
              subject,
            ),
            freeBytes: free,
          };
        return { trouble: null, freeBytes: free };
      } catch (error) {
        return { trouble: troubleOf(error as NodeJS.ErrnoException, folder), freeBytes: null };
      }
    },
  };
}

export function troubleOf(error: NodeJS.ErrnoException, folder: string): Finding {
  const subject = { file: folder };
  const found = error.code ?? error.message;
  if (error.code === 'ENOSPC' || error.code === 'EDQUOT')
    return finding('target-full', found, 'room for what is made', subject);
  if (error.code === 'EROFS' || error.code === 'EACCES' || error.code === 'EPERM')
    return finding('target-read-only', found, 'a folder that we may write', subject);
  return finding('target-gone', found, 'a folder that answers', subject);
}
