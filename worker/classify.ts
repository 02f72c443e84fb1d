/** Why a make did not give what it should. Pure: from facts measured by others to findings, and whether another try can help. */
import { type Finding, finding, type FindingSubject } from '../findings/finding.ts';
import { targetFinding, type TargetTrouble } from '../ledger/target-health.ts';
import type { RunResult } from '../process/run.ts';
import type { Watched } from './watch.ts';

export interface Failure {
  readonly findings: readonly Finding[];
  /** Another attempt may end otherwise: the encoder was killed, hung, or failed although the clip is intact. */
  readonly retryable: boolean;
}

/** What the target's folder says when it is asked, after a failure. */
export type TargetState = 'good' | TargetTrouble;

/** The source decoded once more, alone, after a failure. */
export interface SourceDecode {
  readonly frames: number;
  readonly errors: readonly string[];
}

export function targetFailure(state: TargetTrouble, folder: string, subject: FindingSubject): Failure {
  // The place failed, not the job: the night waits for the place, and the job is queued again from the disk.
  return { findings: [targetFinding(state, folder, subject)], retryable: false };
}

/** Whether the source must be asked: the run failed, reported errors, or decoded another number of frames than were counted. */
export function looksDamaged(run: RunResult, watched: Watched, frames: number): boolean {
  return (
    run.reason === 'exited' && (run.exitCode !== 0 || watched.errorCount > 0 || watched.decoded !== frames)
  );
}

function lastWords(run: RunResult, watched: Watched): string {
  return (
    watched.errors.at(-1) ??
    run.startError ??
    (run.exitCode === null ? run.reason : `exit code ${run.exitCode}`)
  );
}

/** How a make ended. */
export interface EndedMake {
  readonly run: RunResult;
  readonly watched: Watched;
  /** That should have been taken in. */
  readonly frames: number;
  /** Only where `looksDamaged` asked for it. */
  readonly source: SourceDecode | null;
}

/** null: the command ended as it should. */
export function classifyMake(
  { run, watched, frames, source }: EndedMake,
  subject: FindingSubject,
): Failure | null {
  const one = (retryable: boolean, ...reported: Finding[]): Failure => ({ findings: reported, retryable });
  if (watched.sizeChange !== null) {
    const { frame, from, to } = watched.sizeChange;
    return one(
      false,
      finding('clip-raster-changes', `${to} from frame ${frame} on`, `${from} throughout`, subject),
    );
  }
  if (run.reason === 'not-started')
    return one(
      false,
      finding(
        'encoder-not-started',
        run.startError ?? 'it could not be started',
        'a program that runs',
        subject,
      ),
    );
  if (run.reason === 'stalled')
    return one(
      true,
      finding(
        'encoder-stalled',
        `no progress after frame ${watched.decoded} of ${frames}`,
        'progress',
        subject,
      ),
    );
  if (run.reason === 'signalled')
    return one(
      true,
      finding(
        'encoder-killed',
        `signal ${run.signal} after frame ${watched.decoded} of ${frames}`,
        'an encoder that ends on its own',
        subject,
      ),
    );
  if (!looksDamaged(run, watched, frames)) return null;
  // A decoder that gives nothing and says nothing is no witness against the clip: the program itself is at fault.
  if (source !== null && (source.errors.length > 0 || (source.frames > 0 && source.frames !== frames))) {
    const found =
      source.errors.length > 0
        ? `error near frame ${source.frames} of ${frames}: ${source.errors[0]}`
        : `${source.frames} frames decode`;
    return one(false, finding('clip-decode-error', found, `${frames} frames, without an error`, subject));
  }
  return one(
    true,
    finding(
      'encoder-failed',
      `${lastWords(run, watched)}; ${watched.decoded} of ${frames} frames were taken in`,
      'every frame, without an error',
      subject,
    ),
  );
}
