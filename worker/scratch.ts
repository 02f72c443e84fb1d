/** The system's folder for temporary files, where a job keeps what it needs while it works. */
import { tmpdir } from 'node:os';
import { finding, type FindingSubject } from '../findings/finding.ts';
import { targetTroubleOf } from '../ledger/target-health.ts';
import type { Failure } from './classify.ts';

/** null: the error does not speak of that folder. */
export function scratchFailure(error: unknown, subject: FindingSubject): Failure | null {
  const path = typeof error === 'object' && error !== null && 'path' in error ? String(error.path) : '';
  const folder = tmpdir();
  const trouble = path === folder || path.startsWith(`${folder}/`) ? targetTroubleOf(error) : null;
  // What is not there is a fault of the work, not of the folder.
  if (trouble === null || trouble === 'gone') return null;
  return {
    findings: [
      finding('scratch-full', (error as Error).message, 'room for temporary files', {
        ...subject,
        file: folder,
      }),
    ],
    retryable: true,
  };
}
