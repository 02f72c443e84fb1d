/** The files beside a movie for grading, measured and held against its outcome: the check `amf` of a movie, on the night and in an audit. */
import { lstat, readFile } from 'node:fs/promises';
import type { FindingSubject } from '../../findings/finding.ts';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { amfCheck } from '../../profiles/check-names.ts';
import type { MovieMasterOutcome } from '../../profiles/master/with-amf.ts';
import { nothingCame, whileMadeReport, type WhileMadeReport } from '../while-made.ts';
import { judgeCompanions } from './amf.ts';
import { readLookFiles } from './look-files.ts';
import { LARGEST_COMPANION } from './measure.ts';
import type { ToSceneLinear } from './scene-linear.ts';

/** null: no plain file that anybody can read, or one far too large. */
async function bytesAt(path: string): Promise<Buffer | null> {
  try {
    const stats = await lstat(fsPath(path));
    return stats.isFile() && stats.size <= LARGEST_COMPANION ? await readFile(fsPath(path)) : null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

export interface SidecarsRequest {
  readonly outcome: MovieMasterOutcome;
  /** Where a file of this final name lies now. */
  readonly placeOf: (name: string) => string;
  /** <delivery>/<day>/<roll>. */
  readonly rollFolder: string;
  /** From its code values to linear AP0; null: it is not known. */
  readonly sceneLinear: ToSceneLinear | null;
  readonly subject: FindingSubject;
}

export async function checkSidecars({
  outcome,
  placeOf,
  rollFolder,
  sceneLinear,
  subject,
}: SidecarsRequest): Promise<WhileMadeReport> {
  const { file, clf } = outcome.amf;
  const verdict = judgeCompanions(
    {
      amf: await bytesAt(placeOf(file)),
      clf: clf === null ? null : await bytesAt(placeOf(clf)),
      kept: await readLookFiles(rollFolder, outcome.amf),
    },
    outcome,
    sceneLinear,
  );
  return verdict === null
    ? nothingCame(amfCheck, `\`${amfCheck}\` rests on the transform of the clip, which is missing`, subject)
    : whileMadeReport(amfCheck, verdict, subject);
}
