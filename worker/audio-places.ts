/** Where the audio of a job is read. */
import type { Job } from '../ledger/job.ts';
import type { AudioPlaces } from '../media/input.ts';

export const audioPlaces = ({
  rollFolder,
  clip,
  facts,
  soundRolls = [],
}: Pick<Job, 'rollFolder' | 'clip' | 'facts' | 'soundRolls'>): AudioPlaces => ({
  rollFolder,
  place: clip.place,
  facts,
  soundRolls,
});
