/** Reads a day of a delivery from its records: roll.json of every roll, and the report of every clip. Nothing else is asked, and nothing is written. */
import { createHash } from 'node:crypto';
import { readdir } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { fsPath, nameFromBytes } from '../files/names.ts';
import type { Finding } from '../findings/finding.ts';
import { layout } from '../ledger/layout.ts';
import { clipReportSchema } from '../ledger/report.ts';
import { countCopies, type RollVerdict, rollVerdictSchema } from '../ledger/roll.ts';
import { readRecord } from '../ledger/store.ts';
import { statementSchema } from '../ledger/provenance/statement.ts';
import type { Day, DayClip, DayRoll } from './day.ts';
import { dayClip } from './day-clip.ts';
import { withSounds } from './sound.ts';

const sha256Of = (bytes: Buffer): string => createHash('sha256').update(bytes).digest('hex');

/** Names of its folders, without those that are hidden, in order. */
export async function foldersIn(folder: string): Promise<string[]> {
  return (await readdir(fsPath(folder), { withFileTypes: true, encoding: 'buffer' }))
    .filter((entry) => entry.isDirectory())
    .map((entry) => nameFromBytes(entry.name))
    .filter((name) => !name.startsWith('.'))
    .sort();
}

/** Days of a delivery, by their folders' names: each folder with a roll in it. */
export async function daysOf(delivery: string): Promise<string[]> {
  const days: string[] = [];
  for (const name of await foldersIn(delivery)) {
    for (const roll of await foldersIn(join(delivery, name)))
      if ((await verdictOf(join(delivery, name, roll))).state !== 'absent') {
        days.push(name);
        break;
      }
  }
  return days;
}

const verdictOf = (rollFolder: string) => readRecord(layout.verdict(rollFolder), rollVerdictSchema);

/** `dayFolder`: <delivery>/<day>. A roll whose record is damaged is held, with that finding. */
export async function readDay(dayFolder: string): Promise<Day> {
  const rolls: DayRoll[] = [];
  let day: string | null = null;
  for (const folder of await foldersIn(dayFolder)) {
    const rollFolder = join(dayFolder, folder);
    const read = await verdictOf(rollFolder);
    if (read.state === 'absent') continue;
    if (read.state === 'damaged') {
      rolls.push(damagedRoll(folder, read.finding));
      continue;
    }
    day ??= read.value.day;
    rolls.push(await readRoll(folder, rollFolder, read));
  }
  const latest = [...rolls].sort((a, b) => ((a.decidedAt ?? '') < (b.decidedAt ?? '') ? 1 : -1))[0];
  return { day: day ?? basename(dayFolder), timeZone: latest?.timeZone ?? null, rolls: withSounds(rolls) };
}

async function readRoll(
  folder: string,
  rollFolder: string,
  { value: verdict, bytes }: { readonly value: RollVerdict; readonly bytes: Buffer },
): Promise<DayRoll> {
  const clips: DayClip[] = [];
  // One after the other: reports are large, and what is kept of each is small.
  for (const entry of verdict.clips) {
    const read = await readRecord(layout.clipReport(rollFolder, entry.clip.id), clipReportSchema);
    const report = read.state === 'read' ? read.value : null;
    const clip = dayClip({ roll: verdict.roll, folder, verdict, entry, report });
    const damage =
      read.state === 'damaged' ? [{ ...read.finding, roll: verdict.roll, clip: entry.clip.id }] : [];
    clips.push(damage.length === 0 ? clip : { ...clip, findings: [...clip.findings, ...damage] });
  }
  const statement = await readRecord(layout.statement(rollFolder), statementSchema);
  const { roll, decidedAt, timeZone = null, copies, manifests, profiles, toolchain } = verdict;
  return {
    roll,
    folder,
    verdict: verdict.verdict,
    decidedAt,
    timeZone,
    copies: countCopies(copies),
    copiesRead: copies,
    manifests,
    profiles: profiles.map(({ name, hash }) => ({ name, hash })),
    toolchain,
    findings: verdict.findings,
    otherFiles: verdict.otherFiles,
    recordings: verdict.recordings ?? [],
    clips,
    records: {
      verdict: sha256Of(bytes),
      statement: statement.state === 'read' ? sha256Of(statement.bytes) : null,
    },
  };
}

function damagedRoll(folder: string, damage: Finding): DayRoll {
  return {
    roll: folder,
    folder,
    verdict: 'held',
    decidedAt: null,
    timeZone: null,
    copies: 0,
    copiesRead: [],
    manifests: [],
    profiles: [],
    toolchain: null,
    findings: [{ ...damage, roll: folder }],
    otherFiles: [],
    recordings: [],
    clips: [],
    records: { verdict: null, statement: null },
  };
}
