/** What stands and what runs, for people. Pure. */
import { type Finding, blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { count, findingsText } from './words.ts';

export interface RollStatus {
  readonly day: string;
  readonly roll: string;
  readonly verdict: 'ready' | 'held';
  readonly decidedAt: string | null;
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
  /** Jobs of the built-in Redis by the queue's states; null: not to be asked. */
  readonly jobs: Record<string, number> | null;
}

export function statusText(
  delivery: string | null,
  work: string,
  live: LiveStatus | null,
  rolls: readonly RollStatus[],
): string {
  const parts: string[] = [];
  if (live === null) parts.push(`No run is at work in ${printable(work)}.`);
  else {
    const jobs =
      live.jobs === null
        ? ''
        : `\n       jobs: ${live.jobs.active ?? 0} at work, ${(live.jobs.prioritized ?? 0) + (live.jobs.delayed ?? 0)} wait, ${(live.jobs.completed ?? 0) + (live.jobs.failed ?? 0)} ended`;
    parts.push(
      `A run is at work: process ${live.pid} on ${live.host}, since ${live.since}${live.run === null ? '' : `, run ${live.run}`}${live.day === null ? '' : `, ${printable(live.day)}`}${jobs}`,
    );
  }
  for (const roll of rolls) {
    const { published, publishing, failed } = roll.deliverables;
    const head = `${roll.verdict === 'ready' ? 'ready' : 'HELD '}  ${printable(roll.day)}/${printable(roll.roll)}  ${roll.clipsReady} of ${count(roll.clips, 'clip')} ready; deliverables: ${published} published, ${failed} failed${publishing > 0 ? `, ${publishing} being published` : ''}`;
    const held = roll.findings.filter(blocks);
    parts.push(held.length === 0 ? head : `${head}\n${findingsText(held, '       ')}`);
  }
  if (delivery !== null && rolls.length === 0) parts.push(`No roll stands in ${printable(delivery)}.`);
  return `${parts.join('\n\n')}\n`;
}
