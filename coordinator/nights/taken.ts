/**
 * What a standing coordinator has taken: kept in the delivery, so that whoever takes over, on whichever machine, goes on there. It is
 * no verdict: those are the rolls' own. Only who has the coordinator's lease writes it.
 */
import { join } from 'node:path';
import { z } from 'zod';
import { OWN_PREFIX } from '../../ledger/layout.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';

const rollSchema = z.object({
  day: z.string().describe('Name of the shoot day'),
  roll: z.string().describe('Name of the roll'),
  seen: z
    .string()
    .describe(
      'SHA-256 over names, sizes and times of its files in all copies, and its manifests, when it was taken',
    ),
  asked: z.string().describe('SHA-256 over what was asked of it: profiles, settings'),
  state: z.enum(['begun', 'over']).describe('over: a night came to its end with it, whatever the verdict'),
  verdict: z.enum(['ready', 'held']).nullable().describe('Of that night; null: it is not over'),
});
export type TakenRoll = z.infer<typeof rollSchema>;

export const takenSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('taken').describe('taken'),
  rolls: z.array(rollSchema).describe('Each roll once'),
});

export const takenPlace = (delivery: string): string => join(delivery, `${OWN_PREFIX}taken.json`);

export class Taken {
  readonly #place: string;
  readonly #rolls = new Map<string, TakenRoll>();

  private constructor(delivery: string) {
    this.#place = takenPlace(delivery);
  }

  /** What is damaged, or not there, is forgotten: rolls are then taken once more, and what is made of them stays. */
  static async read(delivery: string): Promise<Taken> {
    const taken = new Taken(delivery);
    const read = await readRecord(taken.#place, takenSchema);
    if (read.state === 'read')
      for (const one of read.value.rolls) taken.#rolls.set(keyOf(one.day, one.roll), one);
    return taken;
  }

  of(day: string, roll: string): TakenRoll | null {
    return this.#rolls.get(keyOf(day, roll)) ?? null;
  }

  /** Throws what node:fs throws. */
  async keep(rolls: readonly TakenRoll[]): Promise<void> {
    for (const one of rolls) this.#rolls.set(keyOf(one.day, one.roll), one);
    await writeRecord(this.#place, takenSchema, {
      version: 0,
      kind: 'taken',
      rolls: [...this.#rolls.values()],
    });
  }
}

const keyOf = (day: string, roll: string): string => JSON.stringify([day, roll]);
