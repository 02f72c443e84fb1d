/** What is finished and what runs, for people. Pure. */
import { type Finding, blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { count, findingsText, readyText } from './words.ts';

export interface RollStatus {
  readonly day: string;
  readonly roll: string;
  readonly verdict: 'ready' | 'held';
  readonly decidedAt: string | null;
  /** Copies of the roll that were read, the working copy among them. */
  readonly copies: number;
  readonly clips: number;
  readonly clipsReady: number;
  /** Reports of deliverables by state. */
  readonly deliverables: { readonly publishing: number; readonly published: number; readonly failed: number };
  readonly findings: readonly Finding[];
}

export interface LiveStatus {
  readonly pid: number;
  readonly host: string;
  readonly since: string;
  readonly run: string | null;
  readonly day: string | null;
  readonly delivery: string | null;
  /** Jobs of the built-in Redis by the queue's states; null: it does not answer. */
  readonly jobs: Record<string, number> | null;
}

export function statusText(
  delivery: string | null,
  work: string,
  live: LiveStatus | null,
  rolls: readonly RollStatus[],
): string {
  const parts: string[] = [];
  if (live === null) parts.push(`No run is active in ${printable(work)}.`);
  else {
    const jobs =
      live.jobs === null
        ? ''
        : `\n       jobs: ${live.jobs.active ?? 0} running, ${(live.jobs.prioritized ?? 0) + (live.jobs.delayed ?? 0)} waiting, ${(live.jobs.completed ?? 0) + (live.jobs.failed ?? 0)} ended`;
    parts.push(
      `A run is active: process ${live.pid} on ${live.host}, since ${live.since}${live.run === null ? '' : `, run ${live.run}`}${live.day === null ? '' : `, ${printable(live.day)}`}${jobs}`,
    );
  }
  for (const roll of rolls) {
    const { published, publishing, failed } = roll.deliverables;
    const head = `${roll.verdict === 'ready' ? readyText(roll.copies) : 'HELD '}  ${printable(roll.day)}/${printable(roll.roll)}  ${roll.clipsReady} of ${count(roll.clips, 'clip')} ready; deliverables: ${published} published, ${failed} failed${publishing > 0 ? `, ${publishing} being published` : ''}`;
    const held = roll.findings.filter(blocks);
    parts.push(held.length === 0 ? head : `${head}\n${findingsText(held, '       ')}`);
  }
  if (delivery !== null && rolls.length === 0) parts.push(`No roll is in ${printable(delivery)}.`);
  return `${parts.join('\n\n')}\n`;
}
