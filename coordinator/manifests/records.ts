/** What a new generation records of each file, after its history: original, verified or failed. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { RollFile } from '../../ledger/roll.ts';
import type { Algorithm } from '../../files/manifest/algorithms.ts';
import { MHL_FORMATS, type MhlAction, type MhlFormat } from '../../files/manifest/generation.ts';
import type { Statement } from '../../files/manifest/statement.ts';

export interface HashRecord {
  readonly algorithm: MhlFormat;
  readonly value: string;
  readonly action: MhlAction;
}

const isMhlFormat = (algorithm: Algorithm): algorithm is MhlFormat =>
  MHL_FORMATS.some((format) => format === algorithm);

/**
 * Every algorithm that the history states of a file is checked again. A new algorithm counts as verified when the file
 * was found equal by an older one in the same run. Of a file that failed nothing but the failure is recorded.
 */
export function recordFile(
  file: RollFile,
  statement: Statement | undefined,
  algorithm: MhlFormat,
  about: { roll: string; file: string },
): { records: HashRecord[]; findings: Finding[] } {
  const computed = (wanted: Algorithm): string => {
    const value = file.hashes[wanted];
    if (value === undefined) throw new Error(`${wanted} of ${file.path} was not computed`);
    return value;
  };
  const fresh = (action: MhlAction): HashRecord => ({ algorithm, value: computed(algorithm), action });
  if (statement === undefined || statement.hashes.length === 0)
    return { records: [fresh('original')], findings: [] };
  const wrong = statement.hashes.filter((hash) => computed(hash.algorithm) !== hash.value);
  const sizeDiffers = statement.bytes !== null && statement.bytes !== file.bytes;
  if (wrong.length === 0 && !sizeDiffers) {
    const checked = statement.hashes.flatMap((hash): HashRecord[] =>
      isMhlFormat(hash.algorithm)
        ? [{ algorithm: hash.algorithm, value: hash.value, action: 'verified' }]
        : [],
    );
    return {
      records: checked.some((record) => record.algorithm === algorithm)
        ? checked
        : [...checked, fresh('verified')],
      findings: [],
    };
  }
  const failed = wrong.flatMap((hash): HashRecord[] =>
    isMhlFormat(hash.algorithm)
      ? [{ algorithm: hash.algorithm, value: computed(hash.algorithm), action: 'failed' }]
      : [],
  );
  const findings = sizeDiffers
    ? [finding('roll-file-size-differs', `${file.bytes} bytes`, `${statement.bytes} bytes`, about)]
    : wrong.map((hash) =>
        finding(
          'file-checksum-differs',
          `${hash.algorithm} ${computed(hash.algorithm)}`,
          `${hash.algorithm} ${hash.value}`,
          about,
        ),
      );
  return { records: failed.length > 0 ? failed : [fresh('failed')], findings };
}
