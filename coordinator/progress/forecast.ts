/** When a run will be ready, as it is written down and shown. */
import { z } from 'zod';
import { standings } from '../forecast/dues.ts';

const range = z.object({
  least: z.number().nonnegative().describe('Seconds: sooner in one night of ten'),
  most: z.number().nonnegative().describe('Seconds: later in one night of ten'),
});

export const forecastSchema = z.object({
  timeZone: z.string().describe('Of the show, else of this machine: hours are of it'),
  whole: range.nullable().describe('Until all rolls of the run are made; null: not known yet'),
  proxies: range
    .nullable()
    .describe(
      'Until the proxies of all rolls are made, where masters come after them; null: not known yet, or masters are made with them',
    ),
  others: z
    .int()
    .nonnegative()
    .describe(
      'Other runs that share the machines; times are as if they went on to the end of this one. 0: there is none, or no machine was seen yet',
    ),
  rolls: z
    .array(
      z.object({
        roll: z.string().describe('Name of the roll'),
        left: range.nullable().describe('Until it is made; null: not known yet'),
        unknown: z
          .int()
          .nonnegative()
          .describe('Of its jobs that are not over, those of a kind of which fewer than five are finished'),
        nobody: z
          .int()
          .nonnegative()
          .describe('Of its jobs that are not over, those that no machine of the farm can take'),
        due: z.string().nullable().describe('When it is due, ISO 8601, UTC; null: at no hour'),
        inTime: z
          .enum(standings)
          .nullable()
          .describe(
            'in-time: by its hour in nine nights of ten; late: after it in nine of ten; at-risk: between; null: it is due at no hour, or nothing is known',
          ),
      }),
    )
    .describe('Rolls that have jobs to be made'),
});
export type NightForecast = z.infer<typeof forecastSchema>;
