/** How each day of a delivery was made: from the record beside its pages, or from the reports of its clips. */
import { join } from 'node:path';
import { layout } from '../../ledger/layout.ts';
import { type ClipReport, clipReportSchema } from '../../ledger/report.ts';
import { type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import { pageLayout } from '../layout.ts';
import { foldersIn } from '../read-day.ts';
import { tenthsOf } from '../words.ts';
import { type DayMade, dayMadeSchema, type MadeItem, madeOf } from './made.ts';

/** As it was kept, or as the reports say where it was not. */
export async function madeOnRecord(dayFolder: string): Promise<DayMade> {
  const read = await readRecord(pageLayout.made(dayFolder), dayMadeSchema);
  return read.state === 'read' ? read.value : await madeByReports(dayFolder);
}

/** Of what was published; a report that cannot be read is named by the day's own page. */
export async function madeByReports(dayFolder: string): Promise<DayMade> {
  const items: MadeItem[] = [];
  const verdicts: RollVerdict[] = [];
  let tenths = 0;
  for (const folder of await foldersIn(dayFolder)) {
    const rollFolder = join(dayFolder, folder);
    const read = await readRecord(layout.verdict(rollFolder), rollVerdictSchema);
    if (read.state !== 'read') continue;
    verdicts.push(read.value);
    for (const { clip } of read.value.clips) {
      const report = await readRecord(layout.clipReport(rollFolder, clip.id), clipReportSchema);
      if (report.state !== 'read') continue;
      const video = report.value.facts?.video;
      if (video !== undefined) tenths += tenthsOf(video.frames, video.rate);
      items.push(...itemsOf(read.value, clip.id, report.value));
    }
  }
  const [first] = verdicts;
  return madeOf({
    day: first?.day ?? '',
    rolls: verdicts.length,
    ready: verdicts.filter(({ verdict }) => verdict === 'ready').length,
    clips: verdicts.reduce((sum, { clips }) => sum + clips.length, 0),
    tenths,
    toolchains: verdicts.filter(({ clips }) => clips.length > 0).map(({ toolchain }) => toolchain),
    items,
  });
}

function itemsOf(
  verdict: RollVerdict,
  clipId: string,
  { facts, deliverables, clip }: ClipReport,
): MadeItem[] {
  const settings = verdict.clips.find((one) => one.clip.id === clipId)?.settings ?? null;
  return deliverables.flatMap(({ profile, profileHash, report }) => {
    if (report === null || report.state !== 'published') return [];
    const body = verdict.profiles.find(({ hash }) => hash === profileHash)?.profile ?? null;
    return [
      {
        roll: verdict.roll,
        clip: clip.name,
        profile: { name: profile, hash: profileHash, body },
        outcome: report.outcome,
        facts,
        settings,
      },
    ];
  });
}
