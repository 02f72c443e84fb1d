/**
 * A hash of each stream's packets, one after the other without what a container puts between them: taken where they leave
 * the encoder and again from the file, it says whether the file holds what was encoded. It finds faults, not forgers.
 */
import { createHash } from 'node:crypto';
import type { Readable } from 'node:stream';
import type { ClipFacts } from '../media/facts.ts';

/** Of ffmpeg's streamhash muxer (MurmurHash3, 128 bits). */
export const PAYLOAD_HASH = 'murmur3';

/**
 * What makes packets of H.264 comparable: from the encoder they come behind start codes, in the file they stand behind
 * lengths; parameter sets (NAL unit types 7 and 8, ITU-T H.264, Table 7-1) may stand in the stream, in the file's header,
 * or in both.
 */
const bitstreamFilters = {
  h264: {
    ofEncoder: 'filter_units=remove_types=7-8',
    ofFile: 'h264_mp4toannexb,filter_units=remove_types=7-8',
  },
  /**
   * The same of H.265: parameter sets are units of types 32 to 34 (ITU-T H.265, Table 7-1). Messages before a picture (type 39) stand in the file's
   * header too, and what light there is of all pictures is known when all are encoded: they are left out, and read one by one
   * (check/movie/h265.ts).
   */
  h265: {
    ofEncoder: 'filter_units=remove_types=32-34,filter_units=remove_types=39',
    ofFile: 'hevc_mp4toannexb,filter_units=remove_types=32-34,filter_units=remove_types=39',
  },
} as const;

/** null: its packets are the same on both sides. */
export function unitFilters(codec: string): { readonly ofEncoder: string; readonly ofFile: string } | null {
  return codec === 'h264' || codec === 'h265' ? bitstreamFilters[codec] : null;
}

/** Streams as they lie in the file, from the first packet to the last; packets before an edit list's start are packets too. */
const copied = (streams: readonly string[]): string[] => [
  ...streams.flatMap((stream) => ['-map', stream]),
  ...['-c', 'copy', '-copypriorss', '1', '-copyinkf'],
];

/** Output options, in front of their target, that hash these streams without decoding them. */
export function bitstreamOptions(
  streams: readonly string[],
  bitstreamFilters: readonly string[] = [],
): string[] {
  return [...copied(streams), ...bitstreamFilters, '-f', 'streamhash', '-hash', PAYLOAD_HASH];
}

/**
 * The same, packet by packet, for a clip whose files are read apart: what is hashed of each joins to what is hashed of all. Times are
 * counts: at a joint audio may end later than the picture, and times that go back end a program that is told to end at every error.
 */
export function packetOptions(streams: readonly string[]): string[] {
  return [...copied(streams), '-bsf', 'setts=ts=N', '-f', 'framehash', '-hash', PAYLOAD_HASH];
}

/** Per stream in order: hashes of its packets, 16 bytes each. */
export interface PacketHashes {
  readonly streams: readonly { readonly kind: string; readonly packets: Buffer }[];
}

/** Lines `<stream>, <decoding time>, <time>, <length>, <bytes>, <hash>`, and behind it what containers say beside a packet; the kind of a stream stands in the head. What is no such line is left out, and then packets are missing. */
export async function readPacketHashes(stream: Readable): Promise<PacketHashes> {
  const kinds = new Map<number, string>();
  const hashes = new Map<number, string[]>();
  let rest = '';
  for await (const chunk of stream) {
    const lines = (rest + String(chunk)).split('\n');
    rest = lines.pop() ?? '';
    for (const line of lines) {
      const head = /^#media_type (\d+): ([a-z])/.exec(line);
      if (head !== null) kinds.set(Number(head[1]), head[2] as string);
      const packet = /^(\d+)(?:, *-?\w+){4}, *([0-9a-f]{32})(?:,|$)/.exec(line);
      if (packet === null) continue;
      const index = Number(packet[1]);
      const list = hashes.get(index);
      if (list === undefined) hashes.set(index, [packet[2] as string]);
      else list.push(packet[2] as string);
    }
  }
  return {
    streams: [...kinds]
      .sort(([a], [b]) => a - b)
      .map(([index, kind]) => ({ kind, packets: Buffer.from((hashes.get(index) ?? []).join(''), 'hex') })),
  };
}

/** One bitstream of parts in their order; a stream that one of them lacks is missing. */
export function joinedBitstream(parts: readonly PacketHashes[]): Bitstream {
  const [first] = parts;
  const streams = (first?.streams ?? []).filter(({ kind }, index) =>
    parts.every((part) => part.streams[index]?.kind === kind),
  );
  return {
    streams: streams.map(({ kind }, index) => {
      const all = createHash('sha256');
      let packets = 0;
      for (const part of parts) {
        const own = part.streams[index]?.packets ?? Buffer.alloc(0);
        all.update(own);
        packets += own.length / 16;
      }
      return { kind, hash: `${packets} packets ${all.digest('hex')}` };
    }),
  };
}

/** Per stream in order: `v` or `a`, and the hash. */
export interface Bitstream {
  readonly streams: readonly { readonly kind: string; readonly hash: string }[];
}

/** For people, and for comparing: two bitstreams are equal when their texts are and neither is `nothing`. */
export function bitstreamText({ streams }: Bitstream): string {
  return streams.map(({ kind, hash }) => `${kind} ${hash}`).join(', ') || 'nothing';
}

/** Picture and audio of a source, as `-map` names them; a sound file beside frames and recordings of sound rolls are read again by other code (check/sound). */
export function sourceStreams({ video, audio }: ClipFacts): string[] {
  const own = audio.filter(({ beside, recording }) => beside === undefined && recording === undefined);
  return [video, ...own].map(({ streamIndex }) => `0:${streamIndex}`);
}

/** Reads streamhash's lines `<index>,<kind>,<name>=<hex>`; what is no such line, or is cut off within it, is left out, and then streams are missing. */
export async function readBitstream(stream: Readable): Promise<Bitstream> {
  let text = '';
  for await (const chunk of stream) text += String(chunk);
  const streams: { kind: string; hash: string }[] = [];
  for (const [, index, kind, hash] of text.matchAll(/^(\d+),([a-z]),[A-Za-z0-9]+=([0-9a-f]{32})\n/gm))
    streams[Number(index)] = { kind: kind as string, hash: hash as string };
  return { streams: [...streams].map((one) => one ?? { kind: '?', hash: '' }) };
}
