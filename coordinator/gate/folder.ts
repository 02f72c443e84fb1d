/** A deliverable that is a folder of files: whether the files are those of its listing, and the listing that of its report. Pure. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import type { ListingDifference } from '../../files/listing.ts';
import { printable } from '../../files/names.ts';
import type { DeliverableOnDisk } from './input.ts';

/** How many files of one folder are told by name. */
const TOLD = 12;

/** Of a single file it says nothing. */
export function judgeFolder(
  report: DeliverableReport,
  disk: DeliverableOnDisk,
  subject: FindingSubject,
): Finding[] {
  const { file, listing } = report;
  if (file === null) return [];
  if (file.files === undefined)
    return listing === undefined
      ? []
      : [finding('record-contradictory', 'a single file with a listing', 'a listing of a folder', subject)];
  const found = judgeListing(report, disk, subject);
  if (disk.folder === undefined || disk.standingBytes === null) return found;
  const { files } = disk.folder;
  if (files !== file.files || disk.standingBytes !== file.bytes || file.bytes === 0) {
    found.push(
      finding(
        'file-size-differs',
        `${disk.standingBytes} bytes in ${files} files`,
        `${file.bytes} bytes in ${file.files} files, not empty`,
        subject,
      ),
    );
  }
  return [...found, ...told(disk.folder.differences, file.path, subject)];
}

function judgeListing(
  { file, listing }: DeliverableReport,
  { listingSha256 }: DeliverableOnDisk,
  subject: FindingSubject,
): Finding[] {
  if (listing === undefined)
    return [finding('listing-absent', 'the report names no listing', 'the listing of the folder', subject)];
  const about = { ...subject, file: listing.path };
  const found: Finding[] = [];
  if (listing.sha256 !== file?.sha256)
    found.push(
      finding(
        'record-contradictory',
        `a listing of SHA-256 ${listing.sha256}`,
        `SHA-256 ${file?.sha256 ?? ''}, as the folder has`,
        about,
      ),
    );
  if (listingSha256 === undefined)
    found.push(finding('listing-absent', 'no such file', 'the listing of the folder', about));
  else if (listingSha256 !== listing.sha256)
    found.push(finding('listing-damaged', `SHA-256 ${listingSha256}`, `SHA-256 ${listing.sha256}`, about));
  return found;
}

function told(differences: readonly ListingDifference[], path: string, subject: FindingSubject): Finding[] {
  const lines = differences
    .slice(0, TOLD)
    .map((one) => findingOf(one, { ...subject, file: `${path}/${one.name}` }));
  const [next] = differences.slice(TOLD);
  return next === undefined
    ? lines
    : [
        ...lines,
        finding(
          CODES[next.kind],
          `${differences.length - TOLD} more files that are not as listed`,
          'the files of the listing',
          { ...subject, file: path },
        ),
      ];
}

const CODES = {
  absent: 'folder-file-absent',
  differs: 'folder-file-differs',
  strange: 'folder-file-strange',
} as const;

function findingOf(one: ListingDifference, about: FindingSubject): Finding {
  switch (one.kind) {
    case 'absent':
      return finding(
        CODES.absent,
        one.now === null ? 'no such file' : `its bytes stand under the name ${printable(one.now)}`,
        'the file that the listing names',
        about,
      );
    case 'differs':
      return finding(
        CODES.differs,
        one.of === null ? `SHA-256 ${one.sha256}` : `the bytes of ${printable(one.of)}`,
        `SHA-256 ${one.listed}`,
        about,
      );
    case 'strange':
      return finding(
        CODES.strange,
        one.was === null ? one.what : `the bytes of ${printable(one.was)}`,
        'files of the listing only',
        about,
      );
  }
}
