/**
 * What a job is about lies on the delivery, where others write too. When a machine does not find it, or a job came back without a result,
 * the run looks at the files itself: those that are missing or altered are made anew from what it knows of the clip. Only bytes that the
 * ticket names are written.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { brokenParts, mendParts, partsOf } from '../../ledger/job-parts.ts';
import type { Job, NamedJob } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { Ticket } from '../../ledger/ticket.ts';
import { count } from '../show/words.ts';

/** `note`: null where it was said of the roll before. `whole`: as the run wrote them, as far as this machine sees. `broken`: they are not, and stay so. */
export type Mending =
  | { readonly state: 'whole' }
  | { readonly state: 'mended'; readonly note: Finding | null }
  | { readonly state: 'broken'; readonly found: string };

/** Looks at the parts of a job, and writes those anew that are broken, unless it is only to look. */
export type Mend = (ticket: Ticket, mayWrite: boolean) => Promise<Mending>;

/** `again`: the job as it was planned; null: it is not known any more. */
export function menderOf(again: (job: NamedJob) => Job | null): Mend {
  // A folder that was emptied is one thing to say, however many jobs it was about.
  let isSaid = false;
  return async (ticket, mayWrite) => {
    const { deliveryFolder, clip, roll } = ticket;
    const named = [ticket.facts, ticket.work];
    const job = again(ticket);
    const made = job === null ? [] : partsOf(job).parts;
    const isSame = named.every((id) => made.some((part) => part.id === id));
    const parts = isSame ? made : [];
    const broken = await brokenParts(deliveryFolder, isSame ? parts.map(({ id }) => id) : named);
    if (broken.length === 0) return { state: 'whole' };
    const found = `${count(broken.length, 'file')} missing or altered`;
    if (!mayWrite || !isSame) return { state: 'broken', found };
    await mendParts(deliveryFolder, parts, broken);
    if (isSaid) return { state: 'mended', note: null };
    isSaid = true;
    const file = layout.jobPartsFolder(deliveryFolder);
    const note = finding('job-part-mended', found, 'the bytes that the run wrote', {
      ...{ roll, clip: clip.id, file },
    });
    return { state: 'mended', note };
  };
}
