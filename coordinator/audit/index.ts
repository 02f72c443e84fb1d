/**
 * Audit: a finished delivery measured again from its bytes, without the queue and without the sources. Every deliverable
 * that a roll.json lists is hashed, decoded and checked as on the night; the records are held against each other and
 * against what stands; the verdict is computed again, by the rule that the night decided by (coordinator/gate).
 */
import { append } from '../../findings/append.ts';
import { codeOf } from '../../files/error-code.ts';
import { readdir, stat } from 'node:fs/promises';
import { basename, join, relative, sep } from 'node:path';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import { HANDOVER, SHOW_PAGE, SHOW_STATEMENT } from '../../handover/layout.ts';
import { linkAt, linkFinding } from '../../ledger/delivery-links.ts';
import { layout, OWN_PREFIX } from '../../ledger/layout.ts';
import { unfinishedBelow } from '../../ledger/unfinished.ts';
import { auditHandover } from '../../handover/audit.ts';
import { auditPages } from '../../handover/pages-statement.ts';
import { HISTORY_FOLDER } from '../../files/manifest/chain.ts';
import { fsPath, nameFromBytes, printable } from '../../files/names.ts';
import { isSystemName } from '../../files/system-files.ts';
import { pullFiles } from '../pull/record.ts';
import { auditPull } from './pull.ts';
import { auditDriveHistory } from '../handover/history-audit.ts';
import type { AuditRequest, RollAudit } from './request.ts';
import { auditRoll } from './roll.ts';

export interface AuditResult {
  readonly rolls: readonly RollAudit[];
  /** Of the delivery as a whole. */
  readonly findings: readonly Finding[];
}

async function foldersIn(folder: string): Promise<string[]> {
  const entries = await readdir(folder, { withFileTypes: true, encoding: 'buffer' });
  return entries
    .filter((entry) => entry.isDirectory())
    .map((entry) => nameFromBytes(entry.name))
    .filter((name) => !name.startsWith('.'))
    .sort();
}

/** Links to folders in which rolls of ours lie: nobody measures what lies elsewhere, and a roll must not be missing without a word. */
async function linkedIn(folder: string, isOurs: (place: string) => Promise<boolean>): Promise<Finding[]> {
  const found: Finding[] = [];
  for (const entry of await readdir(fsPath(folder), { encoding: 'buffer' })) {
    const name = nameFromBytes(entry);
    const target = await linkAt(join(folder, name));
    if (target !== null && (await isOurs(join(folder, name)))) found.push(linkFinding(target, name));
  }
  return found;
}

const isRoll = async (place: string): Promise<boolean> =>
  (await exists(layout.verdict(place))) || (await foldersThere(place)).includes('reports');

async function isDay(place: string): Promise<boolean> {
  for (const name of await foldersThere(place)) if (await isRoll(join(place, name))) return true;
  return false;
}

async function foldersThere(folder: string): Promise<string[]> {
  try {
    return await foldersIn(folder);
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return [];
  }
}

/** What lies in the folder and is neither a run's own nor what operating systems leave. */
async function foreignIn(folder: string, ours: ReadonlySet<string>): Promise<string[]> {
  return (await readdir(fsPath(folder), { encoding: 'buffer' }))
    .map(nameFromBytes)
    .filter((name) => !ours.has(name) && !name.startsWith(OWN_PREFIX) && !isSystemName(name))
    .sort();
}

async function exists(path: string): Promise<boolean> {
  try {
    return (await stat(path)).isFile();
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) return false;
    throw error;
  }
}

/** Throws FindingError (exit 2) when the folder cannot be read. */
export async function auditDelivery(request: AuditRequest): Promise<AuditResult> {
  const rolls: RollAudit[] = [];
  const beside = new FindingTally();
  const nameForeign = async (folder: string, ours: ReadonlySet<string>): Promise<void> => {
    for (const name of await foreignIn(folder, ours)) {
      const file = relative(request.delivery, join(folder, name));
      beside.add(finding('delivery-file-foreign', printable(file), 'files of a run only', { file }));
    }
  };
  const ourDays = new Set<string>();
  let days: string[];
  try {
    days = await foldersIn(request.delivery);
  } catch (error) {
    throw new FindingError(
      [
        finding('delivery-empty', codeOf(error) || String(error), 'a folder that can be read', {
          file: request.delivery,
        }),
      ],
      2,
    );
  }
  for (const day of days) {
    const ourRolls = new Set<string>();
    for (const roll of await foldersIn(layout.dayFolder(request.delivery, day))) {
      const folder = layout.rollFolder(request.delivery, day, roll);
      // A folder without reports and verdict is not of our making (the handover's, or somebody's own).
      if (!(await isRoll(folder))) continue;
      ourRolls.add(roll);
      const { audit, signable } = await auditRoll({ day, roll, folder }, request);
      rolls.push(audit);
      await request.onRoll?.(audit, signable);
    }
    const linked = await linkedIn(layout.dayFolder(request.delivery, day), isRoll);
    for (const item of linked) {
      beside.add({ ...item, file: join(day, item.file ?? '') });
      ourRolls.add(item.file ?? '');
    }
    if (ourRolls.size === 0) continue;
    ourDays.add(day);
    await nameForeign(
      layout.dayFolder(request.delivery, day),
      new Set([...ourRolls, HANDOVER, HISTORY_FOLDER, ...pullFiles]),
    );
    for (const item of await auditPull(layout.dayFolder(request.delivery, day), [...ourRolls]))
      beside.add({ ...item, file: join(day, item.file ?? '') });
    for (const item of await auditDriveHistory(layout.dayFolder(request.delivery, day)))
      beside.add({ ...item, file: join(day, item.file ?? '') });
    if (!ourRolls.has(HANDOVER))
      for (const item of await auditHandover(layout.dayFolder(request.delivery, day)))
        beside.add({ ...item, file: join(day, item.file ?? '') });
  }
  for (const item of await linkedIn(request.delivery, isDay)) {
    beside.add(item);
    ourDays.add(item.file ?? '');
  }
  for (const item of await auditPages({
    place: join(request.delivery, SHOW_STATEMENT),
    folder: request.delivery,
    there: (await exists(join(request.delivery, SHOW_PAGE))) ? [SHOW_PAGE] : [],
    rolls: [],
    below: '',
  }))
    beside.add(item);
  if (ourDays.size > 0) await nameForeign(request.delivery, new Set([...ourDays, SHOW_PAGE, SHOW_STATEMENT]));
  const findings: Finding[] =
    rolls.length === 0
      ? [
          finding('delivery-empty', 'no roll', 'at least one <day>/<roll>/roll.json', {
            file: join(request.delivery),
          }),
        ]
      : [];
  append(findings, beside.findings());
  // Beside the rolls; what lies in a roll is reported with it.
  for (const path of await unfinishedBelow(request.delivery)) {
    const file = relative(request.delivery, path);
    if (file.split(sep).length <= 2)
      findings.push(finding('staging-left', basename(path), 'published files only', { file }));
  }
  return { rolls, findings };
}
