/** The statement of a roll and its signatures, held against what records and files give now. */
import type { KeyObject } from 'node:crypto';
import { type Finding, finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import type { RollStatement } from '../../ledger/provenance/build.ts';
import { type Envelope, envelopeSchema } from '../../ledger/provenance/envelope.ts';
import { keyIdOf, verifiesPayload } from '../../ledger/provenance/keys.ts';
import { PREDICATE_TYPE, predicateSchema } from '../../ledger/provenance/predicate.ts';
import { STATEMENT_MEDIA_TYPE, type Statement, statementSchema } from '../../ledger/provenance/statement.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import { type ReadRecord, readRecord } from '../../ledger/store.ts';
import { differences } from '../records/differences.ts';

/** `fits`: every subject, record and source in it is what was found now, and nothing is missing in it. */
const statementStates = ['absent', 'fits', 'differs', 'damaged'] as const;
/** `not-verified`: no public key was named. `wrong`: of none of those that were. `outdated`: it signs other bytes than the statement's. */
const signatureStates = ['verified', 'not-verified', 'wrong', 'outdated'] as const;

export interface SignatureAudit {
  /** Of the key that verified it; otherwise what the envelope claims, which proves nothing. null: it claims none. */
  readonly keyid: string | null;
  readonly state: (typeof signatureStates)[number];
}

export interface StatementAudit {
  readonly state: (typeof statementStates)[number];
  readonly signatures: readonly SignatureAudit[];
  /** The very bytes that were judged; null when none could be read. */
  readonly bytes: Buffer | null;
  readonly envelope: Envelope | null;
  readonly findings: readonly Finding[];
}

/** `expected`: of the records as they lie there and of the files as they were measured now. */
export async function auditStatement(
  folder: string,
  verdict: RollVerdict,
  expected: RollStatement,
  publicKeys: readonly KeyObject[],
): Promise<StatementAudit> {
  const { roll } = verdict;
  const statement = await readRecord(layout.statement(folder), statementSchema);
  const envelope = await readRecord(layout.envelope(folder), envelopeSchema);
  if (verdict.verdict !== 'ready') {
    const left = statement.state !== 'absent' || envelope.state !== 'absent';
    const findings = left
      ? [
          finding('statement-stale', `a statement beside a roll that is ${verdict.verdict}`, 'no statement', {
            roll,
          }),
        ]
      : [];
    return { state: left ? 'differs' : 'absent', signatures: [], bytes: null, envelope: null, findings };
  }
  const judged = judgeStatement(statement, expected, roll);
  const signed = judgeEnvelope(
    envelope,
    statement.state === 'read' ? statement.bytes : null,
    publicKeys,
    roll,
  );
  return {
    state: judged.state,
    signatures: signed.signatures,
    bytes: statement.state === 'read' ? statement.bytes : null,
    envelope: envelope.state === 'read' ? envelope.value : null,
    findings: [...judged.findings, ...signed.findings],
  };
}

/** Pure. Fields of the statement that this version does not know mean nothing (in-toto, parsing rules). */
export function judgeStatement(
  read: ReadRecord<Statement>,
  expected: RollStatement,
  roll: string,
): { state: StatementAudit['state']; findings: Finding[] } {
  const subject = { roll, file: 'statement.json' };
  if (read.state === 'absent')
    return {
      state: 'absent',
      findings: [finding('statement-absent', 'no statement.json', 'a statement', { roll })],
    };
  if (read.state === 'damaged')
    return {
      state: 'damaged',
      findings: [finding('statement-damaged', read.finding.found, 'an in-toto statement', subject)],
    };
  const { predicateType, predicate, subject: subjects } = read.value;
  if (predicateType !== PREDICATE_TYPE)
    return {
      state: 'damaged',
      findings: [finding('statement-damaged', `predicate type ${predicateType}`, PREDICATE_TYPE, subject)],
    };
  const parsed = predicateSchema.safeParse(predicate);
  if (!parsed.success) {
    const issue = parsed.error.issues[0];
    return {
      state: 'damaged',
      findings: [
        finding(
          'statement-damaged',
          `predicate.${issue?.path.join('.') ?? ''}: ${issue?.message ?? 'wrong shape'}`,
          'the fields of this predicate type',
          subject,
        ),
      ],
    };
  }
  // Of the digests only SHA-256 is accepted here, and of a folder that of its checksum list.
  const stated = {
    subject: subjects.map(({ name, digest }) => ({
      name: name ?? '',
      digest: { sha256: digest?.sha256, dirHash: digest?.dirHash },
    })),
    predicate: parsed.data,
  };
  const list = differences(stated, { subject: expected.subject, predicate: expected.predicate });
  return {
    state: list.length === 0 ? 'fits' : 'differs',
    findings: list.map(({ path, found, expected: now }) =>
      finding('statement-differs', `statement: ${path} ${found}`, `${path} ${now}, found now`, subject),
    ),
  };
}

/** Pure. A signature is tried with every key that was named: what it claims of its key decides nothing. */
function judgeEnvelope(
  read: ReadRecord<Envelope>,
  statement: Buffer | null,
  publicKeys: readonly KeyObject[],
  roll: string,
): { signatures: SignatureAudit[]; findings: Finding[] } {
  const subject = { roll, file: 'statement.dsse.json' };
  if (read.state === 'absent')
    return {
      signatures: [],
      findings:
        publicKeys.length === 0
          ? []
          : [finding('signature-absent', 'no statement.dsse.json', 'a signature', { roll })],
    };
  if (read.state === 'damaged')
    return {
      signatures: [],
      findings: [finding('envelope-damaged', read.finding.found, 'a DSSE envelope', subject)],
    };
  const { payload, payloadType, signatures } = read.value;
  if (payloadType !== STATEMENT_MEDIA_TYPE)
    return {
      signatures: [],
      findings: [finding('envelope-damaged', `payload type ${payloadType}`, STATEMENT_MEDIA_TYPE, subject)],
    };
  const claimed = (state: SignatureAudit['state']): SignatureAudit[] =>
    signatures.map(({ keyid }) => ({ keyid: keyid ?? null, state }));
  if (statement === null || !payload.equals(statement)) {
    return {
      signatures: claimed('outdated'),
      findings: [
        finding(
          'signature-outdated',
          `${payload.length} signed bytes`,
          statement === null ? 'a statement.json with the same bytes' : 'the exact bytes of statement.json',
          subject,
        ),
      ],
    };
  }
  if (publicKeys.length === 0) return { signatures: claimed('not-verified'), findings: [] };
  const tried = signatures.map(({ keyid, sig }): SignatureAudit => {
    const key = publicKeys.find((one) => verifiesPayload(payloadType, payload, sig, one));
    return key === undefined
      ? { keyid: keyid ?? null, state: 'wrong' }
      : { keyid: keyIdOf(key), state: 'verified' };
  });
  const named = publicKeys.map((key) => `key ${keyIdOf(key)}`).join(' or ');
  const claims = signatures
    .map(({ keyid }) => `by key ${keyid ?? 'without a name'}, as it claims`)
    .join('; ');
  return {
    signatures: tried,
    findings: tried.some(({ state }) => state === 'verified')
      ? []
      : [finding('signature-wrong', claims, named, subject)],
  };
}
