/** Reports of the checks that are made while a deliverable is: what they look at is gone afterwards, and an audit cannot repeat them. */
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import type { CheckResult } from '../ledger/report.ts';
import { type CheckVerdict, faultsToFindings } from './check.ts';

export interface WhileMadeReport {
  readonly results: readonly CheckResult[];
  readonly findings: readonly Finding[];
  readonly passed: boolean;
}

/** Of one check; its notes hold nothing. */
export function whileMadeReport(
  check: string,
  verdict: CheckVerdict,
  subject: FindingSubject,
): WhileMadeReport {
  const { measured, expected, faults, values } = verdict;
  const passed = faults.length === 0;
  return {
    results: [
      {
        check,
        status: passed ? 'passed' : 'failed',
        measured,
        expected,
        tool: 'own comparison',
        ...(values === undefined ? {} : { values }),
      },
    ],
    findings: faultsToFindings(verdict, subject),
    passed,
  };
}

/** `found`: what did not come. */
export function nothingCame(check: string, found: string, subject: FindingSubject): WhileMadeReport {
  return {
    results: [],
    findings: [finding('check-not-run', found, `a result of \`${check}\``, subject)],
    passed: false,
  };
}
