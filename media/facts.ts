/**
 * Source facts: what was measured of a clip by reading it, before any work. `null` means looked for and not known;
 * proven values (counted packets) and claims (what a header says) stay in separate fields.
 */
import { z } from 'zod';
import { colourTagsSchema } from './colour/tags.ts';
import { interpretationSchema } from './interpretation.ts';
import { declarationSchema } from './declaration.ts';
import { rawFactsSchema } from './raw-facts.ts';
import { ratioSchema, timecodeSchema } from './time/schema.ts';

export const fieldOrders = ['progressive', 'top-first', 'bottom-first', 'unknown'] as const;
export type FieldOrder = (typeof fieldOrders)[number];

/** Which field of an interlaced picture was recorded earlier; null: frames are whole, or nobody says that they are not. */
export function earlierField({ fieldOrder }: { readonly fieldOrder: FieldOrder }): 'top' | 'bottom' | null {
  if (fieldOrder === 'top-first') return 'top';
  return fieldOrder === 'bottom-first' ? 'bottom' : null;
}

export const videoFactsSchema = z.object({
  streamIndex: z.int().nonnegative(),
  codec: z.string(),
  codecTag: z.string(),
  profile: z.string().nullable(),
  level: z.int().nullable(),
  /** Pixels as coded, before rotation and pixel aspect. */
  width: z.int().positive(),
  height: z.int().positive(),
  pixelAspect: ratioSchema,
  /** Clockwise turn that brings the coded picture upright, degrees. */
  rotation: z.union([z.literal(0), z.literal(90), z.literal(180), z.literal(270)]),
  pixelFormat: z.string(),
  bitDepth: z.int().positive(),
  fieldOrder: z.enum(fieldOrders),
  colour: colourTagsSchema,
  /** Where chroma samples lie, as ffprobe names it (`left`, `topleft`, `center`); absent: the file does not say. */
  chromaSiting: z.string().optional(),
  /** Counted packets that are shown (a packet is one frame); for sequences the number of files. */
  frames: z.int().nonnegative(),
  /** What the header claims, null when it claims nothing. */
  claimedFrames: z.int().nullable(),
  rate: ratioSchema,
  /** Seconds per tick of the times below. */
  timeBase: ratioSchema,
  /** First presentation time and end of the last frame, ticks of `timeBase`. */
  firstTime: z.int(),
  endTime: z.int(),
  /** Every step between neighbouring presentation times, most frequent first; one entry when the rate is constant, since steps that differ only by rounding to the time base count as one; more where steps are a tick beside what the time base can hold. */
  steps: z.array(z.object({ ticks: z.int(), count: z.int() })),
  rateConstant: z.boolean(),
  /** Sum of the packets' bytes, and the smallest and largest packet. */
  bytes: z.int().nonnegative(),
  smallestPacket: z.int().nonnegative(),
  largestPacket: z.int().nonnegative(),
});
export type VideoFacts = z.infer<typeof videoFactsSchema>;

export const audioFactsSchema = z.object({
  streamIndex: z.int().nonnegative(),
  codec: z.string(),
  sampleFormat: z.string(),
  bitDepth: z.int().nullable(),
  sampleRate: z.int().positive(),
  channels: z.int().positive(),
  /** As ffprobe names it (`mono`, `stereo`, `5.1`); null when the file does not say. */
  layout: z.string().nullable(),
  /** Samples per channel that are played (edit lists and priming taken off), counted over packets. */
  samples: z.int().nonnegative(),
  /** Start of the audio against the start of the picture, in samples; 0 when together. */
  startOffset: z.int(),
});
export type AudioFacts = z.infer<typeof audioFactsSchema>;

export const clipFactsSchema = z.object({
  kind: z.enum(['movie', 'sequence']),
  /** ffprobe's format name, or the still format of a sequence. */
  container: z.string(),
  video: videoFactsSchema,
  audio: z.array(audioFactsSchema),
  timecode: timecodeSchema.nullable(),
  /** Where the timecode was read: `tmcd`, `mxf`, `header`, `decoder` (a declared one says it); null without timecode. */
  timecodeFrom: z.string().nullable(),
  reel: z.string().nullable(),
  /** ISO 8601, as recorded by the camera. */
  createdAt: z.string().nullable(),
  /** Other tags of the container and picture stream, as written. */
  metadata: z.record(z.string(), z.string()),
  /** Number of the first frame of a sequence, as its name has it. */
  firstNumber: z.int().nonnegative().optional(),
  /** Of a raw clip: what development needs, what the camera says, and who decodes it. */
  raw: rawFactsSchema.optional(),
  /** Of a clip whose pictures a declared decoder gives: whose, and how it is called. Codec and container have its name. */
  declared: declarationSchema.optional(),
  /** What the values mean, by the settings of the night or by tags; only where a master is asked for. */
  interpretation: interpretationSchema.optional(),
});
export type ClipFacts = z.infer<typeof clipFactsSchema>;
