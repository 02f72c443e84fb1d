/**
 * A pull, looked at again: its copy of the cut is read and followed once more to the clips that its record has, and what comes of it is held against the record, and
 * the record against the rolls beside it. So neither a range nor a frame can be changed alone.
 */
import { join } from 'node:path';
import { type Finding, finding } from '../../findings/finding.ts';
import { readCut } from '../../handover/cut/read.ts';
import { layout } from '../../ledger/layout.ts';
import { clipReportSchema, deliverableReportSchema } from '../../ledger/report.ts';
import { type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import { type ClipFacts, earlierField } from '../../media/facts.ts';
import { sameRatio } from '../../media/time/rate.ts';
import { addFrames, sameTimecode } from '../../media/time/timecode.ts';
import { isMasterOutcome } from '../../profiles/outcome/any.ts';
import { stretchId } from '../pull/clips.ts';
import type { PullClip, PullRange, PullRecord } from '../pull/form.ts';
import { PULL_RECORD } from '../../handover/layout.ts';
import { readKeptCut, readPull } from '../pull/record.ts';
import { resolvePull } from '../pull/resolve.ts';

/** `rolls`: folders of the day's rolls. Of a day that is no pull nothing is found. */
export async function auditPull(dayFolder: string, rolls: readonly string[]): Promise<Finding[]> {
  const verdicts = await verdictsOf(dayFolder, rolls);
  const read = await readPull(dayFolder);
  if (read.state === 'damaged') return [{ ...read.finding, file: PULL_RECORD }];
  if (read.state === 'absent')
    return verdicts.some(({ verdict }) => verdict.clips.some(({ clip }) => clip.stretch !== undefined))
      ? [
          finding('pull-record-absent', `no ${PULL_RECORD}`, 'the record of the pull that these rolls are', {
            file: PULL_RECORD,
          }),
        ]
      : [];
  const record = read.value;
  const cut = await readKeptCut(dayFolder, record);
  if (cut === null)
    return [
      finding('pull-record-absent', `no ${record.cut.kept} of that SHA-256`, `SHA-256 ${record.cut.sha256}`, {
        file: record.cut.kept,
      }),
    ];
  const again = resolvePull({
    cut: readCut(cut),
    clips: record.clips,
    unread: [],
    handles: record.handles,
    rate: record.rate,
    file: record.cut.kept,
  });
  return [
    ...again.findings,
    ...differing('range', again.ranges.map(rangeText), record.ranges.map(rangeText), 'by the cut'),
    ...(await againstRolls(record, verdicts)),
  ];
}

interface RollOfPull {
  readonly folder: string;
  readonly verdict: RollVerdict;
}

async function verdictsOf(dayFolder: string, rolls: readonly string[]): Promise<RollOfPull[]> {
  const found: RollOfPull[] = [];
  for (const roll of rolls) {
    const folder = join(dayFolder, roll);
    const read = await readRecord(layout.verdict(folder), rollVerdictSchema);
    // What is wrong with it is found where the roll is audited.
    if (read.state === 'read') found.push({ folder, verdict: read.value });
  }
  return found;
}

const rangeText = (range: PullRange): string => `${range.roll}/${stretchId(range)}`;

/** What is in one of two lists alone. */
function differing(what: string, wanted: readonly string[], there: readonly string[], by: string): Finding[] {
  const about = { file: PULL_RECORD };
  return [
    ...wanted
      .filter((text) => !there.includes(text))
      .map((text) => finding('pull-record-differs', `no ${what} ${text}`, `a ${what} ${text}, ${by}`, about)),
    ...there
      .filter((text) => !wanted.includes(text))
      .map((text) => finding('pull-record-differs', `a ${what} ${text}`, `no such ${what}, ${by}`, about)),
  ];
}

async function againstRolls(record: PullRecord, rolls: readonly RollOfPull[]): Promise<Finding[]> {
  const there = rolls.flatMap(({ verdict }) =>
    verdict.clips.map(({ clip }) =>
      clip.stretch === undefined ? `${verdict.roll}/${clip.id}, all of it` : `${verdict.roll}/${clip.id}`,
    ),
  );
  const findings = differing('clip', record.ranges.map(rangeText), there, 'by the record of the pull');
  for (const { folder, verdict } of rolls)
    for (const { clip, deliverables } of verdict.clips) {
      const range = record.ranges.find((one) => one.roll === verdict.roll && stretchId(one) === clip.id);
      const of = record.clips.find((one) => one.roll === range?.roll && one.clip === range.clip);
      if (of === undefined) continue;
      const report = await readRecord(layout.clipReport(folder, clip.id), clipReportSchema);
      const video = report.state === 'read' ? (report.value.facts?.video ?? null) : null;
      const wrong = video === null ? null : againstFacts(video, of);
      if (wrong !== null) findings.push({ ...wrong, roll: verdict.roll, clip: clip.id });
      for (const { profile } of deliverables) {
        const wrong = await againstReport(layout.deliverableReport(folder, clip.id, profile), of);
        if (wrong !== null) findings.push({ ...wrong, roll: verdict.roll, clip: clip.id, profile });
      }
    }
  return findings;
}

/** Whether it is of fields, which says what a cut counts: by what was measured of the source. */
function againstFacts(
  video: ClipFacts['video'],
  { rate, fields = false, slowed = false }: PullClip,
): Finding | null {
  const isOfFields = earlierField(video) !== null;
  const isSlowed = isOfFields && !sameRatio(rate, video.rate);
  const text = (ofFields: boolean, played: boolean): string =>
    `a clip of ${ofFields ? 'fields' : 'whole frames'}${played ? ' that is played at another rate than it was recorded at' : ''}`;
  return isOfFields === fields && isSlowed === slowed
    ? null
    : finding(
        'pull-record-differs',
        `${text(fields, slowed)}, in the record of the pull`,
        `${text(isOfFields, isSlowed)}, as measured`,
        { file: PULL_RECORD },
      );
}

/** Length, rate and first label of the clip, as its master was decided. */
async function againstReport(path: string, { frames, start, rate }: PullClip): Promise<Finding | null> {
  const read = await readRecord(path, deliverableReportSchema);
  if (read.state !== 'read' || !isMasterOutcome(read.value.outcome)) return null;
  const { stretch, timecode, rate: played } = read.value.outcome;
  if (stretch === null) return null;
  const isSame =
    stretch.of === frames &&
    sameTimecode(addFrames(timecode, -stretch.start), start) &&
    sameRatio(rate, played);
  if (isSame) return null;
  return finding(
    'pull-record-differs',
    'a clip of another length, rate or timecode in the record of the pull',
    'the length, the rate and the timecode that the master was decided by',
    { file: PULL_RECORD },
  );
}
