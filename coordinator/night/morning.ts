/**
 * What a run leaves for the morning: the record of its night, and the pages that people open. Written at its beginning, so that
 * a page of an earlier run does not speak for this one, and at its end. Whatever fails here is a note: no verdict rests on it.
 */
import { append } from '../../findings/append.ts';
import { codeOf } from '../../files/error-code.ts';
import { blocks, type Finding, finding } from '../../findings/finding.ts';
import { differenceNotes } from '../../handover/consistency/differences.ts';
import { pageLayout } from '../../handover/layout.ts';
import { type NightRecord, writeNight } from '../../handover/night.ts';
import { linkOnTheWay, writeDayPages } from '../../handover/write-day.ts';
import { writeShowPage } from '../../handover/write-show.ts';
import { findingsWithPlaces, type Mounts } from '../../ledger/portable.ts';
import { folderName, layout } from '../../ledger/layout.ts';
import type { NightFolders } from '../roll/folders.ts';
import type { NightResult, RollResult } from './request.ts';
import type { Target } from './target.ts';

export interface MorningRequest {
  readonly folders: Pick<NightFolders, 'delivery' | 'dayName'>;
  readonly run: string;
  readonly target: Pick<Target, 'gone'>;
  /** ISO 8601, UTC. */
  readonly began: string;
  readonly mounts: Mounts;
}

/** The rolls that the day has, none of them decided. */
export async function beginMorning(request: MorningRequest, rolls: readonly string[]): Promise<Finding[]> {
  const night: Omit<NightRecord, 'version' | 'kind'> = {
    ...namesOf(request),
    ended: null,
    interrupted: false,
    rolls: rolls.map((roll) => ({ roll, verdict: null, recorded: false, findings: [] })),
    findings: [],
  };
  return await unlessGone(request, async () => {
    await writeNight(dayFolderOf(request), night);
    const pages = await writeDayPages({ ...placeOf(request), runAtWork: request.run, pictures: false });
    return [...pages.findings];
  });
}

/** `pictures`: false when there is no time for them. */
export async function endMorning(
  request: MorningRequest,
  result: Pick<NightResult, 'rolls' | 'findings' | 'interrupted'>,
  pictures: boolean,
): Promise<{ readonly findings: readonly Finding[]; readonly page: string | null }> {
  const { rolls, findings, interrupted } = result;
  const place = pageLayout.page(dayFolderOf(request));
  let page: string | null = null;
  const found = await unlessGone(request, async () => {
    await writeNight(dayFolderOf(request), {
      ...namesOf(request),
      ended: new Date().toISOString(),
      interrupted,
      rolls: rolls
        .map(recordOf)
        .map((one) => ({ ...one, findings: findingsWithPlaces(one.findings, request.mounts) })),
      findings: findingsWithPlaces(findings, request.mounts),
    });
    const pages = await writeDayPages({ ...placeOf(request), runAtWork: null, pictures });
    const found = [...pages.findings];
    if (!found.some(({ code, file }) => code === 'page-not-written' && file === place)) page = place;
    if (pages.differences !== null)
      append(found, differenceNotes(request.folders.dayName, pages.differences));
    append(found, (await writeShowPage(request.folders.delivery)).findings);
    return found;
  });
  return { findings: found, page };
}

const namesOf = ({ folders, run, began }: MorningRequest) => ({ day: folders.dayName, run, began });

const dayFolderOf = ({ folders }: MorningRequest): string =>
  layout.dayFolder(folders.delivery, folders.dayName);

const placeOf = ({ folders }: MorningRequest) => ({
  delivery: folders.delivery,
  folder: folderName(folders.dayName),
});

const recordOf = ({ roll, verdict, record, findings }: RollResult): NightRecord['rolls'][number] => ({
  roll,
  verdict,
  recorded: record !== null,
  findings: record === null ? [...findings] : [],
});

/** Below a mount point whose volume is gone pages would lie on the wrong disk; that it is gone is said already. */
async function unlessGone(
  request: MorningRequest,
  write: () => Promise<readonly Finding[]>,
): Promise<Finding[]> {
  if ((await request.target.gone()) !== null) return [];
  const link = await linkOnTheWay(dayFolderOf(request));
  if (link !== null) return [link];
  try {
    // Whoever writes pages finds notes alone: this holds what they may do to a verdict.
    return (await write()).filter((item) => !blocks(item));
  } catch (error) {
    const found = codeOf(error) || (error instanceof Error ? error.message : String(error));
    return [finding('page-not-written', found, 'a page', { file: pageLayout.page(dayFolderOf(request)) })];
  }
}
