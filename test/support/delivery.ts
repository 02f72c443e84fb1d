/** Reads what a night left on disk, through the same schemas as any reader. */
import { lstatSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import type { z } from 'zod';
import { layout } from '../../ledger/layout.ts';
import { clipReportSchema, type ClipReport } from '../../ledger/report.ts';
import { type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';

async function mustRead<Schema extends z.ZodType>(path: string, schema: Schema): Promise<z.output<Schema>> {
  const record = await readRecord(path, schema);
  if (record.state !== 'read') throw new Error(`${path} is ${record.state}`);
  return record.value;
}

export function readVerdict(delivery: string, day: string, roll: string): Promise<RollVerdict> {
  return mustRead(layout.verdict(layout.rollFolder(delivery, day, roll)), rollVerdictSchema);
}

export function readClipReport(
  delivery: string,
  day: string,
  roll: string,
  clipId: string,
): Promise<ClipReport> {
  return mustRead(layout.clipReport(layout.rollFolder(delivery, day, roll), clipId), clipReportSchema);
}

/** Codes of the findings of a roll's verdict, sorted, each once. */
export function codesOf(verdict: RollVerdict): string[] {
  return [...new Set(verdict.findings.map((item) => item.code))].sort();
}

/** Codes of the findings that name the clip. */
export function codesOfClip(verdict: RollVerdict, clipId: string): string[] {
  return [
    ...new Set(verdict.findings.filter((item) => item.clip === clipId).map((item) => item.code)),
  ].sort();
}

/** Everything that a write, rename or change of rights would alter; ctime tells even what puts mtime back. */
export function stateOf(folder: string): string[] {
  return ['.', ...(readdirSync(folder, { recursive: true }) as string[])].sort().map((path) => {
    const { ino, size, mode, mtimeMs, ctimeMs } = lstatSync(join(folder, path));
    return `${path} ${ino} ${size} ${mode} ${mtimeMs} ${ctimeMs}`;
  });
}

/** Every file below a folder, relative, sorted. */
export function filesBelow(folder: string): string[] {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => join(entry.parentPath, entry.name).slice(folder.length + 1))
    .sort();
}
