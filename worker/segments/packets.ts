/** Packets of the picture by their hashes: what segments read of a clip, and what the joined file has of them. Pure. */
import type { PacketHashes } from '../../proof/bitstream.ts';

export const PACKET_BYTES = 16;

export const pictureOf = (packets: PacketHashes | undefined): Buffer =>
  packets?.streams.find(({ kind }) => kind === 'v')?.packets ?? Buffer.alloc(0);

const countOf = (packets: Buffer): number => packets.length / PACKET_BYTES;

/** Of the joined file, against those that left the encoders of its segments, in order. A text says what differs. */
export function joinedPackets(joined: Buffer, segments: readonly Buffer[]): string | null {
  const wanted = Buffer.concat(segments);
  if (joined.equals(wanted)) return null;
  if (joined.length !== wanted.length)
    return `${countOf(joined)} packets in the joined file, ${countOf(wanted)} in its segments`;
  const same = (packet: number): boolean =>
    joined.compare(
      wanted,
      packet * PACKET_BYTES,
      (packet + 1) * PACKET_BYTES,
      packet * PACKET_BYTES,
      (packet + 1) * PACKET_BYTES,
    ) === 0;
  let first = 0;
  while (same(first)) first += 1;
  return `packet ${first} of the joined file is not that of its segment`;
}

/** Where a run of packets lies in all of them, at `most` at the latest; the last place. -1: nowhere. */
function placeIn(all: Buffer, run: Buffer, most: number): number {
  for (let at = Math.min(most, countOf(all) - countOf(run)); at >= 0; at -= 1)
    if (all.compare(run, 0, run.length, at * PACKET_BYTES, at * PACKET_BYTES + run.length) === 0) return at;
  return -1;
}

/**
 * What each segment's decoder was given must lie in the clip as another program reads it, in one piece, and all of them must cover it without a gap. A text says
 * what differs. Packets that are equal to one another may lie in several places: of a run the last is taken that leaves no gap.
 */
export function takenPackets(taken: readonly Buffer[], all: Buffer): string | null {
  let end = 0;
  for (const [index, run] of taken.entries()) {
    const at = run.length === 0 ? -1 : placeIn(all, run, end);
    if (at < 0)
      return `segment ${index}: its ${countOf(run)} packets of the clip are not those that lie there up to packet ${end}`;
    end = Math.max(end, at + countOf(run));
  }
  return end === countOf(all)
    ? null
    : `${end} packets of the clip were read by its segments, of ${countOf(all)}`;
}
