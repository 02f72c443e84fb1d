/**
 * Writes what people open of a day: contact sheets and the morning page, from the records of the delivery alone. Whatever goes
 * wrong here is a note: the verdicts do not rest on it.
 */
import { isPull } from './days.ts';
import { join } from 'node:path';
import { codeOf } from '../files/error-code.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { linkAt } from '../ledger/delivery-links.ts';
import { layout } from '../ledger/layout.ts';
import { readRecord, recordBytes, writeWhole } from '../ledger/store.ts';
import { dayBefore, type DayDifferences, differencesOf } from './consistency/differences.ts';
import { type DayMade, dayMadeSchema } from './consistency/made.ts';
import { madeByReports, madeOnRecord } from './consistency/read-made.ts';
import type { Day, DayRoll } from './day.ts';
import { boundPages, HANDOVER, isSheet, pageLayout } from './layout.ts';
import { type NightRecord, readNight } from './night.ts';
import { morningPageOf } from './page/morning-page.ts';
import { type Morning, type NightState, type PagePicture, pictureKey } from './page/morning.ts';
import { boxFor, packed } from './page/room.ts';
import { bindPages } from './pages-statement.ts';
import { type ClipPictures, picturesOf } from './picture/day-pictures.ts';
import { jpegOf } from './picture/jpeg.ts';
import type { Picture } from './picture/picture.ts';
import { daysOf, readDay } from './read-day.ts';
import { CLIPS_OF_A_SHEET, type SheetClip, sheetPicture } from './sheet/sheet.ts';
import { clipLengthText, startText } from './words.ts';
import { OUR_MARK, removeOwn, writeOwn } from './write-own.ts';

export interface DayPagesRequest {
  readonly delivery: string;
  /** Name of the day's folder in the delivery. */
  readonly folder: string;
  /** Name of the run that is at work on the delivery; null: none is. */
  readonly runAtWork: string | null;
  /** false: a page without pictures, and no contact sheets: for a run that has only begun. */
  readonly pictures: boolean;
}

export interface PagesWritten {
  /** Paths of what changed. */
  readonly written: readonly string[];
  readonly findings: readonly Finding[];
  readonly differences: DayDifferences | null;
}

const SHEET_QUALITY = 88;

/** Throws for faults of ours alone: whoever calls it turns them into a note too. */
export async function writeDayPages(request: DayPagesRequest): Promise<PagesWritten> {
  const dayFolder = join(request.delivery, request.folder);
  const blocked = await linkOnTheWay(dayFolder);
  if (blocked !== null) return { written: [], findings: [blocked], differences: null };
  const day = await readDay(dayFolder);
  const pictures = await picturesOfDay(dayFolder, day, request.pictures);
  const differences = await differencesOfDay(request.delivery, request.folder);
  const night = await readNight(dayFolder);
  const record = night.state === 'read' ? night.value : null;
  const damage = night.state === 'damaged' ? [night.finding] : [];
  const page = morningPageOf({
    ...nightOf(day, record, request.runAtWork),
    day,
    findings: [...(record?.findings ?? []), ...damage],
    pictures: pictures.page,
    withoutPictures: pictures.without,
    sheets: pictures.sheets,
    differences,
  });
  const { written, finding: refused } = await writeOwn(pageLayout.page(dayFolder), Buffer.from(page));
  const unbound = await bindPages({
    place: pageLayout.statement(dayFolder),
    folder: join(dayFolder, HANDOVER),
    // What is somebody's is not named: a file that was refused stays as it is, and the audit finds it.
    names: [
      ...boundPages.filter((name) => refused === null || join(dayFolder, HANDOVER, name) !== refused.file),
      ...[...pictures.sheets.values()].flat(),
    ],
    keeps: (name) => !request.pictures && isSheet(name),
    predicate: { of: 'day', day: day.day, rolls: day.rolls },
  });
  return {
    written: [...pictures.written, ...(written ? [pageLayout.page(dayFolder)] : [])],
    findings: [...pictures.findings, ...[refused, unbound].flatMap((one) => one ?? [])],
    differences,
  };
}

/** null: what is written for the day lies in the delivery itself. */
export async function linkOnTheWay(dayFolder: string): Promise<Finding | null> {
  for (const place of [dayFolder, join(dayFolder, HANDOVER), pageLayout.sheets(dayFolder)])
    if ((await linkAt(place)) !== null)
      return finding('page-not-written', 'a symbolic link', 'the folder itself', { file: place });
  return null;
}

/** A run that began and did not end is at work only where the delivery's lease says so. */
function stateOf(record: NightRecord | null, runAtWork: string | null): NightState {
  if (record === null) return { kind: 'unrecorded' };
  const { began, ended, interrupted, run } = record;
  if (ended === null) return { kind: run === runAtWork ? 'running' : 'unfinished', began };
  return { kind: interrupted ? 'interrupted' : 'ended', began, ended };
}

function nightOf(
  day: Day,
  record: NightRecord | null,
  runAtWork: string | null,
): Pick<Morning, 'state' | 'unrecorded'> {
  const known = new Set(day.rolls.map(({ roll }) => roll));
  return {
    state: stateOf(record, runAtWork),
    unrecorded: (record?.rolls ?? [])
      .filter(({ roll }) => !known.has(roll))
      .map(({ roll, findings }) => ({ roll, findings })),
  };
}

interface DayPictures {
  readonly page: ReadonlyMap<string, PagePicture>;
  readonly without: string | null;
  readonly sheets: ReadonlyMap<string, readonly string[]>;
  readonly written: readonly string[];
  readonly findings: readonly Finding[];
}

async function picturesOfDay(dayFolder: string, day: Day, wanted: boolean): Promise<DayPictures> {
  const none = { page: new Map(), sheets: new Map(), written: [], findings: [] };
  if (!wanted) return { ...none, without: 'Pictures are added when the run ends.' };
  const box = boxFor(day.rolls.reduce((sum, { clips }) => sum + clips.length, 0));
  const small: { readonly key: string; readonly timecode: string | null; readonly picture: Picture }[] = [];
  const sheets = new Map<string, readonly string[]>();
  const written: string[] = [];
  const findings: Finding[] = [];
  for (const roll of day.rolls) {
    const pictures = new Map<string, ClipPictures>();
    for (const clip of roll.clips) {
      const found = await picturesOf(dayFolder, clip, box);
      if (found === null) continue;
      if ('code' in found) {
        findings.push(found);
        continue;
      }
      pictures.set(clip.id, found);
      if (found.page !== null)
        small.push({
          key: pictureKey(roll.roll, clip.id),
          timecode: found.still.timecode,
          picture: found.page,
        });
    }
    const made = await writeSheets(dayFolder, day, roll, pictures);
    written.push(...made.written);
    findings.push(...made.findings);
    sheets.set(roll.roll, made.paths);
  }
  const files = box === null ? null : packed(small.map(({ picture }) => picture));
  const page = new Map(
    (files ?? []).map((base64, index): [string, PagePicture] => {
      const { key, timecode, picture } = small[index] as (typeof small)[number];
      return [key, { base64, width: picture.width, height: picture.height, timecode }];
    }),
  );
  return {
    page,
    without:
      files === null
        ? 'So many clips have no room here for a picture each: they are in the contact sheets.'
        : null,
    sheets,
    written,
    findings,
  };
}

async function writeSheets(
  dayFolder: string,
  day: Day,
  roll: DayRoll,
  pictures: ReadonlyMap<string, ClipPictures>,
): Promise<{ paths: string[]; written: string[]; findings: Finding[] }> {
  const made = { paths: [] as string[], written: [] as string[], findings: [] as Finding[] };
  const clips = roll.clips.map(
    (clip): SheetClip => ({
      name: clip.name,
      start: startText(clip),
      length: clipLengthText(clip),
      verdict: clip.verdict,
      picture: pictures.get(clip.id)?.sheet ?? null,
    }),
  );
  // A roll without any still has nothing to show.
  const sheets = pictures.size === 0 ? 0 : Math.ceil(clips.length / CLIPS_OF_A_SHEET);
  const placeOf = (sheet: number): string => join(dayFolder, HANDOVER, pageLayout.sheet(roll.roll, sheet));
  for (let sheet = 1; sheet <= sheets; sheet += 1) {
    const picture = sheetPicture({
      day: day.day,
      roll: roll.roll,
      verdict: roll.verdict,
      copies: roll.copies,
      clipsOfRoll: clips.length,
      clips: clips.slice((sheet - 1) * CLIPS_OF_A_SHEET, sheet * CLIPS_OF_A_SHEET),
      sheet,
      sheets,
    });
    const { written, finding: refused } = await writeOwn(
      placeOf(sheet),
      jpegOf(picture, SHEET_QUALITY, OUR_MARK),
    );
    if (written) made.written.push(placeOf(sheet));
    if (refused === null) made.paths.push(pageLayout.sheet(roll.roll, sheet));
    else made.findings.push({ ...refused, roll: roll.roll });
  }
  // Of an earlier verdict with more clips.
  for (let sheet = sheets + 1; await removeOwn(placeOf(sheet)); sheet += 1);
  return made;
}

/** Keeps how the day was made beside its pages, too. */
async function differencesOfDay(delivery: string, folder: string): Promise<DayDifferences> {
  const dayFolder = join(delivery, folder);
  const made = await madeByReports(dayFolder);
  await keepMade(dayFolder, made);
  return await differencesFrom(delivery, folder, made);
}

async function keepMade(dayFolder: string, made: DayMade): Promise<void> {
  const bytes = recordBytes(dayMadeSchema, made);
  try {
    const before = await readRecord(pageLayout.made(dayFolder), dayMadeSchema);
    if (before.state === 'read' && before.bytes.equals(bytes)) return;
    await writeWhole(pageLayout.made(dayFolder), bytes);
  } catch (error) {
    // It is read from the reports where it is not kept, and the page itself says what cannot be written.
    if (codeOf(error) === '') throw error;
  }
}

/** `made`: of the day, as it is or as it will be. */
export async function differencesFrom(
  delivery: string,
  folder: string,
  made: DayMade,
): Promise<DayDifferences> {
  if (isPull(delivery, folder)) return { before: null, differences: [] };
  const days = (await daysOf(delivery)).filter((day) => !isPull(delivery, day));
  const before = dayBefore(days, folder);
  if (before === null) return { before: null, differences: [] };
  const earlier = await madeOnRecord(layout.dayFolder(delivery, before));
  return { before: earlier.day === '' ? before : earlier.day, differences: differencesOf(made, earlier) };
}
