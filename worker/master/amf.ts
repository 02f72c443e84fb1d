/** The text of the ACES Metadata File beside a master, as it was decided. Pure. */
import { createHash } from 'node:crypto';
import { layout } from '../../ledger/layout.ts';
import { type AmfSays, amfDocument } from '../../profiles/master/amf-text.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import { developmentText } from './attributes.ts';

/** `clf`: the Common LUT Format file beside it; null: there is none. */
export function amfText(outcome: WithAmf, clf: Buffer | null): string {
  const { amf, linearisation } = outcome;
  // Beside the frames of a folder of the profile, or beside a movie in it.
  const up = outcome.kind === 'frames' ? '../../' : '../';
  return amfDocument({
    amf,
    input: developmentText(linearisation),
    working: `ACEScct, as ${outcome.kind === 'movie' ? 'the movie holds it' : 'the frames hold it'}, to ACES2065-1`,
    of: placeOf(outcome),
    clf:
      clf === null || amf.clf === null
        ? null
        : { name: amf.clf, sha256: createHash('sha256').update(clf).digest('hex') },
    placeOf: (sha256) => `${up}${layout.transform(sha256, '.clf')}`,
  });
}

/** The frames as a pattern, or the movie by its name. */
function placeOf(outcome: WithAmf): AmfSays['of'] {
  if (outcome.kind === 'movie') return { file: outcome.fileName };
  const { stem, digits, first, frames, extension } = outcome;
  return { prefix: `${stem}.`, suffix: `.${extension}`, digits, first, last: first + frames - 1 };
}
