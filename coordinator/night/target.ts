/** The place that is delivered to: is it there, can it be written, how much fits. */
import { randomUUID } from 'node:crypto';
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import { codeOf } from '../../files/error-code.ts';
import { STAGING_PREFIX } from '../../ledger/layout.ts';
import { targetFinding, targetTroubleOf, tryWriting } from '../../ledger/target-health.ts';
import { roomOn } from '../roll/space.ts';

export interface TargetState {
  /** Why nothing can be made now; null: it can. */
  readonly failure: Finding | null;
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
            'another file system is mounted there',
            'the one that was there when the night began',
            subject,
          );
    } catch (error) {
      return failureOf(error, folder);
    }
  };
  return {
    gone,
    async look(reserveBytes) {
      try {
        const away = await gone();
        if (away !== null) return { failure: away, freeBytes: null };
        const { freeBytes: free } = await roomOn(folder);
        const probe = join(folder, `${STAGING_PREFIX}probe-${randomUUID()}`);
        // As much as a report: on some systems a full volume still takes an empty file.
        await tryWriting(probe, 4096);
        if (free < reserveBytes)
          return {
            failure: finding(
              'target-full',
              `${free} bytes free`,
              `at least ${reserveBytes} bytes for what is made at once`,
              subject,
            ),
            freeBytes: free,
          };
        return { failure: null, freeBytes: free };
      } catch (error) {
        return { failure: failureOf(error, folder), freeBytes: null };
      }
    },
  };
}

/** Whatever else goes wrong there, the place does not answer. */
export function failureOf(error: unknown, folder: string): Finding {
  const found = codeOf(error) || (error instanceof Error ? error.message : String(error));
  return targetFinding(targetTroubleOf(error) ?? 'gone', folder, { found });
}
