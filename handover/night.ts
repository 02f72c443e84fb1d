/** What a run says of its night beside the day's rolls, for whoever reads the day without the run: which rolls there were, and how it ended. */
import { z } from 'zod';
import { findingSchema } from '../findings/finding.ts';
import { readRecord, writeRecord } from '../ledger/store.ts';
import { verdicts } from '../ledger/roll.ts';
import { pageLayout } from './layout.ts';

export const nightRecordSchema = z.looseObject({
  version: z.literal(0).describe('0 until the form is settled'),
  kind: z.literal('night').describe('night'),
  day: z.string().describe('Name of the shoot day'),
  run: z.string().describe('Name of the run'),
  began: z.string().describe('ISO 8601, UTC; for people, never for decisions'),
  ended: z
    .string()
    .nullable()
    .describe('ISO 8601, UTC; null: the run is at work, or was ended before it could say so'),
  interrupted: z.boolean().describe('Whether somebody ended it'),
  rolls: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        verdict: z.enum(verdicts).nullable().describe('ready or held; null: not decided yet'),
        recorded: z.boolean().describe('Whether this run left a roll.json that says so'),
        findings: z
          .array(findingSchema)
          .describe('Of a roll without such a record, what was found; empty: roll.json has it'),
      }),
    )
    .describe('Every roll that the shoot day had'),
  findings: z.array(findingSchema).describe('Of the run as a whole'),
});
export type NightRecord = z.infer<typeof nightRecordSchema>;

/** `dayFolder`: <delivery>/<day>. */
export async function writeNight(
  dayFolder: string,
  night: Omit<NightRecord, 'version' | 'kind'>,
): Promise<void> {
  await writeRecord(pageLayout.night(dayFolder), nightRecordSchema, {
    version: 0,
    kind: 'night',
    ...night,
  } as NightRecord);
}

export const readNight = (dayFolder: string) => readRecord(pageLayout.night(dayFolder), nightRecordSchema);
