/**
 * Counting packets while they are read. Memory does not grow with audio, and by 8 bytes a frame with picture.
 *
 * What counts is what is shown: an edit list or priming marks packets as discarded; they are needed to decode the
 * next ones, and are no frames of the clip. A decoder that honours the edit list gives the same number.
 */

/** One packet as ffprobe prints it; numbers that do not apply are absent. */
export interface Packet {
  readonly codec_type?: string;
  readonly stream_index: number;
  readonly pts?: number;
  readonly dts?: number;
  readonly duration?: number;
  readonly size?: string;
  readonly pos?: string;
  readonly flags?: string;
  readonly side_data_list?: readonly { readonly skip_samples?: number; readonly discard_padding?: number }[];
}

export interface PictureTally {
  /** All packets, hidden ones too: what a header's count is compared with. */
  packets: number;
  shown: number;
  readonly presentation: number[];
  readonly decode: number[];
  /** Shown packets without a presentation time. */
  untimed: number;
  /** Latest pts + duration of a shown packet; null when no packet says. */
  end: number | null;
  /** Duration of the last packet seen, ticks; 0: not said. */
  lastDuration: number;
  bytes: number;
  smallest: number;
  largest: number;
}

export interface AudioTally {
  packets: number;
  /** Packets that are played, wholly or in part, counted by `bytes/ticks`. */
  readonly played: Map<string, number>;
  /** Hidden packets before the first that is played, counted likewise. */
  readonly hiddenBefore: Map<string, number>;
  /** Samples to be skipped, counted from the first hidden packet on; samples to be left out at the end. */
  skip: number;
  padding: number;
  /** Time of the first packet that is played, and end of the last, ticks. */
  first: number | null;
  end: number | null;
}

export interface Tally {
  readonly picture: Map<number, PictureTally>;
  readonly audio: Map<number, AudioTally>;
  /** Furthest byte that any packet reaches in the file; 0 when positions are not said. */
  furthestByte: number;
  /** Packets that the reader itself marked as damaged. */
  marked: number;
}

export function emptyTally(): Tally {
  return { picture: new Map(), audio: new Map(), furthestByte: 0, marked: 0 };
}

function countPicture(tally: PictureTally, packet: Packet, bytes: number, hidden: boolean): void {
  tally.packets += 1;
  if (hidden) return;
  tally.shown += 1;
  tally.bytes += bytes;
  tally.smallest = Math.min(tally.smallest, bytes);
  tally.largest = Math.max(tally.largest, bytes);
  if (packet.duration !== undefined) tally.lastDuration = packet.duration;
  if (packet.dts !== undefined) tally.decode.push(packet.dts);
  if (packet.pts === undefined) {
    tally.untimed += 1;
    return;
  }
  tally.presentation.push(packet.pts);
  const end = packet.pts + (packet.duration ?? 0);
  tally.end = tally.end === null ? end : Math.max(tally.end, end);
}

function countAudio(tally: AudioTally, packet: Packet, bytes: number, hidden: boolean): void {
  tally.packets += 1;
  for (const side of packet.side_data_list ?? []) {
    tally.skip += side.skip_samples ?? 0;
    tally.padding += side.discard_padding ?? 0;
  }
  const key = `${bytes}/${packet.duration ?? 0}`;
  if (hidden) {
    if (tally.first === null) tally.hiddenBefore.set(key, (tally.hiddenBefore.get(key) ?? 0) + 1);
    return;
  }
  tally.played.set(key, (tally.played.get(key) ?? 0) + 1);
  const time = packet.pts ?? packet.dts;
  if (time === undefined) return;
  tally.first ??= time;
  tally.end = Math.max(tally.end ?? time, time + (packet.duration ?? 0));
}

/** Adds one packet. Flags are letters in fixed places: `K` key, `D` discarded, in newer versions `C` corrupt. */
export function countPacket(tally: Tally, packet: Packet): void {
  const bytes = Number(packet.size ?? 0);
  const flags = packet.flags ?? '';
  const hidden = flags.includes('D');
  if (packet.pos !== undefined) tally.furthestByte = Math.max(tally.furthestByte, Number(packet.pos) + bytes);
  if (flags.includes('C')) tally.marked += 1;
  if (packet.codec_type === 'video') {
    let stream = tally.picture.get(packet.stream_index);
    if (stream === undefined) {
      stream = {
        packets: 0,
        shown: 0,
        presentation: [],
        decode: [],
        untimed: 0,
        end: null,
        lastDuration: 0,
        bytes: 0,
        smallest: Number.MAX_SAFE_INTEGER,
        largest: 0,
      };
      tally.picture.set(packet.stream_index, stream);
    }
    countPicture(stream, packet, bytes, hidden);
  } else if (packet.codec_type === 'audio') {
    let stream = tally.audio.get(packet.stream_index);
    if (stream === undefined) {
      stream = {
        packets: 0,
        played: new Map(),
        hiddenBefore: new Map(),
        skip: 0,
        padding: 0,
        first: null,
        end: null,
      };
      tally.audio.set(packet.stream_index, stream);
    }
    countAudio(stream, packet, bytes, hidden);
  }
}
