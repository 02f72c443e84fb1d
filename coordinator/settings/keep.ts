/** Puts the files of colour transforms and looks that jobs are made with beside the roll's reports, where workers, audits and readers of masters find them. */
import { dirname, extname, join } from 'node:path';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { writeWhole } from '../../ledger/store.ts';
import { transformPath } from '../../ledger/transform.ts';
import { makeFolders } from '../../files/folders.ts';
import { filesOfLooks } from '../../profiles/master/amf-looks.ts';
import { inputOf, inputOfShown } from '../../ledger/kept-files.ts';
import type { Settings } from './read.ts';

/** What of a job says which files it is made with. */
export interface MadeWith {
  readonly facts: Pick<Job['facts'], 'way'>;
  readonly deliverables: readonly Pick<Job['deliverables'][number], 'outcome'>[];
  readonly stills?: Job['stills'];
}

/** By path below the roll's folder: the SHA-256 by which the settings hold the file, or its text. */
function filesOf({
  facts,
  deliverables,
  stills,
}: MadeWith): Map<string, { sha256: string; text: string | null }> {
  const files = new Map<string, { sha256: string; text: string | null }>();
  const look = facts.way?.look ?? null;
  if (look !== null)
    files.set(layout.transform(look.sha256, extname(look.file).toLowerCase()), {
      sha256: look.sha256,
      text: null,
    });
  // As pictures go through it.
  if (look !== null) files.set(layout.transform(look.aces, '.clf'), { sha256: look.aces, text: null });
  const ofStills = stills?.shown == null ? null : inputOfShown(stills.shown);
  const pathOfStills = transformPath(ofStills);
  if (pathOfStills !== null && ofStills !== null && 'file' in ofStills)
    files.set(pathOfStills, { sha256: ofStills.sha256, text: null });
  for (const { outcome } of deliverables) {
    const input = inputOf(outcome);
    const path = transformPath(input);
    if (path !== null && input !== null && 'file' in input)
      files.set(path, { sha256: input.sha256, text: null });
    const { amf } = outcome;
    if (amf === null) continue;
    for (const [sha256, text] of filesOfLooks(amf))
      files.set(layout.transform(sha256, '.clf'), { sha256, text });
  }
  return files;
}

/** Throws what node:fs throws. The roll's folder must be there. */
export async function keepTransforms(
  jobs: readonly MadeWith[],
  rollFolder: string,
  settings: Settings,
): Promise<void> {
  const kept = new Set<string>();
  for (const job of jobs)
    for (const [path, { sha256, text }] of filesOf(job)) {
      if (kept.has(path)) continue;
      const written = text ?? settings.transforms.get(sha256)?.text;
      if (written === undefined) throw new RangeError(`a transform that the settings do not hold: ${path}`);
      const place = join(rollFolder, path);
      await makeFolders(dirname(place));
      await writeWhole(place, Buffer.from(written, 'utf8'));
      kept.add(path);
    }
}
