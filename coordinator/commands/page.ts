/** `rushlight page`: writes what people open in the morning from the records of a delivery: each day's page and contact sheets, and the page of the show. */
import { existsSync } from 'node:fs';
import { basename } from 'node:path';
import { append } from '../../findings/append.ts';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { differenceNotes } from '../../handover/consistency/differences.ts';
import { daysWithPages } from '../../handover/days.ts';
import { writeDayPages } from '../../handover/write-day.ts';
import { writeShowPage } from '../../handover/write-show.ts';
import { folderName, layout } from '../../ledger/layout.ts';
import { deliveryPlace } from '../../ledger/lease.ts';
import { stateOfPlace } from '../../ledger/lease-file.ts';
import { pageText } from '../show/page-text.ts';
import { printJson, printText } from '../show/output.ts';

export interface PageOptions {
  readonly delivery: string;
  readonly day?: string;
  readonly json?: boolean;
}

/** 0: every page is written as the records say; 1: one could not be. */
export async function pageCommand({ delivery, day, json }: PageOptions): Promise<0 | 1> {
  const folders = await foldersAsked(delivery, day);
  const atWork = await stateOfPlace(deliveryPlace(delivery));
  const runAtWork = atWork.state === 'free' ? null : (atWork.lease?.run ?? null);
  const written: string[] = [];
  const findings: Finding[] = [];
  for (const folder of folders) {
    const pages = await writeDayPages({ delivery, folder, runAtWork, pictures: true });
    written.push(...pages.written);
    append(findings, pages.findings);
    if (pages.differences !== null) append(findings, differenceNotes(folder, pages.differences));
  }
  const show = await writeShowPage(delivery);
  written.push(...show.written);
  append(findings, show.findings);
  if (json === true) printJson({ version: 0, kind: 'page', delivery, days: folders, written, findings });
  else printText(pageText({ delivery, days: folders, written, findings }));
  return findings.some(({ code }) => code === 'page-not-written') ? 1 : 0;
}

async function foldersAsked(delivery: string, day: string | undefined): Promise<string[]> {
  if (!existsSync(delivery))
    throw new FindingError([finding('folder-missing', 'nothing there', 'a delivery', { file: delivery })], 2);
  const days = await daysWithPages(delivery);
  if (day === undefined) {
    if (days.length > 0) return days;
    throw new FindingError(
      [finding('delivery-empty', 'no roll', 'at least one <day>/<roll>/roll.json', { file: delivery })],
      2,
    );
  }
  const folder = folderName(basename(day));
  if (days.includes(folder)) return [folder];
  throw new FindingError(
    [
      finding('folder-missing', 'no day of that name with a roll in it', days.join(', ') || 'a day', {
        file: layout.dayFolder(delivery, basename(day)),
      }),
    ],
    2,
  );
}
