/** `rushlight status`: what stands in a delivery, read from disk, and what a run that is at work says. */
import { once } from 'node:events';
import { existsSync } from 'node:fs';
import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { FindingError, finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { deliveryPlace } from '../../ledger/lease.ts';
import { stateOfPlace } from '../../ledger/lease-file.ts';
import { ownerOfName } from '../../ledger/owner.ts';
import { type DeliverableReport, deliverableReportSchema, deliverableStates } from '../../ledger/report.ts';
import { countCopies, type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import { listenForInterrupts } from './interrupts.ts';
import { defaultWorkFolder } from '../roll/folders.ts';
import { readSeenMachines } from '../night/machines.ts';
import { readProgress } from '../night/keep-progress.ts';
import { readRunning } from '../night/running.ts';
import { printJson, printText } from '../show/output.ts';
import { originOf, type ServeAddress } from '../../serve/address.ts';
import { pageAddressText } from '../show/page-text.ts';
import { psnrByProfile } from '../show/psnr.ts';
import { type LiveStatus, type RollStatus, statusText } from '../show/status-text.ts';
import { readLock } from '../store/lock.ts';

export interface StatusOptions {
  readonly delivery?: string;
  readonly work?: string;
  readonly watch?: boolean;
  readonly page?: ServeAddress;
  readonly json?: boolean;
}

/** 0: every roll there is ready, and there is at least one. */
export async function statusCommand(options: StatusOptions): Promise<0 | 1 | 130> {
  if (options.delivery === undefined && options.work === undefined)
    throw new FindingError([finding('usage-wrong', 'neither a delivery nor --work', 'one of them')], 2);
  const work = options.work ?? defaultWorkFolder(options.delivery as string);
  if (options.watch === true) {
    const { watchRun } = await import('./watch.ts');
    const interrupts = listenForInterrupts();
    await watchRun(work, interrupts.first);
    interrupts.end();
    if (interrupts.first.aborted) return 130;
  }
  if (options.page !== undefined) return await serveStatus(options.page, work, options.delivery ?? null);
  const live = await liveOf(work);
  const delivery = options.delivery ?? live?.delivery ?? null;
  if (delivery !== null && !existsSync(delivery))
    throw new FindingError([finding('folder-missing', 'nothing there', 'a delivery', { file: delivery })], 2);
  const atWork = delivery === null ? null : await stateOfPlace(deliveryPlace(delivery));
  const rolls = delivery === null ? [] : await rollsOf(delivery);
  const machines = await readSeenMachines(work);
  const progress = live === null ? null : await readProgress(work, live.run);
  const forecast = progress?.forecast == null ? null : { ...progress.forecast, from: progress.at };
  const status = { delivery, work, live, forecast, atWork, machines, rolls };
  if (options.json === true) printJson({ version: 0, kind: 'status', ...status });
  else printText(statusText(status));
  return rolls.length > 0 && rolls.every((roll) => roll.verdict === 'ready') ? 0 : 1;
}

/** Until an interrupt, whatever runs come and go meanwhile. */
async function serveStatus(address: ServeAddress, work: string, delivery: string | null): Promise<130> {
  if (delivery !== null && !existsSync(delivery))
    throw new FindingError([finding('folder-missing', 'nothing there', 'a delivery', { file: delivery })], 2);
  const { servePage } = await import('../live/serve.ts');
  const interrupts = listenForInterrupts();
  try {
    const watch = { work, delivery, day: null, awaited: false };
    const page = await servePage({ watch, address, serves: true });
    process.stderr.write(`${pageAddressText(page.addresses)}\nCtrl-C ends the page, and nothing else.\n`);
    if (!interrupts.first.aborted) await once(interrupts.first, 'abort');
    await page.end();
    return 130;
  } catch (error) {
    const why = codeOf(error);
    if (why === '') throw error;
    const found = `${originOf(address)}: ${why}`;
    throw new FindingError(
      [finding('page-address-refused', found, 'an address of this machine that is free')],
      2,
    );
  } finally {
    interrupts.end();
  }
}

async function folderNames(folder: string): Promise<string[]> {
  return (await readdir(folder, { withFileTypes: true }))
    .filter((entry) => entry.isDirectory())
    .map((entry) => entry.name)
    .sort();
}

async function rollsOf(delivery: string): Promise<RollStatus[]> {
  const rolls: RollStatus[] = [];
  for (const day of await folderNames(delivery)) {
    for (const name of await folderNames(join(delivery, day))) {
      const folder = layout.rollFolder(delivery, day, name);
      const read = await readRecord(layout.verdict(folder), rollVerdictSchema);
      const verdict = read.state === 'read' ? read.value : null;
      const { counts: reports, psnr } = await reportsOf(folder, verdict);
      if (read.state === 'absent' && reports === null) continue;
      rolls.push({
        day,
        roll: verdict?.roll ?? name,
        verdict: verdict?.verdict ?? 'held',
        decidedAt: verdict?.decidedAt ?? null,
        timeZone: verdict?.timeZone ?? null,
        copies: countCopies(verdict?.copies ?? []),
        clips: verdict?.clips.length ?? 0,
        recordings: verdict?.recordings?.length ?? 0,
        clipsReady: verdict?.clips.filter((clip) => clip.verdict === 'ready').length ?? 0,
        deliverables: reports ?? { publishing: 0, published: 0, failed: 0 },
        psnr,
        findings: read.state === 'damaged' ? [read.finding] : (verdict?.findings ?? []),
      });
    }
  }
  return rolls;
}

/** Reports of deliverables by what they say, null: the roll's folder has none; and of each profile how near its files are to what the encoders were given. */
async function reportsOf(
  rollFolder: string,
  verdict: RollVerdict | null,
): Promise<{ readonly counts: RollStatus['deliverables'] | null; readonly psnr: RollStatus['psnr'] }> {
  const folder = join(layout.reportsFolder(rollFolder), 'deliverables');
  if (!existsSync(folder)) return { counts: null, psnr: [] };
  const counts = Object.fromEntries(deliverableStates.map((state) => [state, 0])) as Record<
    (typeof deliverableStates)[number],
    number
  >;
  const published: DeliverableReport[] = [];
  for (const name of await readdir(folder)) {
    if (!name.endsWith('.json') || name.startsWith('.')) continue;
    const read = await readRecord(join(folder, name), deliverableReportSchema);
    if (read.state !== 'read' || !isDue(read.value, verdict)) continue;
    counts[read.value.state] += 1;
    if (read.value.state === 'published') published.push(read.value);
  }
  return { counts, psnr: psnrByProfile(published) };
}

/** What an earlier run made in a profile that is due no more stays, and is not counted. Without a verdict all is. */
function isDue({ clip, profile }: DeliverableReport, verdict: RollVerdict | null): boolean {
  const decided = verdict?.clips.find((one) => one.clip.id === clip.id);
  return decided === undefined || (decided.settings?.profiles.includes(profile) ?? true);
}

async function liveOf(work: string): Promise<LiveStatus | null> {
  const lock = await readLock(work);
  if (lock.state !== 'alive' || lock.lease === null) return null;
  const running = await readRunning(work);
  return {
    pid: ownerOfName(lock.lease.owner)?.pid ?? 0,
    since: lock.lease.since,
    run: running?.run ?? null,
    day: running?.day ?? null,
    delivery: running?.delivery ?? null,
    jobs: await jobCounts(work, running?.run ?? null),
  };
}

/** As the run itself counts them; null: it has not said so yet. */
async function jobCounts(work: string, run: string | null): Promise<LiveStatus['jobs']> {
  const progress = run === null ? null : await readProgress(work, run);
  if (progress === null) return null;
  const all = progress.rolls.reduce((sum, { jobs }) => sum + jobs, 0);
  const over = progress.rolls.reduce((sum, { jobsOver }) => sum + jobsOver, 0);
  const running = progress.working.length;
  return { waiting: Math.max(0, all - over - running), running, over };
}
