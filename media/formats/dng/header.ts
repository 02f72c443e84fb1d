/**
 * One raw frame as its DNG tags describe it (DNG specification, chapters 4 to 6), with every default filled in. `RawPicture` is
 * what development needs; it holds numbers only, so that it lives in a clip's facts as well. Rationals are read as numbers.
 */
import { z } from 'zod';
import type { Rate } from '../../time/rate.ts';
import type { StoredTimecode } from '../still.ts';
import type { RawPiece } from '../tiff/pieces.ts';
import { cfaPatterns, type RawCompression, rawCompressions } from './kinds.ts';
import type { RawOpcode } from './opcodes.ts';

/** Pixels of the stored raw picture, end exclusive. */
export const areaSchema = z.object({
  top: z.int().nonnegative(),
  left: z.int().nonnegative(),
  bottom: z.int().positive(),
  right: z.int().positive(),
});
export type Area = z.infer<typeof areaSchema>;

const three = z.tuple([z.number(), z.number(), z.number()]);
/** Row by row. */
const matrix = z.array(z.number()).length(9);

/** What the camera measured under one light. */
export const calibrationSchema = z.object({
  /** EXIF LightSource number: 17 A, 21 D65, 23 D50, …; 0 unknown. */
  illuminant: z.int().nonnegative(),
  /** XYZ to reference camera. */
  colourMatrix: matrix,
  /** White-balanced camera to XYZ D50; null when the file has none. */
  forwardMatrix: matrix.nullable(),
  /** Reference camera to this very camera; the unit matrix when there is none, or when its signature is not the profile's (then it does not count). */
  cameraCalibration: matrix,
  /** CIE 1931 x and y of the light, where the file measured it (IlluminantData, DNG 1.6); absent: its LightSource says all. */
  illuminantXy: z.tuple([z.number(), z.number()]).optional(),
});
export type Calibration = z.infer<typeof calibrationSchema>;

export const rawPictureSchema = z.object({
  /** Pixels of the stored raw picture, masked borders included: what a decoder gives. */
  width: z.int().positive(),
  height: z.int().positive(),
  activeArea: areaSchema,
  /** Borders without light, for measuring black; empty when there are none. */
  maskedAreas: z.array(areaSchema),
  /** What is meant to be shown, in pixels relative to the active area, inside it; not always whole. */
  defaultCrop: z.object({ left: z.number(), top: z.number(), width: z.number(), height: z.number() }),
  /** Width by height of one pixel as it is meant to be shown (DefaultScale): 1 and 1 for square pixels. */
  defaultScale: z.object({ horizontal: z.number(), vertical: z.number() }),
  /** EXIF orientation, 1 to 8; 1 upright. */
  orientation: z.int().min(1).max(8),
  /** null: every pixel has red, green and blue (LinearRaw). */
  pattern: z.enum(cfaPatterns).nullable(),
  /** Absent: whole numbers. */
  sampleFormat: z.literal('float').optional(),
  bitsPerSample: z.int().min(1).max(32),
  compression: z.enum(rawCompressions),
  /** Code value to linear value; an index beyond the end takes the last entry. Null: codes are linear. */
  linearisation: z.array(z.int().min(0).max(65_535)).nullable(),
  black: z.object({
    /** Rows and columns of the repeating pattern, from the top left corner of the active area. */
    rows: z.int().positive(),
    columns: z.int().positive(),
    /** Row by row, in values behind the linearisation; without a pattern red, green and blue of each place. */
    levels: z.array(z.number()),
    /** Added for each column and for each row of the active area; null when there is none. */
    columnDeltas: z.array(z.number()).nullable(),
    rowDeltas: z.array(z.number()).nullable(),
  }),
  /** Value behind the linearisation at which the sensor is full; without a pattern of red, green and blue. */
  white: z.union([z.number().positive(), z.tuple([z.number(), z.number(), z.number()])]),
  /** One to three; the first stands at illuminant 1. */
  calibrations: z.array(calibrationSchema).min(1).max(3),
  /** Gains that the camera has applied already. */
  analogBalance: three,
  /** Camera values of neutral; at most one of this and `asShotWhiteXy` is there. */
  asShotNeutral: three.nullable(),
  asShotWhiteXy: z.tuple([z.number(), z.number()]).nullable(),
  /** Stops to add. */
  baselineExposure: z.number(),
  /** How unlike the two greens may be: 0 alike, larger is worse. */
  bayerGreenSplit: z.int().nonnegative(),
  /** Part of the encoding range in which the sensor is linear, 0 to 1. */
  linearResponseLimit: z.number(),
});
export type RawPicture = z.infer<typeof rawPictureSchema>;

/** What the camera says of itself and of the exposure; null where it says nothing. */
export const rawCameraSchema = z.object({
  model: z.string().nullable(),
  label: z.string().nullable(),
  serial: z.string().nullable(),
  reel: z.string().nullable(),
  iso: z.int().positive().nullable(),
  exposureSeconds: z.number().positive().nullable(),
  fNumber: z.number().positive().nullable(),
  /** One, or the two ends of a zoom. */
  tStop: z.array(z.number().positive()).nullable(),
  /** ISO 8601, with an offset only where the file states one. */
  capturedAt: z.string().nullable(),
});
export type RawCamera = z.infer<typeof rawCameraSchema>;

export interface RawStorage {
  readonly littleEndian: boolean;
  readonly compression: RawCompression;
  /** The number in the file. */
  readonly compressionNumber: number;
  readonly bitsPerSample: number;
  /** A pixel has 1 under a pattern, 3 in LinearRaw. */
  readonly samples: 1 | 3;
  readonly float: boolean;
  /** True when the lowest bit of a byte comes first (FillOrder 2). */
  readonly lowBitFirst: boolean;
  readonly pieces: readonly RawPiece[];
}

export interface DngFrame {
  readonly picture: RawPicture;
  readonly camera: RawCamera;
  readonly storage: RawStorage;
  readonly rate: Rate | null;
  /** Fields of the first of the TimeCodes, not yet checked against a rate. */
  readonly timecode: StoredTimecode | null;
  readonly opcodes: readonly RawOpcode[];
  /** Names of tags that change the picture and that nobody here applies. */
  readonly passedOver: readonly string[];
}
