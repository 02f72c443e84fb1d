/** The trail that a deliverable was proved by, read back from beside the reports. */
import { codeOf } from '../files/error-code.ts';
import { readFile } from 'node:fs/promises';
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import { fsPath } from '../files/names.ts';
import { readPoints } from '../proof/point-file.ts';
import type { PointTrail } from '../proof/points.ts';
import { readTrail, type SourceTrail, TrailError } from '../proof/source-trail.ts';
import { placeBelow } from './layout.ts';
import type { DeliverableReport } from './report.ts';

export type StoredTrail =
  | { readonly trail: SourceTrail; readonly finding: null }
  | { readonly trail: null; readonly finding: Finding };
export type StoredPoints =
  | { readonly points: PointTrail; readonly finding: null }
  | { readonly points: null; readonly finding: Finding };

/** Only the very trail that the report names counts. */
export async function storedTrail(
  report: DeliverableReport,
  rollFolder: string,
  subject: FindingSubject,
): Promise<StoredTrail> {
  const read = await stored(report, rollFolder, subject, readTrail);
  return read.finding === null
    ? { trail: read.trail, finding: null }
    : { trail: null, finding: read.finding };
}

/** Of a master. */
export async function storedPoints(
  report: DeliverableReport,
  rollFolder: string,
  subject: FindingSubject,
): Promise<StoredPoints> {
  const read = await stored(report, rollFolder, subject, readPoints);
  return read.finding === null
    ? { points: read.trail, finding: null }
    : { points: null, finding: read.finding };
}

async function stored<Trail>(
  report: DeliverableReport,
  rollFolder: string,
  subject: FindingSubject,
  read: (bytes: Buffer) => Promise<{ readonly trail: Trail; readonly digest: string }>,
): Promise<{ readonly trail: Trail; readonly finding: null } | { readonly finding: Finding }> {
  const none = (...words: Parameters<typeof finding>): { finding: Finding } => ({
    finding: finding(...words),
  });
  if (report.trail === undefined)
    return none('trail-absent', 'the report names no trail', 'the trail of the source', subject);
  const about = { ...subject, file: report.trail.path };
  const path = placeBelow(rollFolder, report.trail.path);
  let bytes: Buffer;
  try {
    if (path === null) throw new RangeError('it lies outside of the roll');
    bytes = await readFile(fsPath(path));
  } catch (error) {
    return none('trail-absent', codeOf(error) || (error as Error).message, 'a file that can be read', about);
  }
  try {
    const { trail, digest } = await read(bytes);
    return digest === report.trail.sha256
      ? { trail, finding: null }
      : none('trail-damaged', `SHA-256 of its content ${digest}`, report.trail.sha256, about);
  } catch (error) {
    if (!(error instanceof TrailError)) throw error;
    return none('trail-damaged', error.message, 'a whole trail', about);
  }
}
