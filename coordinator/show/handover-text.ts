/** A handover to drives as people read it: one line for whoever carries each drive, and what is wrong. Pure. */
import { printable } from '../../files/names.ts';
import type { DayHanded, Delivered, DriveHanded } from '../handover/deliver.ts';
import { bytesText, count, findingsText } from './words.ts';

const dayText = ({ day, rolls, held }: DayHanded): string =>
  `${printable(day)}: ${rolls.map(printable).join(', ')}${held.length === 0 ? '' : ` (not ${held.map(printable).join(', ')}: held)`}`;

/** `DRIVE /mnt/a carries day-03: A001, A002; 53 files, 1.2 GB, every byte read back and the same.` */
function driveText(
  { folder, verdict, copied, there, findings }: DriveHanded,
  days: readonly DayHanded[],
): string {
  const files = copied.files + there.files;
  const all = `${count(files, 'file')}, ${bytesText(copied.bytes + there.bytes)}`;
  const before = there.files === 0 ? '' : `, ${there.files} of them there before`;
  const line =
    verdict === 'handed-over'
      ? `carries      ${printable(folder)}  ${days.map(dayText).join('; ')}. ${all}${before}, every byte read back and the same.`
      : `NOT WHOLE    ${printable(folder)}  ${all} are there and right${before}. Do not hand it on.`;
  return findings.length === 0 ? line : `${line}\n${findingsText(findings, '             ')}`;
}

export function handoverText({ days, drives, findings }: Delivered): string {
  const parts = drives.map((drive) => driveText(drive, days));
  if (findings.length > 0) parts.push(findingsText(findings));
  return parts.join('\n\n');
}
