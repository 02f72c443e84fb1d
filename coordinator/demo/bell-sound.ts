/** The sound of a bell: as an expression for ffmpeg, and as the file that the demo's raw camera wrote beside its frames. Pure. */

/**
 * A bell as it sounds: hum, prime, tierce, quint and nominal stand as 1 : 2 : 2.4 : 3 : 4 (the tuning of founders'
 * bells; value from memory), each dying away in its own time. Seconds: how fast; weight: how loud.
 */
const partials = [
  { ratio: 0.5, weight: 0.2, decay: 0.6 },
  { ratio: 1, weight: 0.22, decay: 1.1 },
  { ratio: 1.2, weight: 0.16, decay: 1.6 },
  { ratio: 1.5, weight: 0.08, decay: 2.4 },
  { ratio: 2, weight: 0.14, decay: 3.2 },
] as const;
/** Of the right channel against the left. */
const DETUNED = [1, 1.002] as const;
export const SAMPLE_RATE = 48_000;

/** A source of the `lavfi` device. */
export function bellAudio(tone: number): string {
  const voice = (detune: number): string =>
    partials
      .map(
        ({ ratio, weight, decay }) =>
          `${weight}*exp(-${decay}*t)*sin(2*PI*${(tone * ratio * detune).toFixed(3)}*t)`,
      )
      .join('+');
  return `aevalsrc='${DETUNED.map(voice).join('|')}':s=${SAMPLE_RATE}:c=stereo`;
}

const chunk = (name: string, bytes: Buffer): Buffer => {
  const size = Buffer.alloc(4);
  size.writeUInt32LE(bytes.length);
  return Buffer.concat([Buffer.from(name, 'latin1'), size, bytes]);
};

/** What a recorder says of a take, as iXML (its names of elements after the published specification). */
export interface TakeWords {
  readonly scene: string;
  readonly take: string;
  readonly tape: string;
  readonly note: string;
  /** Names of its channels, in order. */
  readonly tracks: readonly string[];
}

function ixmlOf({ scene, take, tape, note, tracks }: TakeWords): Buffer {
  const track = (name: string, index: number): string =>
    `<TRACK><CHANNEL_INDEX>${index + 1}</CHANNEL_INDEX><INTERLEAVE_INDEX>${index + 1}</INTERLEAVE_INDEX><NAME>${name}</NAME></TRACK>`;
  const text = `<?xml version="1.0" encoding="UTF-8"?><BWFXML><IXML_VERSION>1.61</IXML_VERSION><SCENE>${scene}</SCENE><TAKE>${take}</TAKE><TAPE>${tape}</TAPE><NOTE>${note}</NOTE><CIRCLED>TRUE</CIRCLED><TRACK_LIST><TRACK_COUNT>${tracks.length}</TRACK_COUNT>${tracks.map(track).join('')}</TRACK_LIST></BWFXML>`;
  // Chunks begin at even bytes.
  return Buffer.from(text.length % 2 === 0 ? text : `${text} `, 'latin1');
}

/** A WAV file of 24 bits with the time of its first sample, in samples since midnight (EBU Tech 3285). */
export function bellWave({
  tone,
  samples,
  since,
  struck = 0,
  words = null,
}: {
  readonly tone: number;
  /** Per channel. */
  readonly samples: number;
  readonly since: number;
  /** Sample at which the bell is struck; before it the file is silent. */
  readonly struck?: number;
  readonly words?: TakeWords | null;
}): Buffer {
  const channels = DETUNED.length;
  const data = Buffer.alloc(samples * channels * 3);
  for (let sample = struck; sample < samples; sample += 1) {
    const time = (sample - struck) / SAMPLE_RATE;
    for (const [channel, detune] of DETUNED.entries()) {
      const value = partials.reduce(
        (sum, { ratio, weight, decay }) =>
          sum + weight * Math.exp(-decay * time) * Math.sin(2 * Math.PI * tone * ratio * detune * time),
        0,
      );
      data.writeIntLE(Math.round(value * (2 ** 23 - 1)), 3 * (sample * channels + channel), 3);
    }
  }
  const format = Buffer.alloc(16);
  format.writeUInt16LE(1, 0);
  format.writeUInt16LE(channels, 2);
  format.writeUInt32LE(SAMPLE_RATE, 4);
  format.writeUInt32LE(SAMPLE_RATE * channels * 3, 8);
  format.writeUInt16LE(channels * 3, 12);
  format.writeUInt16LE(24, 14);
  const stated = Buffer.alloc(602);
  stated.write('The Third Casting', 0, 'latin1');
  stated.writeBigUInt64LE(BigInt(since), 338);
  stated.writeUInt16LE(1, 346);
  const said = words === null ? [] : [chunk('iXML', ixmlOf(words))];
  const parts = [chunk('bext', stated), ...said, chunk('fmt ', format), chunk('data', data)];
  return chunk('RIFF', Buffer.concat([Buffer.from('WAVE', 'latin1'), ...parts]));
}
