/** What is finished and what runs, for people. Pure. */
import type { PlaceState } from '../../ledger/lease-file.ts';
import type { SeenMachine } from '../night/machines.ts';
import { holderText } from '../store/lock.ts';
import { type Finding, blocks } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { type ProfilePsnr, psnrText } from './psnr.ts';
import type { NightForecast } from '../progress/forecast.ts';
import { forecastLine, rollReadyText } from './forecast-text.ts';
import { momentText } from './time.ts';
import { clipsReadyText, count, findingsText, readyText } from './words.ts';

export interface RollStatus {
  readonly day: string;
  readonly roll: string;
  readonly verdict: 'ready' | 'held';
  readonly decidedAt: string | null;
  /** Of the show; null: none is stated. */
  readonly timeZone: string | null;
  /** Copies of the roll that were read, the working copy among them. */
  readonly copies: number;
  readonly clips: number;
  readonly clipsReady: number;
  /** Of a sound roll; 0 of all others. */
  readonly recordings: number;
  /** Reports of deliverables by state. */
  readonly deliverables: { readonly publishing: number; readonly published: number; readonly failed: number };
  /** Of published movies whose codec loses something. */
  readonly psnr: readonly ProfilePsnr[];
  readonly findings: readonly Finding[];
}

export interface LiveStatus {
  /** Of this machine. */
  readonly pid: number;
  readonly since: string;
  readonly run: string | null;
  readonly day: string | null;
  readonly delivery: string | null;
  /** Jobs of the built-in Redis by the queue's states; null: it does not answer. */
  readonly jobs: { readonly waiting: number; readonly running: number; readonly over: number } | null;
}

export interface Status {
  readonly delivery: string | null;
  readonly work: string;
  /** The run of this machine in the work folder. */
  readonly live: LiveStatus | null;
  /** Of that run; null: there is none, or it has nothing to make. */
  readonly forecast: (NightForecast & { readonly from: string }) | null;
  /** What the delivery's lease says, of whatever machine; null: no delivery was asked about. */
  readonly atWork: PlaceState | null;
  /** Of the farm, as the run in the work folder saw them last; none where it works alone. */
  readonly machines: readonly SeenMachine[];
  readonly rolls: readonly RollStatus[];
}

/** null: the run in the work folder is the same, or nobody is at work. */
function atWorkText({ atWork, live }: Status): string | null {
  if (atWork === null || atWork.state === 'free') {
    return atWork?.state === 'free' && atWork.dead !== null
      ? `The last run here did not end: ${holderText(atWork.dead)}. Run again; what is finished stays.`
      : null;
  }
  if (atWork.lease !== null && atWork.lease.run === live?.run) return null;
  return atWork.state === 'alive'
    ? `A run is at work on this delivery: ${holderText(atWork.lease)}`
    : `A run may be at work on this delivery: ${holderText(atWork.lease)}. One look cannot tell whether it lives.`;
}

const STANDING = {
  fit: 'takes jobs',
  unfit: 'takes none: it is not fit',
  'set-aside': 'gave a job back, and is asked again later',
} as const;

function machineText({ host, machine, workers, standing, findings, ...shared }: SeenMachine): string {
  const sharing =
    standing === 'fit' && shared.others > 0
      ? `, shared with ${count(shared.others, 'other run')}: ${Math.round(100 * shared.share)} % of it is for this one`
      : '';
  const why = findings.map(
    ({ code, found, file }) =>
      `\n       [${code}] ${printable(found)}${file === undefined ? '' : `: ${printable(file)}`}`,
  );
  return `Machine ${printable(host)} (${machine.slice(0, 8)}), ${count(workers, 'worker')}: ${STANDING[standing]}${sharing}${why.join('')}`;
}

/** A note that a person may want to act on: of each profile one line, with the first clip of those that have it. */
function limitedText(findings: readonly Finding[]): string[] {
  const limited = findings.filter(({ code }) => code === 'encoder-input-limited');
  return [...new Set(limited.map(({ profile }) => profile ?? ''))].map((profile) => {
    const own = limited.filter((one) => (one.profile ?? '') === profile);
    const [first] = own;
    return `note [encoder-input-limited] ${printable(profile)}: ${count(own.length, 'clip')} with values beyond what it can hold${first === undefined ? '' : `; ${printable(first.clip ?? '')}: ${printable(first.found)}`}`;
  });
}

/** Of a run at work: all of it, then each roll. */
function leftLines(forecast: NightForecast & { readonly from: string }): string {
  const from = Date.parse(forecast.from);
  return [
    printable(forecastLine(forecast, from)),
    ...forecast.rolls.map((roll) => `       ${rollReadyText(roll, from, forecast.timeZone)}`),
  ].join('\n');
}

export function statusText(status: Status): string {
  const { delivery, work, live, machines, rolls } = status;
  const parts: string[] = [];
  if (live === null) parts.push(`No run is active in ${printable(work)}.`);
  else {
    const jobs =
      live.jobs === null
        ? ''
        : `\n       jobs: ${live.jobs.running} running, ${live.jobs.waiting} waiting, ${live.jobs.over} ended`;
    parts.push(
      `A run is at work: process ${live.pid} on this machine, since ${live.since}${live.run === null ? '' : `, run ${live.run}`}${live.day === null ? '' : `, ${printable(live.day)}`}${jobs}`,
    );
  }
  if (status.forecast !== null) parts.push(leftLines(status.forecast));
  const other = atWorkText(status);
  if (other !== null) parts.push(other);
  if (machines.length > 0) parts.push(machines.map(machineText).join('\n'));
  for (const roll of rolls) {
    const { published, publishing, failed } = roll.deliverables;
    const head = `${roll.verdict === 'ready' ? readyText(roll.copies) : 'HELD '}  ${printable(roll.day)}/${printable(roll.roll)}  ${clipsReadyText(roll)}${roll.recordings > 0 ? '' : `; deliverables: ${published} published, ${failed} failed${publishing > 0 ? `, ${publishing} being published` : ''}`}${roll.decidedAt === null ? '' : `; decided ${momentText(roll.decidedAt, roll.timeZone)}`}`;
    const held = roll.findings.filter(blocks);
    const lines = [head, ...roll.psnr.map((one) => `       ${psnrText(one)}`)];
    lines.push(...limitedText(roll.findings).map((line) => `       ${line}`));
    if (held.length > 0) lines.push(findingsText(held, '       '));
    parts.push(lines.join('\n'));
  }
  if (delivery !== null && rolls.length === 0) parts.push(`No roll is in ${printable(delivery)}.`);
  return `${parts.join('\n\n')}\n`;
}
