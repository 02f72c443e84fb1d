/** What a roll's records say differently from each other, from what the night's own decisions give, and from what was measured now. Pure. */
import { append } from '../../findings/append.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { decideRoll } from '../gate/decide.ts';
import { type DeliverableOnDisk, deliverableKey } from '../gate/input.ts';
import { type Difference, differences } from '../records/differences.ts';
import { gateInputOf, type RollRecords } from './records.ts';

/** How many differences of one record are written out. */
const WRITTEN_OUT = 12;

function reported(record: string, list: readonly Difference[], subject: FindingSubject): Finding[] {
  const lines = list
    .slice(0, WRITTEN_OUT)
    .map(({ path, found, expected }) =>
      finding('record-mismatch', `${record}: ${path} ${found}`, `${path} ${expected}`, subject),
    );
  return list.length > WRITTEN_OUT
    ? [
        ...lines,
        finding(
          'record-mismatch',
          `${record}: ${list.length - WRITTEN_OUT} more differences`,
          'none',
          subject,
        ),
      ]
    : lines;
}

/** Findings add up when a roll is judged again, and the verdict as a whole is reported on its own. */
const LATER = new Set(['decidedAt', 'findings']);

/** roll.json and the clip reports against what the gate writes for these deliverable reports. */
export function againstReports(records: RollRecords): Finding[] {
  const { verdict, clipReports } = records;
  const remeasured = decideRoll(gateInputOf(records, verdict.findings));
  const { verdict: _, ...recorded } = verdict;
  const { verdict: __, ...decided } = remeasured.verdict;
  const list = reported('roll.json', differences(recorded, decided, LATER), { roll: verdict.roll });
  for (const report of remeasured.clipReports) {
    const existing = clipReports.get(report.clip.id);
    if (existing !== undefined)
      append(
        list,
        reported('clip report', differences(existing, report, LATER), {
          roll: verdict.roll,
          clip: report.clip.id,
        }),
      );
  }
  return list;
}

/** What had to come out, decided again from the clip's facts and the profile. An estimate of size binds nobody. */
export function againstOutcomes({ verdict, profiles, clipReports, onDisk }: RollRecords): Finding[] {
  const { day, roll } = verdict;
  const list: Finding[] = [];
  for (const { clip } of verdict.clips) {
    const facts = clipReports.get(clip.id)?.facts ?? null;
    for (const { profile } of profiles) {
      const report = onDisk.get(deliverableKey(clip.id, profile.name))?.report ?? null;
      if (facts === null || report === null || report.state === 'failed') continue;
      const subject = { roll, clip: clip.id, profile: profile.name };
      const { outcome } = decideOutcome({ day, roll, clip, facts, profile });
      append(
        list,
        reported(
          'deliverable report',
          differences({ outcome: report.outcome }, { outcome }, new Set(['estimatedBytes', 'bytesRange'])),
          subject,
        ),
      );
    }
  }
  return list;
}

/**
 * Reports against a second measurement. Its verdicts count by whatever tools; its words and values only where the tools
 * are those of the night, since others may write the same differently.
 */
export function againstMeasurement(
  records: RollRecords,
  measured: ReadonlyMap<string, DeliverableOnDisk>,
  toolchain: Toolchain,
): Finding[] {
  const { verdict } = records;
  const sameTools =
    toolchain.digest === verdict.toolchain.digest && toolchain.rushlight === verdict.toolchain.rushlight;
  const list: Finding[] = [];
  for (const { clip } of verdict.clips) {
    for (const { name } of verdict.profiles) {
      const disk = measured.get(deliverableKey(clip.id, name));
      if (disk?.report === null || disk?.report === undefined || disk.remeasured === undefined) continue;
      const { remeasured, report } = disk;
      const seen = new Map(remeasured.checks.map((result) => [result.check, result]));
      const pairs = report.checks.flatMap((result) => {
        const now = seen.get(result.check);
        return now === undefined
          ? []
          : [
              {
                before: sameTools ? result : { check: result.check, status: result.status },
                now: sameTools ? now : { check: now.check, status: now.status },
              },
            ];
      });
      const facts = sameTools ? differences({ facts: report.facts }, { facts: remeasured.facts }) : [];
      append(
        list,
        reported(
          'deliverable report',
          [
            ...differences(
              { checks: pairs.map((pair) => pair.before) },
              { checks: pairs.map((pair) => pair.now) },
            ),
            ...facts,
          ],
          { roll: verdict.roll, clip: clip.id, profile: name },
        ),
      );
    }
  }
  return list;
}
