/**
 * Ready rolls of a delivery to other drives: the handover of every day is held against its records first, room is looked at, and then each file goes to
 * all drives from one read. A drive that fails is left out from there on, and the others get all of it.
 */
import { lstat, stat } from 'node:fs/promises';
import { join, relative, resolve, sep } from 'node:path';
import { append } from '../../findings/append.ts';
import { codeOf } from '../../files/error-code.ts';
import { fsPath, printable } from '../../files/names.ts';
import { blocks, type Finding, FindingError, finding } from '../../findings/finding.ts';
import { auditHandover } from '../../handover/audit.ts';
import type { Day } from '../../handover/day.ts';
import { handedOver } from '../../handover/files.ts';
import { daysOf, readDay } from '../../handover/read-day.ts';
import { layout } from '../../ledger/layout.ts';
import { deliveryPlace } from '../../ledger/lease.ts';
import { stateOfPlace } from '../../ledger/lease-file.ts';
import { roomOn } from '../roll/space.ts';
import { bytesText } from '../show/words.ts';
import { copyFile, type Copied, type CopyDrive } from './copy.ts';
import { oursOnDrive } from './drive.ts';
import { type OnDrive, writeDriveHistory } from './history.ts';
import { type HandedFile, handedFiles, isRecord } from './list.ts';

export interface DeliverRequest {
  readonly delivery: string;
  readonly drives: readonly string[];
  readonly signal: AbortSignal;
  readonly onProgress?: (done: {
    readonly bytes: number;
    readonly of: number;
    readonly path: string;
  }) => void;
}

export interface DayHanded {
  readonly day: string;
  /** Names of rolls. */
  readonly rolls: readonly string[];
  readonly held: readonly string[];
  readonly files: number;
  readonly bytes: number;
}

export interface DriveHanded {
  readonly folder: string;
  readonly verdict: 'handed-over' | 'held';
  readonly copied: { readonly files: number; readonly bytes: number };
  /** What stood there already, read now and the same. */
  readonly there: { readonly files: number; readonly bytes: number };
  /** Generations of ASC MHL histories that were written. */
  readonly manifests: readonly string[];
  readonly findings: readonly Finding[];
}

export interface Delivered {
  readonly verdict: 'handed-over' | 'held';
  readonly days: readonly DayHanded[];
  readonly drives: readonly DriveHanded[];
  readonly findings: readonly Finding[];
}

interface DayToHand {
  readonly folder: string;
  readonly name: string;
  readonly day: Day;
  readonly files: readonly HandedFile[];
}

/** Counted up while it goes. */
interface Drive {
  readonly folder: string;
  readonly copied: { files: number; bytes: number };
  readonly there: { files: number; bytes: number };
  readonly manifests: string[];
  readonly findings: Finding[];
  /** What it cannot be used for any more ends it. */
  stopped: boolean;
}

/** Throws FindingError (exit 2) for what is no delivery, no drive, or at work. */
export async function deliver(request: DeliverRequest): Promise<Delivered> {
  const { delivery } = request;
  await mustBeFolder(delivery, 'a delivery');
  const drives = await drivesOf(request);
  const place = await stateOfPlace(deliveryPlace(delivery));
  if (place.state !== 'free')
    throw new FindingError([finding('delivery-in-use', 'a run is at work', 'no run', { file: delivery })], 2);
  const findings: Finding[] = [];
  const days = await daysToHand(delivery, findings);
  if (days.length === 0 && !findings.some(blocks))
    findings.push(
      finding('handover-nothing-ready', '0 rolls', 'at least one ready roll', { file: delivery }),
    );
  // Nothing is copied of a delivery of which something is not as it should be: a person looks at that first.
  if (!findings.some(blocks)) {
    for (const drive of drives) await lookAtRoom(drive, days);
    let done = 0;
    const of = days.reduce((sum, { files }) => sum + bytesOf(files), 0);
    for (const day of days)
      await handDay(day, drives, {
        signal: request.signal,
        onFile: ({ bytes, path }) => {
          done += bytes;
          request.onProgress?.({ bytes: done, of, path });
        },
        onBytes: (read, { path }) => request.onProgress?.({ bytes: done + read, of, path }),
      });
  }
  const handed = drives.map((drive): DriveHanded => {
    const { folder, copied, there, manifests, findings: own } = drive;
    const held = own.some(blocks) || findings.some(blocks);
    return { folder, verdict: held ? 'held' : 'handed-over', copied, there, manifests, findings: own };
  });
  return {
    verdict: handed.every(({ verdict }) => verdict === 'handed-over') ? 'handed-over' : 'held',
    days: days.map(({ name, day, files }) => ({
      day: name,
      rolls: handedOver(day).map(({ roll }) => roll),
      held: day.rolls.filter((roll) => !handedOver(day).includes(roll)).map(({ roll }) => roll),
      files: files.length,
      bytes: bytesOf(files),
    })),
    drives: handed,
    findings,
  };
}

const bytesOf = (files: readonly HandedFile[]): number => files.reduce((sum, { bytes }) => sum + bytes, 0);

async function mustBeFolder(folder: string, what: string): Promise<void> {
  let isFolder: boolean;
  try {
    isFolder = (await stat(fsPath(folder))).isDirectory();
  } catch (error) {
    if (codeOf(error) === '') throw error;
    isFolder = false;
  }
  if (!isFolder)
    throw new FindingError([finding('folder-missing', 'no folder there', what, { file: folder })], 2);
}

async function drivesOf({ delivery, drives }: DeliverRequest): Promise<Drive[]> {
  const inside = (a: string, b: string): boolean => {
    const path = relative(a, b);
    return path === '' || (!path.startsWith(`..${sep}`) && path !== '..');
  };
  const seen: string[] = [];
  for (const drive of drives) {
    // A drive that is not mounted is often an empty name: nothing is made where it should be.
    await mustBeFolder(drive, 'the folder of a drive that is mounted');
    const other = [delivery, ...seen].find((one) => inside(one, drive) || inside(drive, one));
    if (other !== undefined)
      throw new FindingError(
        [finding('folders-overlap', `${drive} and ${other}`, 'folders beside each other', { file: drive })],
        2,
      );
    seen.push(resolve(drive));
  }
  return seen.map((folder) => ({
    folder,
    copied: { files: 0, bytes: 0 },
    there: { files: 0, bytes: 0 },
    manifests: [],
    findings: [],
    stopped: false,
  }));
}

async function daysToHand(delivery: string, findings: Finding[]): Promise<DayToHand[]> {
  const days: DayToHand[] = [];
  for (const name of await daysOf(delivery)) {
    const folder = layout.dayFolder(delivery, name);
    const day = await readDay(folder);
    for (const { roll, findings: own } of day.rolls.filter((one) => !handedOver(day).includes(one)))
      findings.push(
        finding('handover-roll-left', `held, ${own.filter(blocks).length} findings`, 'a roll that is ready', {
          roll,
        }),
      );
    if (handedOver(day).length === 0) continue;
    const audited = (await auditHandover(folder)).map((item) => ({
      ...item,
      // Without a handover nothing says what is to be handed over.
      ...(item.code === 'handover-absent' ? { code: 'handover-outdated' } : {}),
      file: join(name, item.file ?? ''),
    }));
    append(findings, audited);
    if (audited.some(blocks)) continue;
    const handed = await handedFiles(folder, day);
    append(findings, handed.findings);
    days.push({ folder, name, day, files: handed.files });
  }
  return days;
}

/** What stands there with the right size is not counted: whether it is the same is read when it comes to it. */
async function lookAtRoom(drive: Drive, days: readonly DayToHand[]): Promise<void> {
  let needed = 0;
  for (const { name, files } of days)
    for (const { path, bytes } of files) {
      const there = await lstat(fsPath(join(drive.folder, name, path))).catch(() => null);
      if (there === null || there.size !== bytes) needed += bytes;
    }
  const { freeBytes } = await roomOn(drive.folder);
  if (needed <= freeBytes) return;
  drive.stopped = true;
  drive.findings.push(
    finding(
      'handover-drive-full',
      `${bytesText(freeBytes)} free`,
      `${bytesText(needed)} for what is to be copied`,
      {
        file: drive.folder,
      },
    ),
  );
}

interface Handing {
  readonly signal: AbortSignal;
  readonly onFile: (file: HandedFile) => void;
  /** Of a file that is being copied, how much of it was read. */
  readonly onBytes: (read: number, file: HandedFile) => void;
}

async function handDay(
  day: DayToHand,
  drives: readonly Drive[],
  { signal, onFile, onBytes }: Handing,
): Promise<void> {
  const history = new Map<Drive, OnDrive[]>();
  const targets = new Map<Drive, CopyDrive>();
  for (const drive of drives) {
    const dayFolder = join(drive.folder, day.name);
    const link = await lstat(fsPath(dayFolder)).catch(() => null);
    if (link?.isSymbolicLink() === true) {
      drive.stopped = true;
      drive.findings.push(finding('link-in-delivery', printable(dayFolder), 'a folder', { file: dayFolder }));
    }
    if (drive.stopped) continue;
    targets.set(drive, { dayFolder, isOurs: await oursOnDrive(dayFolder) });
    history.set(drive, []);
  }
  for (const file of day.files) {
    signal.throwIfAborted();
    const left = [...targets].filter(([drive]) => !drive.stopped);
    if (left.length === 0) return;
    // The last file says that all before it is there.
    const whole = isLast(file, day) ? left.filter(([drive]) => !drive.findings.some(blocks)) : left;
    let read = 0;
    const results = await copyFile(
      day.folder,
      file,
      whole.map(([, target]) => target),
      {
        signal,
        onBytes: (bytes) => {
          read += bytes;
          onBytes(read, file);
        },
      },
    );
    for (const [index, [drive, target]] of whole.entries())
      await note(file, results[index] as Copied, { drive, target, history: history.get(drive) ?? [] });
    onFile(file);
  }
  for (const [drive, files] of history) {
    if (drive.stopped || drive.findings.some(blocks)) continue;
    await writeHistory(drive, join(drive.folder, day.name), files);
  }
}

const isLast = (file: HandedFile, { files }: DayToHand): boolean => file === files.at(-1);

interface Noting {
  readonly drive: Drive;
  readonly target: CopyDrive;
  readonly history: OnDrive[];
}

async function note(file: HandedFile, result: Copied, { drive, target, history }: Noting): Promise<void> {
  if (result.kind === 'refused') {
    drive.findings.push(result.found);
    // A drive that is gone or full fails again with every file.
    if (result.found.code === 'handover-copy-failed') drive.stopped = true;
    return;
  }
  const counted = result.kind === 'copied' ? drive.copied : drive.there;
  counted.files += 1;
  counted.bytes += file.bytes;
  if (isRecord(file.path)) return;
  const stats = await lstat(fsPath(join(target.dayFolder, file.path)));
  history.push({
    path: file.path,
    bytes: file.bytes,
    xxh128: result.digest.xxh128,
    modifiedAt: stats.mtime,
  });
}

async function writeHistory(drive: Drive, dayFolder: string, files: readonly OnDrive[]): Promise<void> {
  try {
    const written = await writeDriveHistory(dayFolder, files);
    if (written !== null) drive.manifests.push(written);
  } catch (error) {
    if (error instanceof FindingError) append(drive.findings, error.findings);
    else if (codeOf(error) === '') throw error;
    else
      drive.findings.push(
        finding(
          'handover-copy-failed',
          `${codeOf(error)}: ${(error as Error).message}`,
          'an ASC MHL history',
          {
            file: dayFolder,
          },
        ),
      );
  }
}
