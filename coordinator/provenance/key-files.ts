/** Key files as the command line names them. What is wrong with one is usage: FindingError with exit code 2. */
import { codeOf } from '../../files/error-code.ts';
import type { KeyObject } from 'node:crypto';
import { open, readFile } from 'node:fs/promises';
import { FindingError, finding } from '../../findings/finding.ts';
import { KeyError, privateKeyOf, publicKeyOf } from '../../ledger/provenance/keys.ts';

function refuse(error: unknown, file: string, expected: string): never {
  if (error instanceof KeyError || codeOf(error) !== '')
    throw new FindingError([finding('key-unusable', (error as Error).message, expected, { file })], 2);
  throw error;
}

/** Refuses a file that group or others may read or write: who can read it can sign as its owner. */
export async function readPrivateKey(file: string): Promise<KeyObject> {
  try {
    const handle = await open(file, 'r');
    try {
      const mode = (await handle.stat()).mode & 0o777;
      if ((mode & 0o077) !== 0)
        throw new FindingError(
          [finding('key-open-to-others', `mode ${mode.toString(8)}`, 'mode 600', { file })],
          2,
        );
      return privateKeyOf(await handle.readFile('utf8'));
    } finally {
      await handle.close();
    }
  } catch (error) {
    return refuse(error, file, 'an Ed25519 private key, PKCS#8 in PEM, not encrypted');
  }
}

export async function readPublicKeys(files: readonly string[]): Promise<KeyObject[]> {
  const keys: KeyObject[] = [];
  for (const file of files) {
    try {
      keys.push(publicKeyOf(await readFile(file, 'utf8')));
    } catch (error) {
      refuse(error, file, 'an Ed25519 public key in PEM');
    }
  }
  return keys;
}
