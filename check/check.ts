/** What a check is: a pure comparison of what was measured with what had to come out. */
import type { Finding, FindingSubject } from '../findings/finding.ts';
import { finding } from '../findings/finding.ts';
import type { FindingCode } from '../findings/registry.ts';
import type { ClipFacts } from '../media/facts.ts';
import type { PictureError, ValuesMeasured } from '../ledger/report.ts';
import type { Bitstream } from '../proof/bitstream.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { ContentLight } from '../proof/light/form.ts';
import type { CheckName } from '../profiles/schema.ts';
import type { PictureErrorVerdict } from '../proof/sketch/verdict.ts';
import type { Compared } from './compare.ts';
import type { Measured } from './measured.ts';

export interface CheckInput {
  readonly measured: Measured;
  readonly outcome: Outcome;
  /** Of the clip that it was made from; null when they are not at hand. */
  readonly source: ClipFacts | null;
  /** The deliverable's fingerprints against the source's. */
  readonly compared: Compared;
  /** What coding lost; null: one of the two sketches is not there. */
  readonly pictureError: PictureErrorVerdict | null;
  /** Of what left the encoders; null when nobody says. */
  readonly encoded: Bitstream | null;
  /** Measured on what the encoder was given; null: it was not. */
  readonly contentLight: ContentLight | null;
}

const evidence = ['packets', 'decode', 'index', 'fingerprints', 'encoded', 'sketch'] as const;
/** What a check can rest on: packet scan, decode, own reading of the index, the fingerprints of the source, what left the encoders, and the sketch of what they were given. */
export type Evidence = (typeof evidence)[number];

export interface CheckVerdict {
  readonly measured: string;
  readonly expected: string;
  /** Frames, first and last, about which nothing is claimed beyond what times and counts say. Absent: none. */
  readonly unproven?: readonly (readonly [from: number, to: number])[];
  /** What is said beside it and holds nothing. Absent: nothing. */
  readonly notes?: readonly {
    readonly code: FindingCode;
    readonly found: string;
    readonly expected: string;
  }[];
  readonly pictureError?: PictureError;
  readonly values?: ValuesMeasured;
  /** Empty: passed. */
  readonly faults: readonly {
    readonly code: FindingCode;
    readonly found: string;
    readonly expected: string;
  }[];
}

export interface Check {
  readonly name: CheckName;
  /** Which measurements it rests on, for the report. */
  readonly rests: readonly Evidence[];
  /** null: it cannot run, since something was not measured. It is then absent from the report, and absent is failed. */
  readonly run: (input: CheckInput) => CheckVerdict | null;
}

export function faultsToFindings(verdict: CheckVerdict, subject: FindingSubject): Finding[] {
  return [...verdict.faults, ...(verdict.notes ?? [])].map((fault) =>
    finding(fault.code, fault.found, fault.expected, subject),
  );
}

/** One line of a comparison: what is compared, found, expected. */
export type Line = readonly [what: string, found: string | number | null, expected: string | number | null];

/** A verdict over several values; those that differ become one fault. */
export function compare(code: FindingCode, lines: readonly Line[]): CheckVerdict {
  const text = (which: 1 | 2, from: readonly Line[]): string =>
    from.map((line) => `${line[0]} ${line[which] ?? 'none'}`).join(', ');
  const differing = lines.filter(([, found, expected]) => found !== expected);
  return {
    measured: text(1, lines),
    expected: text(2, lines),
    faults: differing.length === 0 ? [] : [{ code, found: text(1, differing), expected: text(2, differing) }],
  };
}
