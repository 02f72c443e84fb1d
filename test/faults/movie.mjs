/**
 * A QuickTime or MP4 file as bytes: where its tracks and samples are, and the same file with other samples in a track.
 * What a fault does not touch keeps its bytes. Source: ISO/IEC 14496-12 (boxes, sample table).
 */

function children(bytes, start, end) {
  const found = [];
  for (let at = start; at + 8 <= end; ) {
    const short = bytes.readUInt32BE(at);
    const header = short === 1 ? 16 : 8;
    const size = short === 1 ? Number(bytes.readBigUInt64BE(at + 8)) : short === 0 ? end - at : short;
    if (size < header || at + size > end) throw new Error(`no atom at byte ${at}`);
    found.push({ type: bytes.toString('latin1', at + 4, at + 8), at, start: at + header, end: at + size });
    at += size;
  }
  return found;
}

/** The atom at the end of a path of types below `parent`; null when there is none. */
function below(bytes, parent, ...path) {
  let atom = parent;
  for (const type of path) {
    atom = children(bytes, atom.start, atom.end).find((one) => one.type === type);
    if (atom === undefined) return null;
  }
  return atom;
}

const movieAtom = (bytes) => below(bytes, { start: 0, end: bytes.length }, 'moov');

/** Tracks of a kind (`vide`, `soun`, `tmcd`), in the file's order. */
export function tracksOf(bytes, kind) {
  const movie = movieAtom(bytes);
  return children(bytes, movie.start, movie.end).filter((atom) => {
    const handler = atom.type === 'trak' ? below(bytes, atom, 'mdia', 'hdlr') : null;
    return handler !== null && bytes.toString('latin1', handler.start + 8, handler.start + 12) === kind;
  });
}

function tableOf(bytes, track, type) {
  return below(bytes, track, 'mdia', 'minf', 'stbl', type);
}

/** Place and size of every sample of a track, in decoding order. */
export function samplesOf(bytes, track) {
  const sizes = tableOf(bytes, track, 'stsz');
  const one = bytes.readUInt32BE(sizes.start + 4);
  const count = bytes.readUInt32BE(sizes.start + 8);
  const size = (index) => (one === 0 ? bytes.readUInt32BE(sizes.start + 12 + 4 * index) : one);
  const short = tableOf(bytes, track, 'stco');
  const long = tableOf(bytes, track, 'co64');
  const chunks = bytes.readUInt32BE((short ?? long).start + 4);
  const chunk = (index) =>
    short === null
      ? Number(bytes.readBigUInt64BE(long.start + 8 + 8 * index))
      : bytes.readUInt32BE(short.start + 8 + 4 * index);
  const runs = tableOf(bytes, track, 'stsc');
  const entries = Array.from({ length: bytes.readUInt32BE(runs.start + 4) }, (_, index) => ({
    first: bytes.readUInt32BE(runs.start + 8 + 12 * index) - 1,
    each: bytes.readUInt32BE(runs.start + 12 + 12 * index),
  }));
  const samples = [];
  for (let index = 0; index < chunks && samples.length < count; index += 1) {
    let at = chunk(index);
    const { each } = entries.findLast(({ first }) => first <= index);
    for (let number = 0; number < each && samples.length < count; number += 1) {
      samples.push({ offset: at, size: size(samples.length) });
      at += size(samples.length - 1);
    }
  }
  return samples;
}

function atom(type, ...parts) {
  const content = Buffer.concat(parts);
  const head = Buffer.alloc(8);
  head.writeUInt32BE(content.length + 8);
  head.write(type, 4, 'latin1');
  return Buffer.concat([head, content]);
}

function numbers(...values) {
  const bytes = Buffer.alloc(4 * values.length);
  values.forEach((value, index) => {
    bytes.writeUInt32BE(value, 4 * index);
  });
  return bytes;
}

/** Copy of a field atom with a 32-bit value scaled by `by`. */
function scaled(bytes, box, offset, by) {
  const copy = Buffer.from(bytes.subarray(box.at, box.end));
  const place = box.start - box.at + offset;
  copy.writeUInt32BE(Math.round(copy.readUInt32BE(place) * by), place);
  return copy;
}

/**
 * The file with its one picture track made of `samples`: places in this file. Every sample lasts as long as before; the
 * index is written again at the end, the media data stay where they are.
 */
export function withPictureSamples(bytes, samples) {
  const [track, more] = tracksOf(bytes, 'vide');
  if (track === undefined || more !== undefined) throw new Error('not one picture track');
  const times = tableOf(bytes, track, 'stts');
  if (bytes.readUInt32BE(times.start + 4) !== 1) throw new Error('pictures of unequal length');
  if (tableOf(bytes, track, 'ctts') !== null)
    throw new Error('pictures that are not stored as they are shown');
  const by = samples.length / bytes.readUInt32BE(times.start + 8);
  // Offsets of the fields in boxes of version 0: ISO/IEC 14496-12, 8.3.2, 8.4.2, 8.6.6.
  const fresh = {
    stts: () => atom('stts', numbers(0, 1, samples.length, bytes.readUInt32BE(times.start + 12))),
    stsz: () => atom('stsz', numbers(0, 0, samples.length, ...samples.map(({ size }) => size))),
    stsc: () => atom('stsc', numbers(0, 1, 1, 1, 1)),
    stco: () => atom('stco', numbers(0, samples.length, ...samples.map(({ offset }) => offset))),
    co64: () => atom('stco', numbers(0, samples.length, ...samples.map(({ offset }) => offset))),
    tkhd: (box) => scaled(bytes, box, 20, by),
    mdhd: (box) => scaled(bytes, box, 16, by),
    elst: (box) => scaled(bytes, box, 8, by),
  };
  const rebuilt = (box) => {
    if (Object.hasOwn(fresh, box.type)) return fresh[box.type](box);
    if (['mdia', 'minf', 'stbl', 'edts'].includes(box.type))
      return atom(box.type, ...children(bytes, box.start, box.end).map(rebuilt));
    return bytes.subarray(box.at, box.end);
  };
  const movie = movieAtom(bytes);
  const index = atom(
    'moov',
    ...children(bytes, movie.start, movie.end).map((box) =>
      box.at === track.at
        ? atom('trak', ...children(bytes, box.start, box.end).map(rebuilt))
        : bytes.subarray(box.at, box.end),
    ),
  );
  // What stood behind the old index stays where the offsets look for it: the old one becomes free space.
  const before = Buffer.from(movie.end === bytes.length ? bytes.subarray(0, movie.at) : bytes);
  if (movie.end !== bytes.length) before.write('free', movie.at + 4, 'latin1');
  return Buffer.concat([before, index]);
}

/** Where the timecode's first frame number and its flags are. */
export function timecodePlaces(bytes) {
  const [track] = tracksOf(bytes, 'tmcd');
  if (track === undefined) throw new Error('no timecode track');
  // Behind version and count: size, type, 6 reserved, reference, reserved, then the flags.
  return { number: samplesOf(bytes, track)[0].offset, flags: tableOf(bytes, track, 'stsd').start + 8 + 20 };
}
