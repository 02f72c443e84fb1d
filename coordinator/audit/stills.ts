/** The stills of a roll, read again from their bytes: that each is whole, and says of itself what was decided. */
import { readFile } from 'node:fs/promises';
import { stillForm } from '../../check/stills/form.ts';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { placeBelow } from '../../ledger/layout.ts';
import type { RollRecords } from './records.ts';

/** What is not there, or has other bytes, the gate finds. */
export async function stillsAgain(
  folder: string,
  { verdict, stills }: Pick<RollRecords, 'verdict' | 'stills'>,
): Promise<Finding[]> {
  const findings: Finding[] = [];
  for (const { clip } of verdict.clips) {
    const report = stills.get(clip.id)?.report ?? null;
    if (report === null) continue;
    const { outcome } = report;
    for (const [at, { path, frame, timecode }] of report.stills.entries()) {
      const place = placeBelow(folder, path);
      const still = outcome.stills[at];
      const file = place === null ? null : await bytesAt(place);
      if (file === null || still === undefined) continue;
      const { wrong } = stillForm(file, { roll: verdict.roll, clip, outcome, still });
      const label = `frame ${frame}, ${timecode ?? 'no timecode'}`;
      const decided = `frame ${still.frame}, ${still.timecode ?? 'no timecode'}`;
      for (const fault of [...(label === decided ? [] : [{ found: label, expected: decided }]), ...wrong])
        findings.push(
          finding('still-form-wrong', fault.found, fault.expected, {
            roll: verdict.roll,
            clip: clip.id,
            file: path,
          }),
        );
    }
  }
  return findings;
}

async function bytesAt(path: string): Promise<Buffer | null> {
  try {
    return await readFile(fsPath(path));
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}
