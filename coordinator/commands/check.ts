/** `rushlight check`: intake alone. Every byte of every copy against the manifests; writes nothing, but for copies that `--deliver` adds to verdicts. */
import { existsSync } from 'node:fs';
import { append } from '../../findings/append.ts';
import { type Finding, FindingError, finding, blocks } from '../../findings/finding.ts';
import { startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import type { Mounts } from '../../ledger/portable.ts';
import { isVerified } from '../../ledger/roll.ts';
import { readMounts } from '../../ledger/volumes.ts';
import { handOver } from '../handover/hand-over.ts';
import { newRunProgress } from '../progress/run-progress.ts';
import type { ReadRoll } from '../intake/since.ts';
import { watchLeases } from '../../ledger/lease-file.ts';
import { holdDelivery } from '../night/delivery-hold.ts';
import { newRun } from '../night/names.ts';
import { type NightFolders, nightFolders } from '../roll/folders.ts';
import { verifyRoll } from '../roll/know.ts';
import { layout } from '../../ledger/layout.ts';
import { pullsOf } from '../pull/record.ts';
import { addLateCopies, type LateCopies } from '../roll/late-copies.ts';
import { repeatsAmong } from '../roll/repeats.ts';
import { findRolls, rollOnDelivery } from '../roll/rolls.ts';
import { intakeText, lateText } from '../show/intake-text.ts';
import { printJson, printText } from '../show/output.ts';
import { showProgress } from '../show/progress.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_READERS } from '../night/defaults.ts';

export interface CheckOptions {
  readonly day: string;
  readonly copy?: readonly string[];
  readonly manifests?: readonly string[];
  readonly readers?: number;
  /** Delivery whose verdicts take the copies that are verified here. */
  readonly deliver?: string;
  readonly volumes?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

export async function checkCommand(options: CheckOptions): Promise<0 | 1 | 130> {
  const folders = nightFolders({
    day: options.day,
    copies: options.copy ?? [],
    manifests: options.manifests ?? [],
    ...(options.deliver === undefined ? {} : { deliver: options.deliver }),
  });
  const mounts = options.volumes === undefined ? null : await readMounts(options.volumes);
  const { rolls, dayManifests, findings } = await findRolls(folders);
  if (rolls.length === 0)
    throw new FindingError(
      [...findings, finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: folders.day })],
      2,
    );
  const interrupts = listenForInterrupts();
  const runProgress = newRunProgress(rolls.map((roll) => roll.name));
  const progress = showProgress(runProgress, { quiet: options.quiet === true });
  const read: ReadRoll[] = [];
  try {
    for (const roll of rolls) {
      const intake = await verifyRoll(roll, {
        dayManifests,
        request: { folders, readers: options.readers ?? DEFAULT_READERS },
        runProgress,
        // Nothing is half done here: the first interrupt ends it.
        signal: interrupts.first,
      });
      runProgress.setPhase(roll.name, isVerified(intake) ? 'ready' : 'held');
      read.push(intake);
    }
  } catch (error) {
    if (!interrupts.first.aborted) throw error;
  } finally {
    progress.stop();
    interrupts.end();
  }
  const whole = read.length === rolls.length;
  const repeats = repeatsAmong(read);
  const results = read.map((intake) => ({
    ...intake,
    findings: [...intake.findings, ...(repeats.get(intake.roll) ?? [])],
  }));
  const late = whole ? await addAll(results, folders, { findings, mounts }) : [];
  const good =
    whole &&
    results.every(isVerified) &&
    !findings.some(blocks) &&
    !late.some((item) => item.findings.some(blocks));
  // Files with their checksums are what a reader of JSON may want to compare; people are shown their number.
  if (options.json === true)
    printJson({
      version: 0,
      kind: 'check',
      day: folders.dayName,
      verdict: good ? 'verified' : 'held',
      interrupted: !whole,
      rolls: results.map(({ asRead: _, ...intake }) => ({ ...intake, verified: isVerified(intake) })),
      findings,
      delivery: options.deliver === undefined ? null : folders.delivery,
      verdicts: late,
    });
  else
    printText(
      `${intakeText(results, findings, rolls.length)}${late.length === 0 ? '' : `\n${lateText(late)}`}`,
    );
  if (!whole) return 130;
  return good ? 0 : 1;
}

/** Under the delivery's lease: a run that is at work there decides on its own. Throws FindingError (exit 2) when one is. */
async function addAll(
  results: readonly ReadRoll[],
  folders: NightFolders,
  { findings, mounts }: { readonly findings: Finding[]; readonly mounts: Mounts },
): Promise<LateCopies[]> {
  const { delivery } = folders;
  if (delivery === '') return [];
  if (!existsSync(delivery))
    throw new FindingError([finding('folder-missing', 'nothing there', 'a delivery', { file: delivery })], 2);
  const keeper = startLeaseKeeper();
  try {
    const ended = new AbortController();
    const hold = await holdDelivery({
      delivery,
      run: newRun(),
      keeper,
      watch: watchLeases(),
      wait: false,
      onWait: () => undefined,
      signal: ended.signal,
      lost: (found) => ended.abort(found),
    });
    try {
      const late: LateCopies[] = [];
      for (const place of await placesOf(folders, results)) {
        const ofPlace: LateCopies[] = [];
        for (const intake of place.rolls) {
          const failure = await hold.failure();
          if (failure !== null) throw new FindingError([failure], 1);
          const added = await addLateCopies(intake, rollOnDelivery(place.folders, intake.roll), mounts);
          ofPlace.push(
            place.folders === folders ? added : { ...added, roll: `${place.folders.dayName}/${intake.roll}` },
          );
        }
        // The statements that it names are others now.
        if (ofPlace.some(({ added }) => added.length > 0)) append(findings, await handOver(place.folders));
        append(late, ofPlace);
      }
      return late;
    } finally {
      await hold.release();
    }
  } finally {
    await keeper.close();
  }
}

interface PlaceOfDay {
  readonly folders: NightFolders;
  readonly rolls: readonly ReadRoll[];
}

/** The day itself, and every pull that was made of it: of these the rolls that they have. A delivery of pulls alone has no rolls of the day. */
async function placesOf(folders: NightFolders, results: readonly ReadRoll[]): Promise<PlaceOfDay[]> {
  const has = (place: NightFolders, roll: string): boolean =>
    existsSync(layout.verdict(rollOnDelivery(place, roll)));
  const pulls = (await pullsOf(folders.delivery, folders.dayName)).map((dayName): PlaceOfDay => {
    const place = { ...folders, dayName };
    return { folders: place, rolls: results.filter(({ roll }) => has(place, roll)) };
  });
  const isThere = results.some(({ roll }) => has(folders, roll));
  return [...(isThere || pulls.length === 0 ? [{ folders, rolls: results }] : []), ...pulls];
}
