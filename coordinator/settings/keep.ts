/** Puts the colour transforms that jobs are made with beside the roll's reports, where workers and audits read them. */
import { dirname, join } from 'node:path';
import type { InputTransform } from '../../media/colour/input.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
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
    for (const { outcome } of job.deliverables) {
      const input = inputOf(outcome);
      const path = transformPath(input);
      if (path === null || input === null || !('file' in input) || kept.has(path)) continue;
      const file = settings.transforms.get(input.sha256);
      if (file === undefined)
        throw new RangeError(`a transform that the settings do not hold: ${input.file}`);
      const place = join(rollFolder, path);
      await makeFolders(dirname(place));
      await writeWhole(place, Buffer.from(file.text, 'utf8'));
      kept.add(path);
    }
  }
}

/** Of a master, or of pictures that go a colour way; null: code values are taken as they are. */
function inputOf(outcome: AnyOutcome): InputTransform | null {
  const shown = outcome.kind === 'movie' ? outcome.shown : undefined;
  if (shown?.from === 'recorded') return shown.input;
  const linearisation = outcome.linearisation ?? shown?.linearisation;
  return linearisation?.kind === 'coded' ? linearisation.input : null;
}
