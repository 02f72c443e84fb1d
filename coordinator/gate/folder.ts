/** A deliverable that is a folder of files: whether the files are those of its checksum list, and the checksum list that of its report. Pure. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import type { ChecksumListDifference } from '../../files/checksum-list.ts';
import { printable } from '../../files/names.ts';
import type { DeliverableOnDisk } from './input.ts';

/** How many files of one folder are reported by name. */
const MAX_LISTED = 12;

/** Of a single file it says nothing. */
export function judgeFolder(
  report: DeliverableReport,
  disk: DeliverableOnDisk,
  subject: FindingSubject,
): Finding[] {
  const { file, checksumList } = report;
  if (file === null) return [];
  if (file.files === undefined)
    return checksumList === undefined
      ? []
      : [
          finding(
            'record-contradictory',
            'a single file with a checksum list',
            'a checksum list of a folder',
            subject,
          ),
        ];
  const found = judgeChecksumList(report, disk, subject);
  if (disk.folder === undefined || disk.bytesOnDisk === null) return found;
  const { files } = disk.folder;
  if (files !== file.files || disk.bytesOnDisk !== file.bytes || file.bytes === 0) {
    found.push(
      finding(
        'file-size-differs',
        `${disk.bytesOnDisk} bytes in ${files} files`,
        `${file.bytes} bytes in ${file.files} files, not empty`,
        subject,
      ),
    );
  }
  return [...found, ...reported(disk.folder.differences, file.path, subject)];
}

function judgeChecksumList(
  { file, checksumList }: DeliverableReport,
  { checksumListSha256 }: DeliverableOnDisk,
  subject: FindingSubject,
): Finding[] {
  if (checksumList === undefined)
    return [
      finding(
        'checksum-list-absent',
        'the report names no checksum list',
        'the checksum list of the folder',
        subject,
      ),
    ];
  const about = { ...subject, file: checksumList.path };
  const found: Finding[] = [];
  if (checksumList.sha256 !== file?.sha256)
    found.push(
      finding(
        'record-contradictory',
        `a checksum list of SHA-256 ${checksumList.sha256}`,
        `SHA-256 ${file?.sha256 ?? ''}, as the folder has`,
        about,
      ),
    );
  if (checksumListSha256 === undefined)
    found.push(finding('checksum-list-absent', 'no such file', 'the checksum list of the folder', about));
  else if (checksumListSha256 !== checksumList.sha256)
    found.push(
      finding(
        'checksum-list-damaged',
        `SHA-256 ${checksumListSha256}`,
        `SHA-256 ${checksumList.sha256}`,
        about,
      ),
    );
  return found;
}

function reported(
  differences: readonly ChecksumListDifference[],
  path: string,
  subject: FindingSubject,
): Finding[] {
  const lines = differences
    .slice(0, MAX_LISTED)
    .map((one) => findingOf(one, { ...subject, file: `${path}/${one.name}` }));
  const [next] = differences.slice(MAX_LISTED);
  return next === undefined
    ? lines
    : [
        ...lines,
        finding(
          CODES[next.kind],
          `${differences.length - MAX_LISTED} more files that are not as listed`,
          'the files of the checksum list',
          { ...subject, file: path },
        ),
      ];
}

const CODES = {
  absent: 'folder-file-absent',
  differs: 'folder-file-differs',
  strange: 'folder-file-unexpected',
} as const;

function findingOf(one: ChecksumListDifference, about: FindingSubject): Finding {
  switch (one.kind) {
    case 'absent':
      return finding(
        CODES.absent,
        one.now === null ? 'no such file' : `its bytes stand under the name ${printable(one.now)}`,
        'the file that the checksum list names',
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
        'files of the checksum list only',
        about,
      );
  }
}
