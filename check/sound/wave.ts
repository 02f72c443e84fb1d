/**
 * A WAV file as the checker reads it: its own walk through the chunks, and the samples straight from their bytes. Nothing of it is shared with the
 * reader of `media/formats`, or with ffmpeg, through which the samples come into a deliverable (EBU Tech 3285, EBU Tech 3306).
 */
import { createHash } from 'node:crypto';
import { type FileHandle, open } from 'node:fs/promises';
import { readAt } from '../../files/bytes.ts';
import { fsPath } from '../../files/names.ts';

export interface WaveRead {
  readonly sampleRate: number;
  readonly channels: number;
  readonly bits: number;
  readonly samples: number;
  /** Samples since midnight; null: the file does not say. */
  readonly since: bigint | null;
  /** SHA-256 of the samples as they are stored, in hexadecimal digits. */
  readonly sha256: string;
}

interface Found {
  readonly at: number;
  readonly bytes: number;
}

/** Samples that are turned into 32 bits at a time. */
const AT_ONCE = 1 << 16;

/** Name of the chunk and where its bytes lie; the last of each name. */
async function chunksOf(handle: FileHandle): Promise<Map<string, Found>> {
  const { size } = await handle.stat();
  const found = new Map<string, Found>();
  for (let at = 12; at < size - 7; ) {
    const head = await readAt(handle, at, 8);
    const id = head.toString('latin1', 0, 4);
    const long = found.get('ds64');
    const stated = head.readUInt32LE(4);
    const bytes =
      id === 'data' && stated === 2 ** 32 - 1 && long !== undefined
        ? Number((await readAt(handle, long.at + 8, 8)).readBigUInt64LE(0))
        : stated;
    found.set(id, { at: at + 8, bytes });
    at += 8 + bytes + (bytes & 1);
  }
  return found;
}

/** What a WAV file of whole numbers or of floats of 32 bits says of its samples, and where they lie. */
export interface WaveForm {
  readonly coding: 'integer' | 'float';
  readonly sampleRate: number;
  readonly channels: number;
  /** Bytes of a sample. */
  readonly width: number;
  /** Byte of the first sample. */
  readonly at: number;
  readonly samples: number;
  /** Samples since midnight; null: the file does not say. */
  readonly since: bigint | null;
}

/** null: no such file. Throws what reading throws. */
export async function waveForm(handle: FileHandle): Promise<WaveForm | null> {
  const chunks = await chunksOf(handle);
  const [form, data, stated] = [chunks.get('fmt '), chunks.get('data'), chunks.get('bext')];
  if (form === undefined || data === undefined) return null;
  const words = await readAt(handle, form.at, Math.min(form.bytes, 26));
  const tag = words.readUInt16LE(0) === 65_534 ? words.readUInt16LE(24) : words.readUInt16LE(0);
  const [channels, sampleRate] = [words.readUInt16LE(2), words.readUInt32LE(4)];
  const width = words.readUInt16LE(12) / channels;
  const isInteger = tag === 1 && [2, 3, 4].includes(width);
  if (!isInteger && !(tag === 3 && width === 4)) return null;
  const since =
    stated === undefined || stated.bytes < 346
      ? null
      : await readAt(handle, stated.at + 338, 8).then(
          (field) => BigInt(field.readUInt32LE(0)) + (BigInt(field.readUInt32LE(4)) << 32n),
        );
  return {
    coding: isInteger ? 'integer' : 'float',
    sampleRate,
    channels,
    width,
    at: data.at,
    samples: Math.floor(data.bytes / (width * channels)),
    since,
  };
}

/** Gives all samples in order, interleaved, as signed 32-bit words, little-endian. null: no WAV file of whole numbers. Throws what reading throws. */
export async function readWaveAgain(path: string, take: (samples: Buffer) => void): Promise<WaveRead | null> {
  const handle = await open(fsPath(path), 'r');
  try {
    const form = await waveForm(handle);
    if (form === null || form.coding !== 'integer') return null;
    const { channels, sampleRate, width, samples, since } = form;
    const hash = createHash('sha256');
    const whole = width * channels;
    let sample = 0;
    while (sample < samples) {
      const part = await readAt(
        handle,
        form.at + sample * whole,
        Math.min(AT_ONCE, samples - sample) * whole,
      );
      if (part.length === 0 || part.length % whole !== 0) return null;
      hash.update(part);
      take(spread(part, width));
      sample += part.length / whole;
    }
    return { sampleRate, channels, bits: width * 8, samples, since, sha256: hash.digest('hex') };
  } finally {
    await handle.close();
  }
}

/** The bytes of each sample, with zeros below them. */
function spread(part: Buffer, width: number): Buffer {
  if (width === 4) return part;
  const out = Buffer.alloc((part.length / width) * 4);
  for (let from = 0, to = 4 - width; from < part.length; from += width, to += 4)
    for (let byte = 0; byte < width; byte += 1) out[to + byte] = part[from + byte] as number;
  return out;
}
