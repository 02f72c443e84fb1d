/** Signs the statements of a delivery, each after an audit of its roll: what does not fit the bytes on disk is not signed. */
import type { KeyObject } from 'node:crypto';
import { type Finding, finding, blocks } from '../findings/finding.ts';
import type { FindingCode } from '../findings/registry.ts';
import { layout } from '../ledger/layout.ts';
import { statementBytes } from '../ledger/provenance/build.ts';
import { envelopeBytes, type Signature } from '../ledger/provenance/envelope.ts';
import { keyIdOf, signPayload } from '../ledger/provenance/keys.ts';
import { STATEMENT_MEDIA_TYPE } from '../ledger/provenance/statement.ts';
import { writeWhole } from '../ledger/store.ts';
import { auditDelivery } from './audit/index.ts';
import type { AuditRequest, RollAudit } from './audit/request.ts';
import type { Signable } from './audit/request.ts';

export interface SignedRoll {
  readonly day: string;
  readonly roll: string;
  /** Path of the envelope; null: not signed, and the findings say why. */
  readonly signed: string | null;
  readonly findings: readonly Finding[];
}

export interface SignResult {
  readonly keyid: string;
  readonly rolls: readonly SignedRoll[];
  /** Of the delivery as a whole. */
  readonly findings: readonly Finding[];
}

/** Throws what auditDelivery throws, and what node:fs throws when the envelope cannot be written. */
export async function signDelivery(
  request: Omit<AuditRequest, 'onRoll' | 'publicKeys'>,
  key: KeyObject,
): Promise<SignResult> {
  const rolls: SignedRoll[] = [];
  const { findings } = await auditDelivery({
    ...request,
    onRoll: async (audit, signable) => {
      request.signal?.throwIfAborted();
      const { day, roll } = audit;
      const findings = audit.findings.filter(({ code }) => !OLDER_SIGNATURE.has(code));
      const payload = payloadOf(audit, signable, findings);
      if ('code' in payload) rolls.push({ day, roll, signed: null, findings: [...findings, payload] });
      else rolls.push({ day, roll, signed: await sign(payload, key), findings });
    },
  });
  return { keyid: keyIdOf(key), rolls, findings };
}

/** What an older signature that fits no more brings with it: no reason against a new one. */
const OLDER_SIGNATURE = new Set<string>([
  'signature-outdated',
  'envelope-damaged',
  'verdict-differs',
] satisfies FindingCode[]);

interface Payload extends Signable {
  readonly bytes: Buffer;
}

/** The bytes that were read, judged and found to be this program's own, byte for byte; or why there are none. */
function payloadOf(
  audit: RollAudit,
  signable: Signable | null,
  findings: readonly Finding[],
): Payload | Finding {
  const subject = { roll: audit.roll };
  const bytes = signable?.existing.bytes ?? null;
  if (signable === null || bytes === null || audit.recorded !== 'ready' || findings.some(blocks))
    return finding(
      'not-signed',
      `recorded as ${audit.recorded ?? 'nothing that can be read'}, measured as ${audit.measured}`,
      'a roll that is recorded and measured as ready, with its statement',
      subject,
    );
  // Two readers may understand one JSON text differently (a field written twice); of this form there is one reading.
  if (!bytes.equals(statementBytes(signable.expected)))
    return finding(
      'not-signed',
      'a statement that this program did not write',
      'the exact bytes that it writes',
      { ...subject, file: 'statement.json' },
    );
  return { ...signable, bytes };
}

/** Beside the signatures of other keys, where they are of the same bytes. */
async function sign({ bytes, folder, existing }: Payload, key: KeyObject): Promise<string> {
  const keyid = keyIdOf(key);
  const before =
    existing.envelope !== null &&
    existing.envelope.payloadType === STATEMENT_MEDIA_TYPE &&
    existing.envelope.payload.equals(bytes)
      ? existing.envelope.signatures
      : [];
  const others: Signature[] = before
    .filter((one) => one.keyid !== keyid)
    .map((one) => ({ keyid: one.keyid, sig: one.sig }));
  const path = layout.envelope(folder);
  await writeWhole(
    path,
    envelopeBytes(STATEMENT_MEDIA_TYPE, bytes, [
      ...others,
      { keyid, sig: signPayload(STATEMENT_MEDIA_TYPE, bytes, key) },
    ]),
  );
  return path;
}
