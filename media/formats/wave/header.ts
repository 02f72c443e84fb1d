/** What the header of a WAV file says: the samples, and when the first of them was recorded. */
import { FileDamage } from '../../../files/bytes.ts';

/** Whole numbers, two's complement, little-endian: the other forms that WAV has a tag for are not read. */
export const waveBits = [16, 24, 32] as const;
export type WaveBits = (typeof waveBits)[number];

export interface WaveHeader {
  readonly form: 'riff' | 'rf64';
  /** Samples a second. */
  readonly sampleRate: number;
  readonly channels: number;
  /** Of a sample as it is stored. */
  readonly bits: WaveBits;
  /** Which loudspeakers the channels are for (dwChannelMask of WAVE_FORMAT_EXTENSIBLE); null: the file does not say. */
  readonly channelMask: number | null;
  /** Per channel. */
  readonly samples: number;
  /** Byte of the first sample. */
  readonly dataOffset: number;
  /** Samples since midnight at which the first one was recorded (EBU Tech 3285, TimeReference); null: the file has no `bext`. */
  readonly timeReference: bigint | null;
}

/** A file that is whole and of a form that is not read, or whose bytes cannot be what they claim to be. */
export class WaveDamage extends FileDamage {}
