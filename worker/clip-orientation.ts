/** How the files of a clip say that its pictures lie, for whoever looks up coded pixels: read by the checker, and nothing of it taken from who turns them. */
import { resolve } from 'node:path';
import { type Orientation, orientationOfStills, statedOrientation, UPRIGHT } from '../check/orientation.ts';
import { fsPath } from '../files/names.ts';
import type { Job } from '../ledger/job.ts';
import { framePath } from '../media/raw/sequence.ts';

/** Of a sequence its first frame is asked; that they agree, the second reading asks of some, and the survey of all. What says nothing stands upright. */
export async function orientationOfClip({
  rollFolder,
  clip: { place },
  facts: { video },
}: Pick<Job, 'rollFolder' | 'clip' | 'facts'>): Promise<Orientation> {
  const file = place.kind === 'movie' ? place.file : place.kind === 'spanned' ? place.parts[0]?.file : null;
  const stated =
    place.kind === 'sequence'
      ? await orientationOfStills([fsPath(framePath(rollFolder, place, place.first))])
      : await statedOrientation(fsPath(resolve(rollFolder, file ?? '')), video.streamIndex);
  return stated === null || stated === 'other' ? UPRIGHT : stated;
}
