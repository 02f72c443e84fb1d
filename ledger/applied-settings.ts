/** Which settings a clip was made by, and who stated each: what the night went by, in the words of the verdict. */
import { z } from 'zod';
import { stillsAskedSchema } from '../profiles/stills/schema.ts';

/** The nearest first. `cdls`: one of the CDLs of the show, matched to the clip. `tags`: nobody stated it, and the file's own tags leave no doubt. `nobody`: it is as it is when nobody says. */
export const settingOrigins = [
  'command line',
  'clip',
  'cdls',
  'roll',
  'camera',
  'show',
  'tags',
  'nobody',
] as const;
export type SettingOrigin = (typeof settingOrigins)[number];

const appliedSettingSchema = z.object({
  setting: z.string().describe('Its name in the settings file, parts joined by dots'),
  value: z.string().describe('In words; what is decided by it is in the facts of the clip'),
  from: z.enum(settingOrigins).describe('The nearest level that states it'),
});
export type AppliedSetting = z.infer<typeof appliedSettingSchema>;

export const appliedSettingsSchema = z.object({
  camera: z
    .string()
    .nullable()
    .describe('Camera of the settings that the clip is of, by its name there; null: none'),
  profiles: z.array(z.string()).describe('Profiles that are due of this clip'),
  stills: stillsAskedSchema
    .optional()
    .describe('Pictures of a few frames that are due of this clip; absent: none are'),
  applied: z
    .array(appliedSettingSchema)
    .describe('What each setting is for this clip, and where that was stated'),
});
export type AppliedSettings = z.infer<typeof appliedSettingsSchema>;
