/**
 * A profile: a named delivery. What to make, from what, how it must come out, and which checks must have passed.
 * Every field is described here, once; what `profiles show` prints is made from these descriptions.
 */
import { z } from 'zod';
import { sketchRegions } from '../proof/sketch/form.ts';
import { checkNames, losslessCheck, lossyCheck, mandatoryChecks, textCheck } from './check-names.ts';
import { AAC_KILOBITS, LARGEST_SIDE } from './limits.ts';
import { type FrameFormat, type MasterProfile, masterSchema } from './master/schema.ts';
import { developmentSchema } from './development.ts';
import { limitings } from '../media/colour/output/displays.ts';
import { missingTimecodeField, rateSchema } from './cadence.ts';
import { shownDisplays } from './shown/schema.ts';

export const containers = ['mov', 'mp4', 'mkv'] as const;
export const vc3Qualities = ['lb', 'sq', 'hq', 'hqx', '444'] as const;
export const rdd36Qualities = ['proxy', 'lt', 'standard', 'hq', '4444', '4444-xq'] as const;
/** Slices a frame that the FFV1 encoder cuts into equal parts across and down. */
export const ffv1Slices = [4, 6, 9, 12, 16, 24, 30] as const;
export const rasterPolicies = ['coded', 'native', 'fit', 'pad', 'fill'] as const;
export const pixelAspects = ['square', 'keep'] as const;
/** What of production sound is carried. */
export const productionForms = ['mix', 'tracks'] as const;
/** Where the audio of the clip itself goes beside it. */
export const besideProduction = ['behind', 'without-recording'] as const;
export const audioFormats = ['source', 'pcm-16', 'pcm-24', 'aac'] as const;
/** Chroma layout and depth of what is encoded (docs/glossary.md). */
export const encodedPixels = [
  '4:2:0 8-bit',
  '4:2:0 10-bit',
  '4:2:2 8-bit',
  '4:2:2 10-bit',
  '4:4:4 10-bit',
] as const;
export type EncodedPixels = (typeof encodedPixels)[number];
export const burnInTexts = [
  'timecode',
  'frame',
  'clip',
  'roll',
  'reel',
  'profile',
  'camera',
  'date',
  'look',
  'words',
] as const;
/** Texts in the picture, by the profile; more would leave little of it. */
const MOST_TEXTS = 12;
export const watermarkLayouts = ['centred', 'repeated'] as const;
export const burnInPlaces = [
  'top-left',
  'top-centre',
  'top-right',
  'bottom-left',
  'bottom-centre',
  'bottom-right',
] as const;
export {
  type CheckName,
  checkNames,
  losslessCheck,
  lossyCheck,
  mandatoryChecks,
  textCheck,
} from './check-names.ts';
const regionsText = Object.entries(sketchRegions)
  .map(([name, { columns, rows }]) => `${name}: ${columns} x ${rows}`)
  .join('; ');

const name = z
  .string()
  .regex(
    /^[a-z0-9][a-z0-9-]{0,62}$/,
    'small letters, digits and hyphens, at most 63, not starting with a hyphen',
  );

const vc3 = z.strictObject({
  codec: z.literal('vc3').describe('VC-3, SMPTE ST 2019-1, resolution-independent'),
  quality: z
    .enum(vc3Qualities)
    .describe('Compression class: lb, sq, hq: 8-bit 4:2:2; hqx: 10-bit 4:2:2; 444: 10-bit 4:4:4'),
});
const rdd36 = z.strictObject({
  codec: z.literal('rdd36').describe('The 10-bit intra codec of SMPTE RDD 36'),
  quality: z.enum(rdd36Qualities).describe('The profile within RDD 36'),
});
const h264 = z.strictObject({
  codec: z.literal('h264').describe('ITU-T H.264, High profile, 8-bit 4:2:0'),
  quality: z
    .int()
    .min(0)
    .max(51)
    .describe(
      'Constant quality, 0 to 51, in steps of the quantiser: lower is better and larger, 6 less about doubles the size; 18 to 23 is usual',
    ),
  speed: z
    .enum(['fastest', 'very-fast', 'fast', 'medium', 'slow'])
    .describe('Of encoding: slower makes smaller files of the same quality'),
  key_frame_seconds: z.int().min(1).max(10).describe('Longest distance between key frames, whole seconds'),
});

const h265 = z.strictObject({
  codec: z.literal('h265').describe('ITU-T H.265, Main 10 profile, 10-bit 4:2:0'),
  quality: z
    .int()
    .min(0)
    .max(51)
    .describe(
      'Constant quality, 0 to 51, in steps of the quantiser: lower is better and larger, 6 less about doubles the size; 16 to 22 is usual',
    ),
  speed: z
    .enum(['fastest', 'very-fast', 'fast', 'medium', 'slow'])
    .describe('Of encoding: slower makes smaller files of the same quality'),
  key_frame_seconds: z.int().min(1).max(10).describe('Longest distance between key frames, whole seconds'),
});

const ffv1 = z.strictObject({
  codec: z
    .literal('ffv1')
    .describe('FFV1 version 3, RFC 9043: lossless, every frame a key frame, a checksum in every slice'),
  slices: z
    .union(ffv1Slices.map((count) => z.literal(count)))
    .describe(
      'Parts of a frame that are coded, checked and decoded each on its own: more are faster on many cores and a little larger. A picture of odd size that cannot be cut so gets the nearest number that can',
    ),
});

export const profileSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  kind: z
    .literal('movie')
    .describe('movie: one movie for each clip with its pictures as shot, for editing, review or keeping'),
  name: name.describe('What the profile is called on the command line and in folders'),
  summary: z.string().min(1).max(200).describe('One line for people'),
  container: z
    .enum(containers)
    .describe(
      'File form. mov holds every codec but ffv1 and h265; mp4 holds h264 and h265 with aac and has no place for a reel name; mkv (Matroska, RFC 9559) holds ffv1',
    ),
  video: z
    .discriminatedUnion('codec', [vc3, rdd36, h264, h265, ffv1])
    .describe('Picture codec and its settings'),
  pixels: z
    .enum(['source', ...encodedPixels])
    .describe('Chroma layout and depth of the encoded picture; source, with ffv1: as the clip has them'),
  raster: z
    .strictObject({
      policy: z
        .enum(rasterPolicies)
        .describe(
          'coded: pixel by pixel as the clip holds it, neither turned nor made square; native: as shot, upright, square pixels; fit: inside width x height, nothing cut; pad: as fit, in the middle of exactly width x height, with black around it; fill: exactly width x height, centre kept, edges cut',
        ),
      width: z.int().min(16).max(LARGEST_SIDE).nullable().describe('Pixels; null with coded and native'),
      height: z
        .int()
        .min(16)
        .max(LARGEST_SIDE)
        .nullable()
        .describe(
          'Pixels; null with coded and native; with fit null leaves the height free, and a picture that stands upright becomes as high as that makes it',
        ),
      multiple_of: z
        .union([z.literal(1), z.literal(2), z.literal(4), z.literal(8), z.literal(16)])
        .describe(
          'Width and height come out as multiples of this: the nearest one, halves upwards, never outside the box; a picture that is not scaled is cut to it',
        ),
      enlarge: z.boolean().describe('false: a smaller source keeps its size; fill needs true'),
      pixel_aspect: z
        .enum(pixelAspects)
        .optional()
        .describe(
          'Pixels that are not square. square: made so by changing the width; keep: they stay as they are, width and height are counted in them, and the file says their shape; absent: square, and with coded as they are',
        ),
    })
    .describe(
      'How large the picture is; but for coded it comes out upright, and with square pixels where they are not kept; every line of the source is kept before scaling',
    ),
  interlaced: z
    .enum(['hold', 'deinterlace', 'split', 'keep'])
    .describe(
      'What to do with interlaced sources: hold the clip; deinterlace: make one progressive frame of each frame; split: make one of each field, twice as many at twice the rate; or (ffv1) keep the fields as they are and say so',
    ),
  colour: z
    .strictObject({
      primaries: z
        .enum(['source', 'bt709', 'bt2020'])
        .describe(
          'source: as the source says. Another value is what the source must have: primaries are not converted',
        ),
      transfer: z
        .enum(['source', 'bt709', 'pq', 'hlg'])
        .describe(
          'source: as the source says. Another value is what the source must have: transfers are not converted',
        ),
      matrix: z
        .enum(['source', 'bt709', 'bt2020', 'bt601'])
        .describe(
          'The picture is converted when the source differs; source with an RGB source: the matrix that belongs to its primaries',
        ),
      range: z
        .enum(['source', 'limited', 'full'])
        .describe(
          'The levels are converted when the source differs; source with an RGB source: limited. rdd36 is always limited',
        ),
      untagged: z
        .enum(['hold', 'bt709', 'keep'])
        .describe(
          'What an untagged source is taken for; hold: refused; keep, with ffv1: for nothing, it stays untagged. A matrix alone that is missing is the one that belongs to the primaries, and levels that are not tagged are limited',
        ),
    })
    .describe('Colour tags of the output, of pictures that stay as they were recorded'),
  display: z
    .strictObject({
      encoding: z
        .enum(shownDisplays)
        .describe(
          'Code values, primaries and luminance that pictures are made for. pq-bt2020 and hlg-bt2020: high dynamic range of ITU-R BT.2100, 10 bits or more',
        ),
      peak: z
        .int()
        .min(100)
        .max(4000)
        .optional()
        .describe(
          "Luminance of the display's white, cd/m²; absent: 100 with bt1886-bt709, and nothing else there; 1000 with the others. Of ACES 1 there are 1000, 2000 and 4000",
        ),
      limiting: z
        .enum(limitings)
        .optional()
        .describe(
          'Primaries that no colour lies beyond; absent: bt709 with bt1886-bt709, p3-d65 with the others',
        ),
      development: developmentSchema,
    })
    .optional()
    .describe(
      'Pictures whose values mean light of a scene (raw frames, scene-linear frames, a log curve or PQ or HLG that the settings or the tags name) are shown for this display: exposure, CDL, look and output transform as the settings have them. Of high range, pictures of standard range are placed in it as they look, with their white at 203 cd/m² (ITU-R BT.2408). They have its primaries, transfer and matrix. Absent: every picture stays as it was recorded',
    ),
  timecode: z
    .strictObject({
      missing: missingTimecodeField,
    })
    .describe(
      'Start timecode is the source start timecode; of a clip that is played at the rate of the project its hours, minutes and seconds, and of the second the whole frames of that rate',
    ),
  rate: rateSchema,
  reel: z
    .enum(['source-or-roll', 'roll', 'clip', 'none'])
    .describe(
      'Reel name written beside the timecode; source-or-roll: as the camera wrote it, or the roll where it wrote none',
    ),
  audio: z
    .strictObject({
      tracks: z
        .enum(['all', 'first', 'none'])
        .describe('Which of the tracks of the clip itself are carried over, layout kept'),
      production_sound: z
        .strictObject({
          carry: z
            .enum(productionForms)
            .describe(
              'mix: the tracks that the recorder names as its mix, or a recording of at most two channels as it is; where nothing is named so, all tracks. tracks: every channel of the recording as a track of its own',
            ),
          clip_tracks: z
            .enum(besideProduction)
            .describe(
              "What becomes of the clip's own tracks, as far as `tracks` takes them. behind: they follow behind the production sound; without-recording: they are carried only where no recording ran with the clip",
            ),
        })
        .optional()
        .describe(
          'Production sound: the recording of a verified sound roll of the day that lies beside the clip longest, in its place to a sample, with silence where it does not run, and tracks named by scene, take and name. Not with ffv1. Absent: none (docs/mechanisms/production-sound.md)',
        ),
      format: z
        .enum(audioFormats)
        .describe(
          `source, with ffv1: uncompressed audio of the clip, each track sample for sample in its own form, and no other; pcm-16, pcm-24: uncompressed, 16 or 24 bits a sample; aac: compressed, ${AAC_KILOBITS} kbit/s a channel`,
        ),
      rate: z.union([z.literal('source'), z.literal(48000), z.literal(96000)]).describe('Samples a second'),
      tolerance_frames: z
        .union([z.int().min(0).max(50), z.literal('keep')])
        .describe(
          'keep, with ffv1: every sample of the clip, however long the picture is. A number: audio that ends before or after the picture by at most this many frames is cut or filled with silence to the picture; beyond it the clip is held',
        ),
      offset: z
        .enum(['fit', 'hold'])
        .describe(
          'What to do with audio that starts half a frame or more after or before the picture: fit: it stays in its place to a sample, with silence before audio that starts late, and audio from before the first frame is cut off; hold the clip. Smaller offsets are fitted in any case; with ffv1 only hold, since nothing is put before audio that is kept sample for sample',
        ),
    })
    .describe(
      'Audio comes out exactly as long as the picture, or, with tolerance_frames: keep, as long as in the clip',
    ),
  file_name: z
    .string()
    .min(1)
    .max(200)
    .describe(
      'Template of the file name without extension: {clip} {roll} {reel} {day} {profile} {timecode}. {clip} must be there. What file systems refuse becomes _, and a name beyond 200 bytes is cut and ends in a short checksum of the whole',
    ),
  burn_in: z
    .array(
      z.strictObject({
        text: z
          .enum(burnInTexts)
          .describe(
            'What is written. timecode and frame count on with every frame: frame from 0, or, of numbered frames, with the number that their files have. camera: as `burn_in.camera` in the settings says. date: of the recording, in the time zone of the show. look: CDL, look and output transform that the pictures went through, or "as recorded". words: those of the field `words`. What a clip does not say is written as "no camera", and noted',
          ),
        words: z
          .string()
          .min(1)
          .max(120)
          .optional()
          .describe('With text: words, and only there: what is written, in one line'),
        place: z
          .enum(burnInPlaces)
          .describe('Where; texts of one place lie one below the other, in the order of the list'),
        height_percent: z
          .int()
          .min(2)
          .max(20)
          .describe(
            'Height of a line, per cent of picture height; smaller where the text would not fit, down to what can be read back (docs/mechanisms/burn-in.md); then names lose their end',
          ),
      }),
    )
    .max(MOST_TEXTS)
    .describe('Text in the picture; [] for none'),
  watermark: z
    .strictObject({
      words: z
        .string()
        .min(1)
        .max(80)
        .nullable()
        .describe(
          'Whom the pictures are for, or what they may be used for; null: as `burn_in.watermark` in the settings says, and a clip of which nobody says it is held',
        ),
      layout: z
        .enum(watermarkLayouts)
        .describe('centred: once in the middle; repeated: five times, in the middle and around it'),
      height_percent: z
        .int()
        .min(4)
        .max(20)
        .describe('Height of a line, per cent of picture height; smaller where the words would not fit'),
      opacity_percent: z
        .int()
        .min(25)
        .max(80)
        .describe(
          'How much of white there is in the letters, and of black in the ground behind them (of PQ and HLG at least half, since pictures are brighter than the letters there)',
        ),
    })
    .optional()
    .describe('Letters across the picture that it can be seen through; absent: none'),
  picture_error: z
    .strictObject({
      regions: z
        .enum(['fine', 'coarse', 'none'])
        .describe(
          `Regions of the picture that the error is measured by, each apart (${regionsText}; fewer where they would have fewer than 16 x 16 pixels). More find smaller damage, and take more room beside the reports: 2 bytes for each region of each plane and frame, beside 9 kB a frame at the most that every sketch has; none with ffv1, which loses nothing`,
        ),
      least_psnr: z
        .number()
        .min(10)
        .max(90)
        .nullable()
        .describe(
          'PSNR that every plane of every frame must reach, decibels, unless the picture holds so much that the codec cannot keep (docs/mechanisms/picture-error.md); null with ffv1',
        ),
    })
    .describe('What may be lost between the picture that the encoder is given and the file'),
  checks: z
    .array(z.enum(checkNames))
    .describe(
      `Checks that must have passed: all of ${mandatoryChecks.join(', ')}; ${losslessCheck} with ffv1, ${lossyCheck} with every other codec; ${textCheck} with text or a watermark in the picture; and reel where it matters`,
    ),
});
export type Profile = z.infer<typeof profileSchema>;

/** Whether anything is written into its pictures. */
export const drawsText = ({ burn_in: texts, watermark }: Pick<Profile, 'burn_in' | 'watermark'>): boolean =>
  texts.length > 0 || watermark !== undefined;

/** A profile of movies, or of masters for grading. */
export type AnyProfile = Profile | MasterProfile;
export const profileKinds = ['movie', 'master'] as const satisfies readonly AnyProfile['kind'][];
export const anyProfileSchema = z.discriminatedUnion('kind', [profileSchema, masterSchema]);
export const isMovie = (loaded: LoadedProfile): loaded is LoadedProfile<Profile> => !isMaster(loaded.profile);
export const isMaster = (profile: AnyProfile): profile is MasterProfile => profile.kind === 'master';
/** Its deliverables are folders of frames; every other one is a movie. */
export const givesFrames = (
  profile: AnyProfile,
): profile is MasterProfile & { readonly format: FrameFormat } =>
  isMaster(profile) && profile.format !== 'rdd36';

/** A profile with its canonical hash: SHA-256, hex, over the resolved profile without its summary, as canonical JSON (sorted keys). The hash names exactly what was asked. */
export interface LoadedProfile<Kind extends AnyProfile = AnyProfile> {
  readonly profile: Kind;
  readonly hash: string;
  /** Where it came from, for people: a file path, or `built in`. */
  readonly origin: string;
}
