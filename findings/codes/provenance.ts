/** Codes of the statement that binds a roll's outputs to its sources, and of its signatures. */
import type { CodeEntry } from '../entry.ts';

const WRITTEN_AGAIN =
  'Restore statement.json (and statement.dsse.json, if the roll was signed) from another copy of the delivery. If there is none and the roll is still there, run again: the statement is written again and must be signed again.';

export const provenanceCodes = {
  'statement-absent': {
    weight: 'hold',
    title: 'a roll that is recorded as ready has no statement',
    remedy: WRITTEN_AGAIN,
  },
  'statement-damaged': {
    weight: 'hold',
    title: 'the statement of a roll cannot be read',
    remedy: WRITTEN_AGAIN,
  },
  'statement-differs': {
    weight: 'hold',
    title: 'the statement of a roll does not match its records and files',
    remedy:
      "Restore the roll's folder from another copy of the delivery: a file, a record or the statement was changed, or an older statement was put back. Do not hand this one out. If there is no other copy and the roll is still there, run again: the statement is written again and must be signed again.",
  },
  'statement-stale': {
    weight: 'hold',
    title: 'a roll that is not ready has a statement',
    remedy:
      'Clear the other findings of the roll, and run again: the run writes the statement again when the roll is ready, and removes it when it is held. Do not rely on this one: it is of an earlier state, or not of this roll. Sign again afterwards.',
  },
  'envelope-damaged': {
    weight: 'hold',
    title: 'the signed statement of a roll cannot be read',
    remedy:
      'Restore statement.dsse.json from another copy of the delivery or from whoever signed, or sign again with `rushlight sign <delivery> --key <file>`.',
  },
  'signature-outdated': {
    weight: 'hold',
    title: 'what was signed is not the present statement',
    remedy:
      'Ask whoever signed whether the roll was run again afterwards. If so, sign again with `rushlight sign <delivery> --key <file>`. If not, the statement was changed: restore both files from another copy of the delivery.',
  },
  'signature-absent': {
    weight: 'hold',
    title: 'a public key was named, and the statement is not signed',
    remedy:
      'Ask whoever should have signed for statement.dsse.json, or sign with `rushlight sign <delivery> --key <file>`. A run that changes a statement removes its signature.',
  },
  'signature-wrong': {
    weight: 'hold',
    title: 'no signature of the statement is from a key that was named',
    remedy:
      "Check that the public key is the signer's own, received from the signer. If it is, somebody else signed or the statement was changed: do not trust it.",
  },
  'key-unusable': {
    weight: 'hold',
    title: 'a key file is not of the kind that is needed',
    remedy:
      'Give an Ed25519 key. `(umask 077; openssl genpkey -algorithm ed25519 -out dit.pem)` makes a private one, `openssl pkey -in dit.pem -pubout -out dit.pub.pem` its public one. Decrypt an encrypted key on an encrypted disk only, and remove the decrypted one after signing.',
  },
  'key-open-to-others': {
    weight: 'hold',
    title: 'a private key can be read by others on this machine',
    remedy:
      'Run `chmod 600` on the key file. If others may have read it, make a new key and give its public key to everybody who has the old one.',
  },
  'signature-removed': {
    weight: 'note',
    title: 'the signature of a roll was removed, since its statement is another one now',
    remedy:
      'Sign again with `rushlight sign <delivery> --key <file>`. Whoever has the older signed statement still has a proof of what was true then.',
  },
  'not-signed': {
    weight: 'hold',
    title: 'a roll was not signed, because its audit does not find it ready',
    remedy: 'Clear the other findings of the roll, run again, and sign again.',
  },
} as const satisfies Record<string, CodeEntry>;
