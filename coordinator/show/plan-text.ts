/** A plan for people. Pure. */
import type { Finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { NightPlan } from '../plan/index.ts';
import { bytesText, count, durationText, findingsText } from './words.ts';

export interface PlannedRoll {
  readonly roll: string;
  readonly clips: number;
  readonly jobs: number;
  readonly deliverables: number;
  readonly bytes: number;
  readonly bytesRange: { readonly least: number; readonly most: number };
}

/** What compression leaves open; a twentieth either way is no news. */
function spread({ bytes, bytesRange: { least, most } }: PlannedRoll): string {
  return most - least > bytes / 20
    ? `, from ${bytesText(least)} to ${bytesText(most)} by what is in the pictures`
    : '';
}

export function planText(
  plan: NightPlan,
  rolls: readonly PlannedRoll[],
  findings: readonly Finding[],
  workers: number,
): string {
  const parts = [
    rolls
      .map(
        (roll) =>
          `${printable(roll.roll).padEnd(8)}  ${count(roll.clips, 'clip')}, ${count(roll.deliverables, 'deliverable')} to make from ${count(roll.jobs, 'decode')}, about ${bytesText(roll.bytes)}${spread(roll)}`,
      )
      .join('\n'),
  ];
  for (const volume of plan.volumes) {
    parts.push(
      `On ${volume.name}: about ${bytesText(volume.bytes)} in ${count(volume.files, 'file')}; free ${volume.freeBytes === null ? 'not told' : bytesText(volume.freeBytes)}.`,
    );
  }
  if (findings.length > 0) parts.push(findingsText(findings));
  parts.push(
    `${count(plan.planned, 'deliverable')} to make, ${plan.done} stand finished; about ${durationText(plan.seconds)} with ${count(workers, 'worker')}. Nothing was written.`,
  );
  return `${parts.join('\n\n')}\n`;
}
