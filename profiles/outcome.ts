/**
 * Outcome: how one clip must come out in one profile, decided before anything runs, from facts and profile alone.
 * The planner shows it, the maker is reported it, the checker measures against it.
 */
import { z } from 'zod';
import { fieldOrders } from '../media/facts.ts';
import { colourTagsSchema } from '../media/colour/tags.ts';
import { framingSchema } from '../proof/framing.ts';
import { ratioSchema, timecodeSchema } from '../media/time/schema.ts';
import { linearisationSchema } from './master/linearisation.ts';

export const outcomeSchema = z.object({
  /** One movie. */
  kind: z.literal('movie'),
  /** File name without folder, extension included. */
  fileName: z.string(),
  frames: z.int().positive(),
  rate: ratioSchema,
  width: z.int().positive(),
  height: z.int().positive(),
  /** As ffprobe reads it back: where decoder and encoder name the same pixels differently, the decoder's name. */
  pixelFormat: z.string(),
  colour: colourTagsSchema,
  /** Shape of a pixel; absent: square. */
  pixelAspect: ratioSchema.optional(),
  /** Of a deliverable that keeps the fields of its source; absent: progressive. */
  fieldOrder: z.enum(fieldOrders).optional(),
  /** ffprobe's names for what must be found in the file. */
  container: z.enum(['mov', 'mp4', 'mkv']),
  codec: z.string(),
  codecTag: z.string(),
  codecProfile: z.string().nullable(),
  /** Highest allowed level, ten times the level's number (H.264 Table A-1); null where the codec has none. */
  maxLevel: z.int().nullable(),
  /** Exact bytes of every packet, where the codec fixes them (VC-3, ST 2019-1). */
  packetBytes: z.int().nullable(),
  timecode: timecodeSchema.nullable(),
  reel: z.string().nullable(),
  audio: z.array(
    z.object({
      /** Which of the source's audio tracks, counted from 0. */
      sourceTrack: z.int().nonnegative(),
      codec: z.string(),
      sampleRate: z.int().positive(),
      channels: z.int().positive(),
      layout: z.string().nullable(),
      samples: z.int().nonnegative(),
      /** Samples that may be there more or fewer: 0 for PCM, the last coded block for AAC. */
      tolerance: z.int().nonnegative(),
    }),
  ),
  /** What the frame fingerprints are compared by; absent from records of before there was one, which then prove nothing. */
  proof: z
    .object({
      framing: framingSchema,
      /** Which Y'CbCr the fingerprints of the source holds: as the source is taken to be, or what RGB is turned into. */
      basis: z.object({ matrix: z.string(), range: z.enum(['limited', 'full']) }),
      /** The earlier field of an interlaced source, each of whose frames becomes one progressive frame unless it is kept; null: whole frames. */
      earlierField: z.enum(['top', 'bottom']).nullable(),
      /** The deliverable has those fields as they are, and both are of `basis`. */
      kept: z.boolean().optional(),
      /** Of the source's upright picture, both fields of an interlaced one. */
      lines: z.int().positive(),
      /** Of each entry of `audio`: start of the source's track against the picture, in samples of the source. */
      audioOffsets: z.array(z.int()),
    })
    .optional(),
  /** Of a deliverable that keeps every sample; absent: others. */
  exact: z
    .object({
      /** The layout in which its pictures are compared with the source's (profiles/lossless-pixel-formats.ts). */
      comparedIn: z.string(),
      /** Slices of each frame (profiles/outcome/slices.ts). */
      slices: z.int().positive(),
    })
    .optional(),
  /** Of a movie for grading, whose pictures are not those of the source: from its code values to light (profiles/master/movie.ts); absent: others. */
  linearisation: linearisationSchema.optional(),
  /** What will be written: an estimate for planning, on the safe side; near to exact where the codec fixes every packet. */
  estimatedBytes: z.int().positive(),
});
export type Outcome = z.infer<typeof outcomeSchema>;
