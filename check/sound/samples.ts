/** Samples of a WAV file from anywhere in it. */
import type { FileHandle } from 'node:fs/promises';
import { readAt } from '../../files/bytes.ts';
import type { WaveForm } from './wave.ts';

/** Full scale of 32 bits. */
export const FULL = 2 ** 31;

export interface SampleSource {
  readonly handle: FileHandle;
  readonly form: WaveForm;
  /** Of the file, from 1. */
  readonly channels: readonly number[];
}

/** Of each channel its samples from `left` on, at the full scale of 32 bits. Before the beginning of the file lie zeros; what lies behind its end is left out. */
export async function channelsFrom(
  { handle, form, channels }: SampleSource,
  left: number,
  wanted: number,
): Promise<Float64Array[]> {
  const whole = form.width * form.channels;
  const start = Math.max(0, left);
  const count = Math.max(0, Math.min(wanted - (start - left), form.samples - start));
  const bytes = await readAt(handle, form.at + start * whole, count * whole);
  const read = Math.floor(bytes.length / whole);
  const value = (at: number): number =>
    form.coding === 'float'
      ? bytes.readFloatLE(at) * FULL
      : bytes.readIntLE(at, form.width) * 2 ** (32 - 8 * form.width);
  return channels.map((channel) => {
    const samples = new Float64Array(start - left + read);
    for (let at = 0; at < read; at += 1)
      samples[start - left + at] = value(at * whole + (channel - 1) * form.width);
    return samples;
  });
}
