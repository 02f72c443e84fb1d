/** Why rolls are held, from their own records: each is read again only when its file changes. */
import { stat } from 'node:fs/promises';
import { blocks } from '../../findings/finding.ts';
import { fsPath } from '../../files/names.ts';
import { layout } from '../../ledger/layout.ts';
import { rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import type { HeldSeen } from './seen.ts';

/** As many as a person reads through; what else is held is named. */
const MOST_ROLLS = 20;

export interface HeldReader {
  /** In their order. A roll whose record says nothing of it is left out. */
  read(delivery: string, day: string, rolls: readonly string[]): Promise<HeldSeen[]>;
}

export function heldReader(): HeldReader {
  const kept = new Map<string, { readonly stamp: string; readonly held: HeldSeen }>();
  const one = async (file: string, roll: string): Promise<HeldSeen | null> => {
    const stats = await stat(fsPath(file)).catch(() => null);
    if (stats === null) return null;
    const stamp = `${stats.mtimeMs} ${stats.size} ${stats.ino}`;
    const known = kept.get(file);
    if (known?.stamp === stamp) return known.held;
    const read = await readRecord(file, rollVerdictSchema);
    const findings =
      read.state === 'read' ? read.value.findings : read.state === 'damaged' ? [read.finding] : [];
    const held = { roll, findings: findings.filter(blocks) };
    kept.set(file, { stamp, held });
    return held;
  };
  return {
    read: async (delivery, day, rolls) => {
      const found: HeldSeen[] = [];
      for (const roll of rolls.slice(0, MOST_ROLLS)) {
        const held = await one(layout.verdict(layout.rollFolder(delivery, day, roll)), roll);
        if (held !== null) found.push(held);
      }
      return found;
    },
  };
}
