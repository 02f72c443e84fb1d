/** Codes of the statement that binds a roll's outputs to its sources, and of its signatures. */
import type { CodeEntry } from '../entry.ts';

export const provenanceCodes = {
  'statement-absent': {
    weight: 'hold',
    title: 'a roll that is recorded as ready has no statement',
    remedy:
      'Run again: the statement is written again. Until then nothing binds the outputs to their sources.',
  },
  'statement-damaged': {
    weight: 'hold',
    title: 'the statement of a roll cannot be read',
    remedy: 'Run again: the statement is written again.',
  },
  'statement-differs': {
    weight: 'hold',
    title: 'the statement of a roll says something else than its records and files give now',
    remedy:
      'A file, a record or the statement was changed, or an older statement was put back. Do not hand the roll out; run again.',
  },
  'statement-stale': {
    weight: 'hold',
    title: 'a statement lies beside a roll that is not ready',
    remedy:
      "It is of an earlier state, or nobody's. Do not take it for the present one; run again, which removes or rewrites it.",
  },
  'envelope-damaged': {
    weight: 'hold',
    title: 'the signed statement of a roll cannot be read',
    remedy:
      'Sign again with `rushlight sign <delivery> --key <file>`, or fetch the file again from whoever signed.',
  },
  'signature-outdated': {
    weight: 'hold',
    title: 'what was signed is not the statement that stands beside it',
    remedy:
      'The statement changed after it was signed, or the signed one was changed. Ask who signed, and sign again with `rushlight sign <delivery> --key <file>`.',
  },
  'signature-absent': {
    weight: 'hold',
    title: 'a public key was named, and the statement is not signed',
    remedy:
      'Ask whoever should have signed for statement.dsse.json, or sign with `rushlight sign <delivery> --key <file>`.',
  },
  'signature-wrong': {
    weight: 'hold',
    title: 'no signature of the statement is of a key that was named',
    remedy:
      "Check that the public key is the signer's own, got from the signer. If it is, the statement was changed or somebody else signed it: do not trust it.",
  },
  'key-unusable': {
    weight: 'hold',
    title: 'a key file is not what is asked for',
    remedy:
      'Give an Ed25519 key: `openssl genpkey -algorithm ed25519 -out key.pem` makes a private one, `openssl pkey -in key.pem -pubout -out key.pub.pem` its public one. An encrypted one must be decrypted first.',
  },
  'key-open-to-others': {
    weight: 'hold',
    title: 'a private key can be read by others on this machine',
    remedy:
      'Run `chmod 600` on the key file. If others may have read it, make a new key and tell everybody who has the public one.',
  },
  'not-signed': {
    weight: 'hold',
    title: 'a roll was not signed, because its audit does not find it ready',
    remedy: 'Clear the other findings of the roll, run again, and sign again.',
  },
} as const satisfies Record<string, CodeEntry>;
