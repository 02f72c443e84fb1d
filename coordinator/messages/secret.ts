/** A secret in a file of its own: on one line, and readable by its owner alone. It is never in a command line, a record, a log or a finding. */
import { open } from 'node:fs/promises';
import { codeOf } from '../../files/error-code.ts';
import { FindingError, finding } from '../../findings/finding.ts';

/** Throws FindingError (exit 2) that names the file and never what is in it. `form`: what the secret must look like, in words. */
export async function readSecret(
  file: string,
  form: string,
  isOne: (text: string) => boolean,
): Promise<string> {
  const refused = (found: string): FindingError =>
    new FindingError([finding('secret-unusable', found, form, { file })], 2);
  try {
    const handle = await open(file, 'r');
    try {
      const mode = (await handle.stat()).mode & 0o777;
      if ((mode & 0o077) !== 0)
        throw new FindingError(
          [finding('secret-open-to-others', `mode ${mode.toString(8)}`, 'mode 600', { file })],
          2,
        );
      const text = (await handle.readFile('utf8')).trim();
      if (text === '' || /[\r\n]/.test(text) || !isOne(text)) throw refused('something else');
      return text;
    } finally {
      await handle.close();
    }
  } catch (error) {
    if (codeOf(error) === '') throw error;
    throw refused(codeOf(error));
  }
}
