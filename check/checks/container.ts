import type { Outcome } from '../../profiles/outcome.ts';
import type { Check, CheckVerdict } from '../check.ts';
import type { Judged } from '../container-verdict.ts';
import { judgeMatroska } from '../matroska-judge.ts';
import type { Measured } from '../measured.ts';
import { judgeMovie } from '../movie/judge.ts';

/** More would bury the first. */
const MAX_LISTED = 12;

function listed(
  all: CheckVerdict['faults'],
  code: 'container-differs' | 'container-part-informative',
): CheckVerdict['faults'] {
  const rest = all.length - MAX_LISTED;
  return rest <= 0 ? all : [...all.slice(0, MAX_LISTED), { code, found: `${rest} more`, expected: 'none' }];
}

function judged({ movie, matroska, facts }: Measured, outcome: Outcome): Judged | null {
  if (matroska !== null) return judgeMatroska(matroska, outcome, facts);
  return movie === null ? null : judgeMovie(movie, outcome, facts);
}

/** The container to its last byte: every part is known, every field is what was decided or stands on the written list, every byte of the media data is a sample's. */
export const container: Check = {
  name: 'container',
  rests: ['index', 'packets'],
  run: ({ measured, outcome }) => {
    const verdict = measured.facts === null ? null : judged(measured, outcome);
    if (verdict === null) return null;
    const { faults, notes, parts, fields } = verdict;
    const noted = notes.length === 0 ? '' : `; ${notes.length} that only inform`;
    return {
      measured: `${parts} parts with ${fields} fields${faults.length === 0 ? '' : `, ${faults.length} otherwise`}${noted}`,
      expected: 'no part and no field but those decided, and samples in every byte between',
      faults: listed(faults, 'container-differs'),
      ...(notes.length === 0 ? {} : { notes: listed(notes, 'container-part-informative') }),
    };
  },
};
