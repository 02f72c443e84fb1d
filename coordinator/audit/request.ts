/** What an audit is asked for, and what it says of each roll. */
import type { KeyObject } from 'node:crypto';
import type { checkDeliverable } from '../../check/index.ts';
import type { Finding } from '../../findings/finding.ts';
import type { RollStatement } from '../../ledger/provenance/build.ts';
import type { verdicts } from '../../ledger/roll.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { StatementAudit } from '../provenance/audit.ts';

export interface AuditRequest {
  readonly delivery: string;
  readonly tools: MediaTools;
  /** Of whoever is trusted to sign; without any, signatures are reported and not verified. */
  readonly publicKeys?: readonly KeyObject[];
  /** The checker; another one only where the same files are audited many times (tests), and it remembers what it measured. */
  readonly check?: typeof checkDeliverable;
  readonly signal?: AbortSignal;
  /** Before each deliverable. */
  readonly onDeliverable?: (about: {
    readonly day: string;
    readonly roll: string;
    readonly clip: string;
    readonly profile: string;
  }) => void;
  /** After each roll, with what it takes to sign it. */
  readonly onRoll?: (audit: RollAudit, signable: Signable | null) => Promise<void>;
}

type Verdict = (typeof verdicts)[number];

export interface RollAudit {
  readonly day: string;
  readonly roll: string;
  /** What roll.json says; null when it cannot be read. */
  readonly recorded: Verdict | null;
  /** What the gate says of records and bytes now. Held for whatever reason stays held: an audit reads no source. */
  readonly measured: Verdict;
  readonly deliverables: number;
  /** Everything that the gate says now: what was recorded and what is new. */
  readonly findings: readonly Finding[];
  readonly statement: StatementAudit['state'];
  readonly signatures: StatementAudit['signatures'];
}

/** What `sign` needs besides: the statement as it stands, and as this program writes it. */
export interface Signable {
  readonly folder: string;
  readonly existing: StatementAudit;
  readonly expected: RollStatement;
}
