/** Where what is handed over lies in a delivery. */
import { join } from 'node:path';
import { folderName } from '../ledger/layout.ts';

export const HANDOVER = 'handover';
export const SHOW_PAGE = 'show.html';

/** `dayFolder`: <delivery>/<day>. */
export const handoverFolder = (dayFolder: string): string => join(dayFolder, HANDOVER);

export const morningPage = (dayFolder: string): string => join(handoverFolder(dayFolder), 'morning.html');

/** Below the handover folder. `sheet`: from 1. */
export const sheetPath = (roll: string, sheet: number): string =>
  `sheets/${folderName(roll)}${sheet === 1 ? '' : `-${sheet}`}.jpg`;
