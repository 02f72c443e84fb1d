/** Puts the colour transforms that jobs are made with beside the roll's reports, where workers and audits read them. */
import { dirname, join } from 'node:path';
import type { Job } from '../../ledger/job.ts';
import { writeWhole } from '../../ledger/store.ts';
import { transformPath } from '../../ledger/transform.ts';
import { makeFolders } from '../../files/folders.ts';
import type { Settings } from './read.ts';

/** Throws what node:fs throws. The roll's folder must be there. */
export async function keepTransforms(
  jobs: readonly Job[],
  rollFolder: string,
  settings: Settings,
): Promise<void> {
  const kept = new Set<string>();
  for (const job of jobs) {
    for (const {
      outcome: { linearisation },
    } of job.deliverables) {
      const path = linearisation?.kind === 'coded' ? transformPath(linearisation.input) : null;
      if (
        path === null ||
        linearisation?.kind !== 'coded' ||
        !('file' in linearisation.input) ||
        kept.has(path)
      )
        continue;
      const file = settings.transforms.get(linearisation.input.sha256);
      if (file === undefined)
        throw new RangeError(`a transform that the settings do not hold: ${linearisation.input.file}`);
      const place = join(rollFolder, path);
      await makeFolders(dirname(place));
      await writeWhole(place, Buffer.from(file.text, 'utf8'));
      kept.add(path);
    }
  }
}
