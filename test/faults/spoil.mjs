/** A good file spoiled in its bytes, and nothing else in it. */
import { samplesOf, timecodePlaces, tracksOf, withPictureSamples } from './movie.mjs';

function flipped(bytes, { stream, sample, bit }) {
  const [track] = tracksOf(bytes, stream);
  if (track === undefined) throw new Error(`no track of ${stream}`);
  const samples = samplesOf(bytes, track);
  const { offset, size } = samples[sample % samples.length];
  const at = bit % (8 * size);
  bytes[offset + (at >> 3)] ^= 0x80 >> (at & 7);
  return bytes;
}

function timecodeSpoiled(bytes, { frames, dropFlag, base }) {
  const { number, flags } = timecodePlaces(bytes);
  if (frames !== 0) bytes.writeInt32BE(bytes.readInt32BE(number) + frames, number);
  // Behind the flags time scale and length of a frame.
  if (base !== undefined) bytes[flags + 12] = base;
  if (dropFlag === false) {
    if ((bytes[flags + 3] & 1) === 0) throw new Error('there is no drop-frame flag');
    bytes[flags + 3] &= ~1;
  }
  return bytes;
}

function trackLost(bytes, { track }) {
  const lost = tracksOf(bytes, 'soun')[track];
  if (lost === undefined) throw new Error(`no audio track ${track}`);
  bytes.write('free', lost.at + 4, 'latin1');
  return bytes;
}

/** The file's bytes with the fault in them; the buffer may be changed. */
export function spoilFile(bytes, operation) {
  switch (operation.do) {
    case 'frames': {
      const samples = samplesOf(bytes, tracksOf(bytes, 'vide')[0]);
      return withPictureSamples(
        bytes,
        operation.map.map((index) => samples[index]),
      );
    }
    case 'bit':
      return flipped(bytes, operation);
    case 'truncate':
      return bytes.subarray(0, Math.max(0, bytes.length - operation.bytes));
    case 'timecode':
      return timecodeSpoiled(bytes, operation);
    case 'lose-track':
      return trackLost(bytes, operation);
    default:
      throw new Error(`no such fault of a file: ${operation.do}`);
  }
}

/** The clip with `bytes` of one coded picture turned over, from the share `from` (0 to 1) of it on. */
export function damagedCopy(clip, { sample, from, bytes }) {
  const samples = samplesOf(clip, tracksOf(clip, 'vide')[0]);
  const { offset, size } = samples[sample];
  const start = offset + Math.min(size - 1, Math.floor(size * from));
  for (let at = start; at < Math.min(start + bytes, offset + size); at += 1) clip[at] ^= 0xff;
  return clip;
}
