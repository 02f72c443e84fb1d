/** The files that belong beside a movie: those that were decided, each as its report names it. Pure. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { sidecarPaths } from '../../ledger/sidecars.ts';
import type { DeliverableOnDisk } from './input.ts';

export function judgeSidecars(
  report: DeliverableReport,
  { sidecarsSha256 = [] }: DeliverableOnDisk,
  subject: FindingSubject,
): Finding[] {
  const { sidecars = [] } = report;
  const wanted = sidecarPaths(report);
  const named = sidecars.map(({ path }) => path);
  const found: Finding[] = [];
  if (named.join('\n') !== wanted.join('\n'))
    found.push(
      finding(
        'record-contradictory',
        `beside the movie ${named.join(', ') || 'nothing'}`,
        `${wanted.join(', ') || 'nothing'}, as decided`,
        subject,
      ),
    );
  for (const [index, { path, bytes, sha256 }] of sidecars.entries()) {
    const now = sidecarsSha256[index] ?? null;
    const about = { ...subject, file: path };
    if (now === null) found.push(finding('file-absent', 'no such file', `${bytes} bytes`, about));
    else if (now !== sha256)
      found.push(finding('digest-differs', `SHA-256 ${now}`, `SHA-256 ${sha256}`, about));
  }
  return found;
}
