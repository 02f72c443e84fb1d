/** Writes the page of the show so far: all days of a delivery together, each as it was kept beside its pages. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { fsPath } from '../files/names.ts';
import type { Finding } from '../findings/finding.ts';
import { madeOnRecord } from './consistency/read-made.ts';
import { showMadeOf } from './consistency/show.ts';
import { daysWithPages, isPull } from './days.ts';
import { HANDOVER, pageLayout, SHOW_PAGE, SHOW_STATEMENT } from './layout.ts';
import { bindPages } from './pages-statement.ts';
import { type ShowPage, showPageOf } from './page/show-page.ts';
import { tenthsText } from './words.ts';
import { writeOwn } from './write-own.ts';

/** Throws for faults of ours alone. */
export async function writeShowPage(
  delivery: string,
): Promise<{ readonly written: readonly string[]; readonly findings: readonly Finding[] }> {
  const folders = (await daysWithPages(delivery)).filter((folder) => !isPull(delivery, folder));
  const days: ShowPage['days'][number][] = [];
  const made: Awaited<ReturnType<typeof madeOnRecord>>[] = [];
  for (const folder of folders) {
    const dayFolder = join(delivery, folder);
    const day = await madeOnRecord(dayFolder);
    const named = { ...day, day: day.day === '' ? folder : day.day };
    made.push(named);
    days.push({
      day: named.day,
      ready: day.ready,
      rolls: day.rolls,
      clips: day.clips,
      length: tenthsText(day.tenths),
      page: existsSync(fsPath(pageLayout.page(dayFolder))) ? `${folder}/${HANDOVER}/morning.html` : null,
    });
  }
  const place = join(delivery, SHOW_PAGE);
  const { written, finding } = await writeOwn(
    place,
    Buffer.from(showPageOf({ made: showMadeOf(made), days })),
  );
  const unbound = await bindPages({
    place: join(delivery, SHOW_STATEMENT),
    folder: delivery,
    names: finding === null ? [SHOW_PAGE] : [],
    keeps: () => false,
    predicate: { of: 'show', day: null, rolls: [] },
  });
  return {
    written: written ? [place] : [],
    findings: [finding, unbound].flatMap((one) => one ?? []),
  };
}
