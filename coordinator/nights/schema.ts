/** What a standing coordinator is told: one YAML file. A show is a delivery, and the folders in which its shoot days appear. */
import { z } from 'zod';
import { isSafeName } from './day-names.ts';
import { parseServeAddress } from '../../serve/address.ts';
import { weightSchema } from '../../ledger/shares.ts';
import { hourOf } from '../forecast/due.ts';
import { receiversSchema } from '../messages/schema.ts';

const folder = z.string().min(1).max(4_000);
const isHour = (text: string): boolean => hourOf(text) !== null;

const by = z
  .string()
  .refine(isHour, { message: 'an hour, as 06:00' })
  .optional()
  .describe(
    'Hour at which rolls should be ready, as 06:00, in the time zone of the show. When it is not said: as the settings of the show say',
  );
const weight = weightSchema
  .optional()
  .describe(
    'Its share of the farm beside others, 1 to 100; when it is not said: 1 for a show, that of the show for a day',
  );

const daySchema = z.strictObject({
  by,
  weight,
  first: z
    .array(z.string().min(1))
    .max(1_000)
    .optional()
    .describe('Rolls that are taken before others, in order'),
});

export const takes = ['rolls', 'days'] as const;

const showSchema = z.strictObject({
  name: z
    .string()
    .refine(isSafeName, { message: 'letters, digits, `-` and `_`, 60 at most' })
    .describe('Of your own choice, for people and metrics: letters, digits, `-` and `_`'),
  watch: z
    .array(folder)
    .min(1)
    .max(50)
    .describe('Folders that are watched: each folder in them is a shoot day, with its rolls in it'),
  deliver: folder.describe('The delivery. No other show has it'),
  copies: z
    .array(folder)
    .max(20)
    .optional()
    .describe(
      'Folders that hold further copies of the days, under the same names. Every roll is waited for in all of them',
    ),
  manifests: z
    .array(folder)
    .max(20)
    .optional()
    .describe('Folders of manifests that are kept apart from the rolls'),
  profiles: z
    .array(z.string().min(1).max(500))
    .max(50)
    .optional()
    .describe('Profiles, as `run --profile` takes them'),
  settings: folder.optional().describe('Settings file of the show'),
  stills: z
    .int()
    .min(0)
    .max(50)
    .optional()
    .describe('How many stills of each clip, whatever the settings say'),
  by,
  weight,
  take: z
    .enum(takes)
    .optional()
    .describe(
      'rolls: each as soon as it is settled. days: none before all of the day that are there are settled, as for production sound that comes last. When it is not said: rolls',
    ),
  days: z
    .record(z.string().min(1).max(200), daySchema)
    .optional()
    .describe('By the name of the day, for one that differs from the show'),
});

export const nightsSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  shows: z.array(showSchema).min(1).max(50).describe('What is watched, and what is made of it'),
  settled_seconds: z
    .int()
    .min(1)
    .max(86_400)
    .optional()
    .describe('How long a roll must not have changed before it is taken; when it is not said: 120'),
  incomplete_minutes: z
    .int()
    .min(1)
    .max(10_080)
    .optional()
    .describe(
      'A roll whose manifest lacks something, and that did not change for so long, is taken all the same, so that somebody is told what it lacks; when it is not said: 60',
    ),
  look_seconds: z
    .int()
    .min(1)
    .max(3_600)
    .optional()
    .describe(
      'Between two looks at the folders; when it is not said: 10. Looking takes a fiftieth of the time at most',
    ),
  read_again_hours: z
    .int()
    .min(0)
    .max(720)
    .optional()
    .describe(
      'After how long what was read is read again although nothing changed; 0: always. When it is not said: 24',
    ),
  work: folder
    .optional()
    .describe(
      'Folder for logs, for what was read, and for messages that wait; when it is not said: in your state folder',
    ),
  listen: z
    .string()
    .refine((text) => parseServeAddress(text) !== null, {
      message: 'an address and a port, as 127.0.0.1:4651',
    })
    .optional()
    .describe('Where health, readiness and metrics are served; when it is not said: 127.0.0.1:4651'),
  listen_token_file: z
    .string()
    .min(1)
    .optional()
    .describe(
      'File that you alone can read, with the token that must be sent (`Authorization: Bearer`) where others than this machine can reach the address',
    ),
  listen_names: z
    .array(z.string().regex(/^[A-Za-z0-9.-]{1,250}$/))
    .max(20)
    .optional()
    .describe(
      'Names by which others ask for that address, besides that of the machine: a container’s service, an alias',
    ),
  workers: z
    .int()
    .min(0)
    .max(256)
    .optional()
    .describe(
      'Worker processes of each night on this machine; when it is not said: as many as fit, or with a shared queue none',
    ),
  slots: z
    .int()
    .min(1)
    .max(256)
    .optional()
    .describe('Jobs that each of them runs side by side; when it is not said: as many as fit'),
  messages: receiversSchema.optional().describe('Who is told what came of it'),
});
export type NightsFile = z.infer<typeof nightsSchema>;
export type ShowFile = z.infer<typeof showSchema>;
