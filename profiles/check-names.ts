/** Names of the checks: the one list. A movie's are in check/registry.ts, those of a folder of frames in check/master/compare.ts. */

/** Without these no movie counts as proved (README, "What a roll must pass"); a profile cannot leave one out. */
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
  'container',
] as const;
/** What is asked for besides wherever nothing may be lost. */
export const losslessCheck = 'lossless' as const;
/** What is asked for besides wherever something is lost in coding. */
export const lossyCheck = 'picture-error' as const;
/** What is asked for besides wherever text is burnt into the picture. */
export const textCheck = 'burn-in' as const;
/** Where edits relink by it. */
export const reelCheck = 'reel' as const;
/** Every check of a movie that this version can run; a profile that asks for another one is refused. */
export const checkNames = [...mandatoryChecks, losslessCheck, lossyCheck, textCheck, reelCheck] as const;
export type CheckName = (typeof checkNames)[number];

/** Every check of a folder of frames; none can be left out. */
export const masterChecks = [
  'frames',
  'timecode',
  'structure',
  'header',
  'pixel-values',
  'spot-check',
  'write-verify',
  'frames-as-decoded',
  'whole-frames',
  'amf',
] as const;
/** Asked of a movie for grading besides those of movies. */
export const readingCheck = 'frames-as-decoded' as const;
/** The same: its ACES Metadata File lies beside it. */
export const amfCheck = 'amf' as const;
export type MasterCheck = (typeof masterChecks)[number];

/** What a profile of masters can ask for, whatever its form: some are of both. */
export const masterCheckNames: readonly (MasterCheck | CheckName)[] = [
  ...new Set<MasterCheck | CheckName>([...masterChecks, ...mandatoryChecks, lossyCheck, reelCheck]),
];
