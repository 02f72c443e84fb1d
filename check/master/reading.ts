/** Whether every frame was made from what the decoder gave: a check of masters (`frames-as-decoded`), on the night and in an audit. */
import { type Finding, type FindingSubject, blocks } from '../../findings/finding.ts';
import type { CheckResult } from '../../ledger/report.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import { GRID_HEIGHT, GRID_WIDTH, type Reading } from '../../proof/form.ts';
import { compareReading, READ_BOUND, type ReadDifference } from '../../proof/reading.ts';
import { type CheckVerdict, faultsToFindings } from '../check.ts';

/** As of an encoder's input, beside which it stands. */
export interface ReadingReport {
  readonly results: readonly CheckResult[];
  readonly findings: readonly Finding[];
  readonly passed: boolean;
}

/** Frames reported one by one; the rest is counted. */
const MAX_LISTED = 8;
const CODE = 'master-frames-not-as-decoded';
const EXPECTED = `area averages of every frame as the decoder gave them, within ${(READ_BOUND / 256).toFixed(3)} of an 8-bit step`;

/** A master as it is decided: how its frames come, and their size in pixels. */
export interface ReadMaster {
  readonly linearisation: Linearisation;
  readonly width: number;
  readonly height: number;
}

/** The scaler makes a picture that is no larger than the grid of averages larger, and then gives no averages of it. */
const isAveraged = ({ width, height }: ReadMaster): boolean => width > GRID_WIDTH && height > GRID_HEIGHT;

/** Frames of ffmpeg pass a pipe to the threads; frames that the threads read themselves, and those of declared decoders, have no fingerprints to be held against. */
export function comparesReading(master: ReadMaster): boolean {
  const { linearisation } = master;
  return (
    linearisation.kind === 'coded' &&
    linearisation.declared === null &&
    linearisation.reader === null &&
    isAveraged(master)
  );
}

function words({ frame, steps, cells, shows }: ReadDifference): string {
  const instead = shows === null ? '' : `: it is frame ${shows}`;
  return `frame ${frame}: ${cells} averages differ, by up to ${steps.toFixed(2)} of an 8-bit step${instead}`;
}

/** null: it cannot be compared. */
export function readingVerdict(master: ReadMaster, reading: Reading | undefined): CheckVerdict | null {
  if (!comparesReading(master))
    return {
      measured: isAveraged(master)
        ? 'frames that no ffmpeg decoded: each thread reads them itself, or a declared decoder gives them'
        : `a picture too small for averages of ${GRID_WIDTH} x ${GRID_HEIGHT} cells: nothing was compared`,
      expected: EXPECTED,
      faults: [],
    };
  const compared = reading === undefined ? null : compareReading(reading);
  if (compared === null || compared.frames === 0) return null;
  const { frames, colourFrames, worst, differences } = compared;
  const faults = differences
    .slice(0, MAX_LISTED)
    .map((one) => ({ code: CODE, found: words(one), expected: EXPECTED }) as const);
  const rest = differences.length - faults.length;
  return {
    measured: `${frames - differences.length} of ${frames} frames as decoded, ${colourFrames} of them with chroma, at most ${(worst / 256).toFixed(3)} of an 8-bit step apart`,
    expected: EXPECTED,
    faults:
      rest === 0
        ? faults
        : [
            ...faults,
            {
              code: CODE,
              found: `${rest} more frames differ, ${differences.length} in all`,
              expected: 'none',
            },
          ],
  };
}

/** Of a movie for grading, whose other checks are those of movies. */
export function checkReading(
  master: ReadMaster,
  reading: Reading | undefined,
  subject: FindingSubject,
): ReadingReport {
  const verdict = readingVerdict(master, reading) ?? {
    measured: 'nothing to compare',
    expected: EXPECTED,
    faults: [{ code: CODE, found: 'no averages of what was read', expected: EXPECTED } as const],
  };
  const findings: Finding[] = [...faultsToFindings(verdict, subject)];
  const result: CheckResult = {
    check: 'frames-as-decoded',
    status: verdict.faults.length === 0 ? 'passed' : 'failed',
    measured: verdict.measured,
    expected: verdict.expected,
    tool: 'own comparison',
  };
  return { results: [result], findings, passed: result.status === 'passed' && !findings.some(blocks) };
}

export function withReading(report: ReadingReport, reading: ReadingReport): ReadingReport {
  return {
    results: [...report.results, ...reading.results],
    findings: [...report.findings, ...reading.findings],
    passed: report.passed && reading.passed,
  };
}
