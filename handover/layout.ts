/** Where a handover lies in a day of a delivery, and what people open of it. The only place that builds these names. */
import { join } from 'node:path';
import { collisionKey } from '../files/safe-names.ts';
import { folderName } from '../ledger/layout.ts';

export const HANDOVER = 'handover';
/** In the delivery's own folder, and the statement that names it. */
export const SHOW_PAGE = 'show.html';
export const SHOW_STATEMENT = 'show.json';

export const handoverLayout = {
  bin: 'bin.otio',
  timeline: 'timeline.otio',
  log: 'log.csv',
  checksums: 'checksums.sha256',
  statement: 'statement.json',
  rollBin: (folder: string): string => `${folder}/${folder}.otio`,
  edl: (folder: string, counting: string): string => `${folder}/${folder}.${counting}.edl`,
  amf: (folder: string, clipId: string): string => `${folder}/${clipId}.amf`,
} as const;

/** A roll of that name would lie where the handover of its day does. */
export const isHandoverName = (folder: string): boolean => collisionKey(folder) === collisionKey(HANDOVER);

/** Of a pull, in its own folder beside those of days. */
export const PULL_RECORD = 'pull.json';
export const keptCut = (form: 'edl' | 'otio'): string => `pull.${form}`;

const PAGE = 'morning.html';
const NIGHT = 'night.json';
const MADE = 'made.json';
const PAGES = 'pages.json';
const SHEETS = 'sheets';

/** Of `<delivery>/<day>`. What speaks of held rolls as well, and is therefore named by a statement of its own. */
export const pageLayout = {
  page: (dayFolder: string): string => join(dayFolder, HANDOVER, PAGE),
  night: (dayFolder: string): string => join(dayFolder, HANDOVER, NIGHT),
  made: (dayFolder: string): string => join(dayFolder, HANDOVER, MADE),
  statement: (dayFolder: string): string => join(dayFolder, HANDOVER, PAGES),
  sheets: (dayFolder: string): string => join(dayFolder, HANDOVER, SHEETS),
  /** From the page's folder. `sheet`: from 1. */
  sheet: (roll: string, sheet: number): string =>
    `${SHEETS}/${folderName(roll)}${sheet === 1 ? '' : `-${sheet}`}.jpg`,
} as const;

/** Below the handover's folder: whether a run or `page` writes it there. */
export const isPageFile = (path: string): boolean =>
  path === PAGES || isBoundPage(path) || (path.startsWith(`${SHEETS}/`) && path.endsWith('.jpg'));

/** Pages and their records, which the statement of the pages names; sheets are named as well. */
export const boundPages = [PAGE, NIGHT, MADE] as const;
const isBoundPage = (path: string): boolean => boundPages.some((name) => name === path);
export const isSheet = (path: string): boolean => path.startsWith(`${SHEETS}/`);
