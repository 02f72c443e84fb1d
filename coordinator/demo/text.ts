/** What the demo says before and after the night. Pure. */
import { join } from 'node:path';
import { withCommandsAsStarted } from '../../findings/commands.ts';
import { printable } from '../../files/names.ts';
import { DAMAGED, DAY, rolls, TITLE } from './script.ts';
import type { DemoFolders } from './shoot.ts';

export const introduction = `"${TITLE}", a short film about a bell foundry that does not exist: ${DAY}, two cameras and a sound recorder, ${rolls.length} rolls on three drives.`;

export function demoText(folders: DemoFolders, unexpected: readonly string[]): string {
  if (unexpected.length > 0)
    return `The demo did not end as its script says:\n${unexpected.map((line) => `  ${line}`).join('\n')}\n`;
  const ready = rolls.filter((roll) => roll.expected === 'ready').map((roll) => roll.name);
  return [
    `${ready.join(', ')} are ready: every byte of three copies was verified, and every proxy matches its clip.`,
    `The proxies of A001C001 and A002C001 in foundry-proxy carry the mix of S001, sample by sample where it was recorded, and the camera's own sound behind it.`,
    `${DAMAGED.roll} is held: one bit of ${DAMAGED.clip} on ${DAMAGED.copy} was flipped on purpose, so no proxies of ${DAMAGED.roll} were made.`,
    '',
    `The proxies and reports are in ${printable(join(folders.delivery, DAY))}.`,
    withCommandsAsStarted(
      'A day of your own: `rushlight run <shoot day> --copy <other copy> --deliver <folder>`',
    ),
    '',
  ].join('\n');
}
