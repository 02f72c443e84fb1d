/** What the header of a WAV file says: the samples, and when the first of them was recorded. */
import { FileDamage } from '../../../files/bytes.ts';

/** Whole numbers, two's complement, little-endian, or floats of 32 bits: the other forms that WAV has a tag for are not read. */
export const waveBits = [16, 24, 32] as const;
export type WaveBits = (typeof waveBits)[number];

export interface WaveHeader {
  readonly form: 'riff' | 'rf64';
  /** Samples a second. */
  readonly sampleRate: number;
  readonly channels: number;
  /** Of a sample as it is stored. */
  readonly bits: WaveBits;
  readonly coding: 'integer' | 'float';
  /** Which loudspeakers the channels are for (dwChannelMask of WAVE_FORMAT_EXTENSIBLE); null: the file does not say. */
  readonly channelMask: number | null;
  /** Per channel. */
  readonly samples: number;
  /** Byte of the first sample. */
  readonly dataOffset: number;
  /** Samples since midnight at which the first one was recorded (EBU Tech 3285, TimeReference); null: the file has no `bext`. */
  readonly timeReference: bigint | null;
  /** What the recorder says of the take; a text: why its words are not read; null: it says nothing. */
  readonly take: TakeFacts | string | null;
}

/** A channel as the recorder names it. */
export interface TrackFacts {
  /** Place in the file, from 1. */
  readonly channel: number;
  readonly name: string | null;
}

/** What iXML says of a take. */
export interface TakeFacts {
  readonly scene: string | null;
  readonly take: string | null;
  /** The sound roll. */
  readonly tape: string | null;
  readonly note: string | null;
  /** Circled: the one to print. */
  readonly circled: boolean;
  /** Recorded without picture. */
  readonly wild: boolean;
  readonly tracks: readonly TrackFacts[];
  /** Of a take that was recorded as one file a track: what all of them say, and which this one is. */
  readonly family: { readonly uid: string; readonly index: number } | null;
  /** Samples a second in which the time since midnight is counted; null: those of the file. */
  readonly timestampRate: number | null;
}

/** A file that is whole and of a form that is not read, or whose bytes cannot be what they claim to be. */
export class WaveDamage extends FileDamage {}
