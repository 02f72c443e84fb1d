/**
 * Writes WAV files for tests as cameras and recorders do: RIFF or RF64 (ITU-R BS.2088, EBU Tech 3306), with the time of the first sample
 * where one is given (`bext`, EBU Tech 3285). It knows nothing of the readers.
 */

export interface WaveOptions {
  readonly sampleRate?: number;
  readonly channels?: number;
  readonly bits?: 16 | 24 | 32;
  /** Per channel. */
  readonly samples: number;
  /** From -1 to 1; by default a bell that dies away, another one in each channel. */
  readonly value?: (sample: number, channel: number) => number;
  /** Samples since midnight; absent: no `bext`. */
  readonly timeReference?: number;
  readonly rf64?: boolean;
  /** WAVE_FORMAT_EXTENSIBLE with this channel mask. */
  readonly mask?: number;
  /** In place of 1, PCM. */
  readonly formatTag?: number;
  /** Chunks before the samples: name and bytes. */
  readonly before?: readonly (readonly [name: string, bytes: Buffer])[];
}

/** Strikes every 0.4 s, each at another pitch, so that every stretch is like no other. */
export function strikes(sampleRate: number): (sample: number, channel: number) => number {
  return (sample, channel) => {
    const stroke = Math.floor(sample / (0.4 * sampleRate));
    const since = sample / sampleRate - 0.4 * stroke;
    const tone = (180 + 37 * stroke + 53 * channel) * 2 * Math.PI * since;
    return 0.4 * Math.exp(-3 * since) * (Math.sin(tone) + 0.5 * Math.sin(2.4 * tone + channel));
  };
}

const chunk = (name: string, bytes: Buffer, size = bytes.length): Buffer => {
  const head = Buffer.alloc(8);
  head.write(name, 'latin1');
  head.writeUInt32LE(size, 4);
  return Buffer.concat([head, bytes, Buffer.alloc(bytes.length % 2)]);
};

export function buildWave(options: WaveOptions): Buffer {
  const { sampleRate = 48_000, channels = 2, bits = 24, samples, rf64 = false, before = [] } = options;
  const value = options.value ?? strikes(sampleRate);
  const width = bits / 8;
  const data = Buffer.alloc(samples * channels * width);
  const full = 2 ** (bits - 1);
  for (let sample = 0; sample < samples; sample += 1)
    for (let channel = 0; channel < channels; channel += 1) {
      const code = Math.max(-full, Math.min(full - 1, Math.round(value(sample, channel) * full)));
      data.writeIntLE(code, (sample * channels + channel) * width, width);
    }
  const format = Buffer.alloc(options.mask === undefined ? 16 : 40);
  format.writeUInt16LE(options.mask === undefined ? (options.formatTag ?? 1) : 0xfffe, 0);
  format.writeUInt16LE(channels, 2);
  format.writeUInt32LE(sampleRate, 4);
  format.writeUInt32LE(sampleRate * channels * width, 8);
  format.writeUInt16LE(channels * width, 12);
  format.writeUInt16LE(bits, 14);
  if (options.mask !== undefined) {
    format.writeUInt16LE(22, 16);
    format.writeUInt16LE(bits, 18);
    format.writeUInt32LE(options.mask, 20);
    Buffer.from('0100000000001000800000aa00389b71', 'hex').copy(format, 24);
    format.writeUInt16LE(options.formatTag ?? 1, 24);
  }
  const bext = Buffer.alloc(602);
  if (options.timeReference !== undefined) {
    bext.write('The Third Casting', 0, 'latin1');
    bext.write('2026-05-03', 320, 'latin1');
    bext.write('06:41:10', 330, 'latin1');
    bext.writeBigUInt64LE(BigInt(options.timeReference), 338);
    bext.writeUInt16LE(1, 346);
  }
  const parts = [
    ...before.map(([name, bytes]) => chunk(name, bytes)),
    ...(options.timeReference === undefined ? [] : [chunk('bext', bext)]),
    chunk('fmt ', format),
    chunk('data', data, rf64 ? 0xffff_ffff : data.length),
  ];
  const sizes = Buffer.alloc(28);
  const body = Buffer.concat(parts);
  if (rf64) {
    sizes.writeBigUInt64LE(BigInt(4 + 36 + body.length), 0);
    sizes.writeBigUInt64LE(BigInt(data.length), 8);
    sizes.writeBigUInt64LE(BigInt(samples), 16);
  }
  const all = Buffer.concat([Buffer.from('WAVE', 'latin1'), ...(rf64 ? [chunk('ds64', sizes)] : []), body]);
  const head = Buffer.alloc(8);
  head.write(rf64 ? 'RF64' : 'RIFF', 'latin1');
  head.writeUInt32LE(rf64 ? 0xffff_ffff : all.length, 4);
  return Buffer.concat([head, all]);
}
