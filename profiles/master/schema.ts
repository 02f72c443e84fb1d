/**
 * A master: a profile of scene-linear or log frames for grading. Its pictures are not scaled, cut, lit or looked at: every
 * value comes from the source's by the transform that the night's settings name (coordinator/settings/).
 */
import { z } from 'zod';
import { missingTimecodeField, rateSchema } from '../cadence.ts';
import { developmentSchema } from '../development.ts';
import { codeBits } from '../../media/colour/acescct.ts';
import {
  amfCheck,
  lossyCheck,
  mandatoryChecks,
  masterCheckNames,
  masterChecks,
  readingCheck,
  reelCheck,
} from '../check-names.ts';

/** Folders of frames. */
export const frameFormats = ['exr', 'aces', 'dpx'] as const;
export type FrameFormat = (typeof frameFormats)[number];
/** Of frames of OpenEXR; the last two lose something. */
export const exrCompressions = ['none', 'zip', 'zips', 'piz', 'dwaa', 'dwab'] as const;
export type FrameCompression = (typeof exrCompressions)[number];
/** Of a movie for grading. */
export const movieQualities = ['4444', '4444-xq'] as const;
/** And a movie, which is made and checked as other movies are. */
export const masterFormats = [...frameFormats, 'rdd36'] as const;
export type MasterFormat = (typeof masterFormats)[number];
/** When the input transform is written as a file beside the frames. */
export const inputClfRules = ['where-needed', 'always'] as const;
export type InputClfRule = (typeof inputClfRules)[number];
/** What must have passed, and what may be asked besides. */
export function checksOf(format: MasterFormat): {
  readonly all: readonly string[];
  readonly more: readonly string[];
} {
  return format === 'rdd36'
    ? { all: [...mandatoryChecks, lossyCheck, readingCheck, amfCheck], more: [reelCheck] }
    : { all: masterChecks, more: [] };
}

const name = z
  .string()
  .regex(
    /^[a-z0-9][a-z0-9-]{0,62}$/,
    'small letters, digits and hyphens, at most 63, not starting with a hyphen',
  );

export const masterSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  kind: z
    .literal('master')
    .describe(
      'master: for grading, with pictures in scene-linear values or in its logarithm, in one of four forms',
    ),
  name: name.describe('What the profile is called on the command line and in folders'),
  summary: z.string().min(1).max(200).describe('One line for people'),
  format: z
    .enum(masterFormats)
    .describe(
      "exr: OpenEXR, half float, ACES2065-1; aces: the same in the container of SMPTE ST 2065-4; dpx: SMPTE ST 268-1, 10 bits or as `bits` says, ACEScct; rdd36: one MOV a clip, 4444 of SMPTE RDD 36, 10 bits, ACEScct as Y'CbCr of BT.709 in limited range, with the audio of the clip",
    ),
  compression: z
    .enum(exrCompressions)
    .describe(
      'How exr alone is compressed; without loss: zip: 16 lines a block; zips: a line a block, for programs that read single lines; piz: wavelet and Huffman codes, 32 lines a block, smaller with grain; none: each frame of a clip as long as the other. With loss, a third of the size and less, as much as `dwa_level` allows: dwaa: 32 lines a block; dwab: 256',
    ),
  dwa_level: z
    .int()
    .min(5)
    .max(200)
    .optional()
    .describe(
      'How much dwaa and dwab may lose, the dwaCompressionLevel of OpenEXR; twice as much, twice the error. Absent: 45',
    ),
  bits: z
    .literal(codeBits)
    .optional()
    .describe('Of a code, dpx alone; 12 and 16 have a word of 16 bits for each. Absent: 10'),
  quality: z
    .enum(movieQualities)
    .optional()
    .describe(
      'Profile of RDD 36, rdd36 alone; 4444-xq: half as many bits again as 4444. Both are encoded from 10 bits. Absent: 4444',
    ),
  development: developmentSchema,
  interlaced: z
    .enum(['hold', 'deinterlace'])
    .optional()
    .describe(
      "What to do with interlaced clips: hold them, or make one whole frame of each frame's earlier field, before anything is made scene-linear (movies of planar Y'CbCr, in one file or several, however they lie). Absent: hold",
    ),
  numbering: z
    .strictObject({
      from: z
        .enum(['timecode', 'source', 'one'])
        .describe(
          'What the frames are numbered by; timecode: frames since midnight in its own counting; source: as the frames of a sequence are, one for movies; one: from 1',
        ),
      digits: z
        .int()
        .min(4)
        .max(10)
        .describe('Digits, with zeros in front; 7 hold a day of 60 frames a second'),
    })
    .describe('Names of the frames of a clip: {clip}.0086400.exr'),
  timecode: z
    .strictObject({
      missing: missingTimecodeField,
    })
    .describe('Every frame has its own label'),
  rate: rateSchema,
  reel: z.enum(['source-or-roll', 'roll', 'clip', 'none']).describe('Reel name in the header of every frame'),
  header: z
    .strictObject({
      owner: z
        .string()
        .max(200)
        .describe('Owner of the pictures, as it stands in the header; empty: none, or as the settings say'),
      comments: z.string().max(1000).describe('Free text in the header; empty: none, or as the settings say'),
    })
    .describe('Said in every frame'),
  amf: z
    .strictObject({
      input_clf: z
        .enum(inputClfRules)
        .describe(
          'The input transform as a .clf file beside the frames or the movie; where-needed: where the registry of ACES has no identifier for it (raw frames, some logs); always: with every clip',
        ),
    })
    .describe('The ACES Metadata File beside the frames or the movie (docs/amf.md)'),
  file_name: z
    .string()
    .min(1)
    .max(150)
    .describe(
      "Template of the clip's folder and of its frames' names before the number: {clip} {roll} {reel} {day} {profile} {timecode}. {clip} must be there",
    ),
  checks: z
    .array(z.enum(masterCheckNames))
    .describe(
      `Checks that must have passed: all of ${masterChecks.join(', ')}; with rdd36 all of ${[...mandatoryChecks, lossyCheck].join(', ')}, and reel where it matters`,
    ),
});
export type MasterProfile = z.infer<typeof masterSchema>;
