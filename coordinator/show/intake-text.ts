/** What intake found, for people. Pure. */
import type { Finding } from '../../findings/finding.ts';
import { type IntakeResult, isVerified } from '../../ledger/roll.ts';
import { printable } from '../../files/names.ts';
import type { LateCopies } from '../roll/late-copies.ts';
import { bytesText, count, findingsText, readyText } from './words.ts';

export function intakeText(
  results: readonly IntakeResult[],
  ofDay: readonly Finding[],
  rolls: number,
): string {
  const parts = results.map((intake) => {
    const lines = [
      `${isVerified(intake) ? 'verified' : 'HELD    '}  ${printable(intake.roll)}  ${count(intake.files.length, 'file')}, ${count(intake.manifests.length, 'manifest')}`,
    ];
    for (const copy of intake.copies)
      lines.push(
        `          ${copy.verified ? 'equal    ' : intake.manifests.length === 0 ? 'UNPROVED ' : 'NOT EQUAL'}  ${printable(copy.folder)}  ${count(copy.files, 'file')}, ${bytesText(copy.bytes)}`,
      );
    if (intake.findings.length > 0) lines.push(findingsText(intake.findings, '       '));
    return lines.join('\n');
  });
  if (ofDay.length > 0) parts.push(findingsText(ofDay));
  const read = results.length < rolls ? ` ${rolls - results.length} not read.` : '';
  parts.push(`${results.filter(isVerified).length} of ${count(rolls, 'roll')} verified.${read}`);
  return `${parts.join('\n\n')}\n`;
}

/** What `check --deliver` did to the verdicts. */
export function lateText(late: readonly LateCopies[]): string {
  const parts = late.map(({ roll, added, copies, findings }) => {
    const lines = [
      `${copies === null ? 'HELD ' : readyText(copies)}  ${printable(roll)}  ${count(added.length, 'copy', 'copies')} added`,
      ...added.map((folder) => `          added  ${printable(folder)}`),
    ];
    if (findings.length > 0) lines.push(findingsText(findings, '       '));
    return lines.join('\n');
  });
  return `${parts.join('\n\n')}\n`;
}
