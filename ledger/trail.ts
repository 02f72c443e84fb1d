/** The trail that a deliverable was proved by, read back from beside the reports. */
import { readFile } from 'node:fs/promises';
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import { fsPath } from '../media/names.ts';
import { readTrail, type SourceTrail, TrailError } from '../media/trail/source-trail.ts';
import { placeBelow } from './layout.ts';
import type { DeliverableReport } from './report.ts';

export type StoredTrail = { readonly trail: SourceTrail; readonly finding: null } | { readonly trail: null; readonly finding: Finding };

/** Only the very trail that the report names counts. */
export async function storedTrail(report: DeliverableReport, rollFolder: string, subject: FindingSubject): Promise<StoredTrail> {
  if (report.trail === undefined) return { trail: null, finding: finding('trail-absent', 'the report names no trail', 'the trail of the source', subject) };
  const about = { ...subject, file: report.trail.path };
  const path = placeBelow(rollFolder, report.trail.path);
  let bytes: Buffer;
  try {
    if (path === null) throw new RangeError('it lies outside of the roll');
    bytes = await readFile(fsPath(path));
  } catch (error) {
    return { trail: null, finding: finding('trail-absent', (error as NodeJS.ErrnoException).code ?? (error as Error).message, 'a file that can be read', about) };
  }
  try {
    const { trail, digest } = await readTrail(bytes);
    if (digest === report.trail.sha256) return { trail, finding: null };
    return { trail: null, finding: finding('trail-damaged', `SHA-256 of its content ${digest}`, report.trail.sha256, about) };
  } catch (error) {
    if (!(error instanceof TrailError)) throw error;
    return { trail: null, finding: finding('trail-damaged', error.message, 'a whole trail', about) };
  }
}
