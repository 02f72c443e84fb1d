/** A roll's statement and its signatures, in one line. Pure. */
import { printable } from '../../files/names.ts';
import type { RollAudit } from '../audit/request.ts';

const states: Readonly<Record<RollAudit['statement'], string>> = {
  absent: 'no statement',
  fits: 'statement matches',
  differs: 'statement does not match',
  damaged: 'statement cannot be read',
};

const signed: Readonly<Record<RollAudit['signatures'][number]['state'], (key: string) => string>> = {
  verified: (key) => `signed by key ${key}, verified`,
  'not-verified': (key) => `signed by key ${key}, not verified: no public key given`,
  wrong: (key) => `signed by key ${key}, which is not a public key that was given`,
  outdated: (key) => `signed by key ${key}, which signed something else`,
};

export function statementText({
  statement,
  signatures,
}: Pick<RollAudit, 'statement' | 'signatures'>): string {
  const parts = signatures.map(({ keyid, state }) =>
    signed[state](keyid === null ? 'without a name' : printable(keyid)),
  );
  return [states[statement], ...(parts.length === 0 && statement !== 'absent' ? ['not signed'] : parts)].join(
    '; ',
  );
}
