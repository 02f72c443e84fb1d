/** Symbolic links where a folder or record of ours should be in a delivery: what is written through one lies somewhere else, and is not in the copy of the delivery that is handed on. */
import { lstat, readlink } from 'node:fs/promises';
import { dirname, join, relative } from 'node:path';
import { codeOf } from '../files/error-code.ts';
import { fsPath, printable } from '../files/names.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { JOB_PARTS_NAME, layout } from './layout.ts';

/** Folders below `reports` that a run makes. */
const REPORT_FOLDERS = [
  'deliverables',
  'fingerprints',
  'sketches',
  'samples',
  'checksums',
  'transforms',
  'stills',
  JOB_PARTS_NAME,
] as const;

/** What a verdict is written through: days and rolls, their reports, and the records beside them. */
const recordPlaces = (rollFolder: string): string[] => [
  dirname(rollFolder),
  rollFolder,
  layout.reportsFolder(rollFolder),
  ...REPORT_FOLDERS.map((name) => join(layout.reportsFolder(rollFolder), name)),
  layout.verdict(rollFolder),
  layout.statement(rollFolder),
  layout.envelope(rollFolder),
];

/** null: it is no link, or there is nothing. */
export async function linkAt(path: string): Promise<string | null> {
  try {
    if (!(await lstat(fsPath(path))).isSymbolicLink()) return null;
    return await readlink(fsPath(path));
  } catch (error) {
    if (codeOf(error) === '') throw error;
    // What cannot be looked at is reported by whoever writes or reads there.
    return null;
  }
}

export function linkFinding(target: string, file: string, roll?: string): Finding {
  return finding('link-in-delivery', `a link to ${printable(target)}`, 'the folder or file itself', {
    ...(roll === undefined ? {} : { roll }),
    file,
  });
}

async function linksAmong(places: readonly string[], rollFolder: string, roll: string): Promise<Finding[]> {
  const found: Finding[] = [];
  for (const place of places) {
    const target = await linkAt(place);
    if (target !== null) found.push(linkFinding(target, relative(dirname(rollFolder), place) || place, roll));
  }
  return found;
}

/** Where records would go through a link. */
export const linksToRecords = (rollFolder: string, roll: string): Promise<Finding[]> =>
  linksAmong(recordPlaces(rollFolder), rollFolder, roll);

/** Where a deliverable would. */
export const linksToProfiles = (
  rollFolder: string,
  roll: string,
  profiles: readonly string[],
): Promise<Finding[]> =>
  linksAmong(
    profiles.map((name) => layout.profileFolder(rollFolder, name)),
    rollFolder,
    roll,
  );
