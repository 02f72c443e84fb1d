/** Names of the checks of movies (check/registry.ts). */

/** Every check that this version can run; a profile that asks for another one is refused. */
export const checkNames = [
  'frames',
  'duration',
  'timecode',
  'cadence',
  'picture',
  'colour-tags',
  'codec',
  'audio',
  'decode',
  'trail',
  'levels',
  'sound-trail',
  'payload',
  'lossless',
  'reel',
] as const;
export type CheckName = (typeof checkNames)[number];
/** Without these no deliverable counts as proved (DESIGN, "What a roll must pass"); a profile cannot leave one out. */
export const standingChecks = [
  'frames',
  'duration',
  'timecode',
  'cadence',
  'picture',
  'colour-tags',
  'codec',
  'audio',
  'decode',
  'trail',
  'levels',
  'sound-trail',
  'payload',
] as const satisfies readonly CheckName[];
/** What stands beside them wherever nothing may be lost. */
export const losslessCheck = 'lossless' as const satisfies CheckName;
