/** Files in the profiles' folders that no record lists, and reports of clips that roll.json does not list. */
import { codeOf } from '../../files/error-code.ts';
import { readdir } from 'node:fs/promises';
import { basename } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import { layout, STAGING_PREFIX } from '../../ledger/layout.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import { unfinishedBelow } from '../../ledger/unfinished.ts';
import { nameFromBytes } from '../../files/names.ts';

/** A roll's folder lies so many folders below the delivery. */
const ROLL_DEPTH = 2;

export async function unlistedFiles(rollFolder: string, recorded: RollVerdict): Promise<Finding[]> {
  const listed = new Set(
    recorded.clips.flatMap((clip) =>
      clip.deliverables.flatMap((made) => (made.file === null ? [] : [made.file])),
    ),
  );
  const findings: Finding[] = [];
  for (const { name: profile } of recorded.profiles) {
    for (const name of await namesIn(layout.profileFolder(rollFolder, profile))) {
      const path = `${profile}/${name}`;
      if (listed.has(path)) continue;
      const subject = { roll: recorded.roll, profile, file: path };
      if (!name.startsWith(STAGING_PREFIX))
        findings.push(finding('file-not-listed', name, 'listed files only', subject));
    }
  }
  // Of every profile that ever was, and of the records.
  for (const path of await unfinishedBelow(rollFolder, ROLL_DEPTH))
    findings.push(
      finding('staging-left', basename(path), 'published files only', {
        roll: recorded.roll,
        file: path.slice(rollFolder.length + 1),
      }),
    );
  const reports = new Set(recorded.clips.map(({ clip }) => basename(layout.clipReport(rollFolder, clip.id))));
  for (const name of await namesIn(layout.reportsFolder(rollFolder))) {
    if (name.endsWith('.json') && !name.startsWith(STAGING_PREFIX) && !reports.has(name))
      findings.push(
        finding('record-mismatch', `a clip report ${name}`, 'roll.json: no such clip', {
          roll: recorded.roll,
          file: `reports/${name}`,
        }),
      );
  }
  return findings;
}

async function namesIn(folder: string): Promise<string[]> {
  try {
    return (await readdir(folder, { encoding: 'buffer' })).map(nameFromBytes).sort();
  } catch (error) {
    // A roll of which nothing was made has no such folder; that its files are absent is found by the list.
    if (codeOf(error) === 'ENOENT') return [];
    throw error;
  }
}
