/**
 * One roll of a delivery, measured again:
 *
 *   1. the records are read and held against each other, and against what the gate writes for such reports
 *   2. every deliverable is measured from its bytes, and held against its report
 *   3. the statement is held against all of this, and its signatures against the keys that were named
 *   4. the gate decides by the rule of the night, on the records and the new measurement together
 */
import { append } from '../../findings/append.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { folderName, layout } from '../../ledger/layout.ts';
import { statementOf } from '../../ledger/provenance/build.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import { decideRoll } from '../gate/decide.ts';
import { contentCodes, deliveryContents } from '../gate/delivery-contents.ts';
import { auditStatement } from '../provenance/audit.ts';
import { partsOf } from '../provenance/parts.ts';
import { againstMeasurement, againstOutcomes, againstReports } from './compare.ts';
import type { AuditRequest, RollAudit, Signable } from './request.ts';
import { measureAgain } from './measure.ts';
import { stillsAgain } from './stills.ts';
import { clipsDue, gateInputOf, readRecords } from './records.ts';

interface Place {
  readonly day: string;
  readonly roll: string;
  readonly folder: string;
}

/** `signable` null: there is no record to speak of. */
export async function auditRoll(
  place: Place,
  request: AuditRequest,
): Promise<{ audit: RollAudit; signable: Signable | null }> {
  const { day, roll, folder } = place;
  const read = await readRecord(layout.verdict(folder), rollVerdictSchema);
  if (read.state !== 'read') {
    const reported =
      read.state === 'damaged'
        ? { ...read.finding, roll }
        : finding('report-absent', 'no roll.json', 'a verdict', { roll });
    return {
      audit: {
        day,
        roll,
        recorded: null,
        measured: 'held',
        deliverables: 0,
        findings: [reported],
        statement: 'absent',
        signatures: [],
      },
      signable: null,
    };
  }
  const recorded = read.value;
  const reported: Finding[] = [];
  if (folderName(recorded.day) !== day || folderName(recorded.roll) !== roll)
    reported.push(
      finding(
        'record-mismatch',
        `roll.json of ${recorded.day}/${recorded.roll}`,
        `roll.json of ${day}/${roll}`,
        { roll },
      ),
    );
  const records = await readRecords(folder, recorded);
  append(reported, records.findings);
  append(reported, againstReports(records));
  append(reported, againstOutcomes(records));

  const { onDisk, deliverables } = await measureAgain(folder, records, request);
  append(reported, againstMeasurement(records, onDisk, toolchainOf(request.tools)));
  append(reported, await stillsAgain(folder, records));
  append(
    reported,
    await deliveryContents({
      rollFolder: folder,
      roll: recorded.roll,
      clips: clipsDue(recorded),
      onDisk,
      stills: records.stills,
      otherFiles: recorded.otherFiles,
      ...(request.signal === undefined ? {} : { signal: request.signal }),
    }),
  );

  const facts = new Map([...records.clipReports].map(([clip, report]) => [clip, report.facts]));
  const expected = statementOf(
    partsOf({
      verdict: recorded,
      facts,
      clipReports: records.clipReportDigests,
      onDisk,
      stills: records.stills,
    }),
  );
  const existing = await auditStatement(folder, recorded, expected, request.publicKeys ?? []);
  append(reported, existing.findings);

  // What lies there was looked at again: of that the new word counts.
  const earlierFindings = recorded.findings.filter(({ code }) => !contentCodes.has(code));
  const { verdict } = decideRoll({ ...gateInputOf(records, [...earlierFindings, ...reported]), onDisk });
  const measured = verdict.verdict;
  const findings =
    measured === recorded.verdict
      ? verdict.findings
      : [
          ...verdict.findings,
          finding('verdict-differs', `${measured}, measured now`, `${recorded.verdict}, as roll.json says`, {
            roll,
          }),
        ];
  return {
    audit: {
      day,
      roll,
      recorded: recorded.verdict,
      measured,
      deliverables,
      findings,
      statement: existing.state,
      signatures: existing.signatures,
    },
    signable: { folder, existing, expected },
  };
}
