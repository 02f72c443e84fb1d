/** Names of the checks of movies (check/registry.ts). */

/** Every check that this version can run; a profile that asks for another one is refused. */
export const checkNames = [
  'frames',
  'duration',
  'timecode',
  'frame-spacing',
  'raster',
  'colour-tags',
  'codec',
  'audio',
  'decode',
  'frame-match',
  'levels',
  'audio-match',
  'bitstream',
  'lossless',
  'reel',
] as const;
export type CheckName = (typeof checkNames)[number];
/** Without these no deliverable counts as proved (README, "What a roll must pass"); a profile cannot leave one out. */
export const mandatoryChecks = [
  'frames',
  'duration',
  'timecode',
  'frame-spacing',
  'raster',
  'colour-tags',
  'codec',
  'audio',
  'decode',
  'frame-match',
  'levels',
  'audio-match',
  'bitstream',
] as const satisfies readonly CheckName[];
/** What stands beside them wherever nothing may be lost. */
export const losslessCheck = 'lossless' as const satisfies CheckName;
