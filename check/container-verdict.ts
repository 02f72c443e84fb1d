/** What is said of a container, whichever form it has. */
import type { FindingCode } from '../findings/registry.ts';

export interface Fault {
  readonly code: FindingCode;
  readonly found: string;
  readonly expected: string;
}

export interface Judged {
  readonly faults: readonly Fault[];
  /** What only informs, and is not as usual. */
  readonly notes: readonly Fault[];
  /** Boxes or elements that hold others or say something, and the values in them that were looked at. */
  readonly parts: number;
  readonly fields: number;
}
