/** Facts of a sequence, from all its headers and one look at its first frame by ffprobe, which decides how it decodes. */
import type { ClipFacts, ExrFacts } from '../facts.ts';
import { type SequencePlace, openInput } from '../input.ts';
import { bitDepthOf, colourOf, ratioOf } from '../probe/picture.ts';
import { scan } from '../probe/scan.ts';
import { type Rate, compareRatios, ratio, sameRatio, timecodeBase } from '../time/rate.ts';
import { type Timecode, addFrames, parseTimecode, sameTimecode } from '../time/timecode.ts';
import { turnOfOrientation } from '../upright.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { SequenceReading } from './read.ts';
import { evenTimes, packetsOfFiles } from './numbered.ts';
import { type ExrStorage, type StillHeader, storedLabel } from '../formats/still.ts';

/** The rate that the headers state; `disagree` lists all when they state several. */
export function rateInHeaders(headers: readonly (Pick<StillHeader, 'rate'> | null)[]): {
  rate: Rate | null;
  disagree: readonly Rate[];
} {
  const rates: Rate[] = [];
  for (const header of headers) {
    const rate = header?.rate ?? null;
    if (rate !== null && !rates.some((known) => sameRatio(known, rate))) rates.push(rate);
  }
  return {
    rate: rates.length === 1 ? (rates[0] as Rate) : null,
    disagree: rates.length > 1 ? rates.sort(compareRatios) : [],
  };
}

export interface SequenceTimecode {
  readonly timecode: Timecode | null;
  /** Why a timecode that is there was not taken. */
  readonly refused: string | null;
  /** The first label, where nothing says how it counts: it is kept as text, and is no timecode. */
  readonly text: string | null;
  /** First frame whose timecode does not follow; null when all follow or none has one. */
  readonly break: { readonly index: number; readonly found: string; readonly expected: Timecode } | null;
  /** True when every frame carries the same label. */
  readonly still: boolean;
}

/** Above 30 frames a second stills store either pairs (ST 12-1:2014, 12.1) or plain counts, and nothing in one header says which: the labels of several do. */
const FASTEST_BASE = ratio(30);

/**
 * How labels above 30 frames a second count: each of them twice, or each once. Null: neither, or too few to say, or faster than the frames
 * field of ST 12-1 counts in pairs.
 */
function countedAbove30(labels: readonly (string | null)[], rate: Rate): Timecode | null {
  const base = timecodeBase(rate);
  if (base > 60 || base % 2 !== 0 || labels.length < 3) return null;
  const half = ratio(rate.num, rate.den * 2);
  const follows = (at: Rate, start: Timecode, frameOf: (index: number) => number): boolean =>
    labels.every((label, index) => {
      const here = label === null ? null : labelAt(label, at);
      return here !== null && sameTimecode(here, addFrames(start, frameOf(index)));
    });
  const first = labels[0] ?? '';
  const inPairs = labelAt(first, half);
  if (inPairs !== null)
    for (const second of [0, 1])
      if (follows(half, inPairs, (index) => Math.floor((index + second) / 2)))
        return { frame: inPairs.frame * 2 + second, base, drop: inPairs.drop };
  const single = labelAt(first, rate);
  return single !== null && follows(rate, single, (index) => index) ? single : null;
}

/** Null for a label that does not exist. */
function labelAt(label: string, rate: Rate): Timecode | null {
  try {
    return parseTimecode(label, rate);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return null;
  }
}

export function timecodeInHeaders(
  headers: readonly (Pick<StillHeader, 'timecode'> | null)[],
  rate: Rate,
): SequenceTimecode {
  const none = { timecode: null, refused: null, text: null, break: null, still: false };
  const first = headers[0]?.timecode ?? null;
  if (first === null) return none;
  const labels = headers.map((header) => (header?.timecode ? storedLabel(header.timecode) : null));
  const areFast = compareRatios(rate, FASTEST_BASE) > 0;
  // Two frames of one label are a pair.
  if (labels.length > (areFast ? 2 : 1) && labels.every((label) => label === labels[0]))
    return { ...none, still: true };
  if (areFast) {
    const counted = countedAbove30(labels, rate);
    return counted === null ? { ...none, text: labels[0] ?? null } : { ...none, timecode: counted };
  }
  let start: Timecode;
  try {
    start = parseTimecode(labels[0] as string, rate);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return { ...none, refused: error.message };
  }
  for (const [index, label] of labels.entries()) {
    const expected = addFrames(start, index);
    if (headers[index] === null) continue;
    let here: Timecode | null = null;
    try {
      here = label === null ? null : parseTimecode(label, rate);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      // A label that does not exist is one that does not follow.
    }
    if (here === null || !sameTimecode(here, expected))
      return {
        ...none,
        timecode: start,
        break: { index, found: label ?? 'none', expected },
      };
  }
  return { ...none, timecode: start };
}

/**
 * Whether our own code reads the pictures of a sequence (media/formats/exr/pixels.ts): all of them are of its kind, and of one at least
 * ffmpeg makes none, or has to place it. Who places the picture is then known to place it by its header.
 */
export function readsOurselves(headers: readonly (Pick<StillHeader, 'exr'> | null)[]): boolean {
  return areOurs(headers) && exrOf(headers).some(({ unread, isPlaced }) => unread !== null || isPlaced);
}

const exrOf = (headers: readonly (Pick<StillHeader, 'exr'> | null)[]): ExrStorage[] =>
  headers.flatMap((header) => header?.exr ?? []);

function areOurs(headers: readonly (Pick<StillHeader, 'exr'> | null)[]): boolean {
  const exr = exrOf(headers);
  return exr.length > 0 && exr.every(({ notOurs }) => notOurs === null);
}

/** Whether ours reads what this ffmpeg does not, for the length of an attribute and for nothing that is wrong with the frames. */
const readsInstead = (headers: readonly (Pick<StillHeader, 'exr'> | null)[]): boolean =>
  areOurs(headers) && exrOf(headers).some(({ long }) => long !== null);

/** Of OpenEXR frames; null for others. Frames that differ in compression or layout are described by the first of them. */
export function exrInHeaders(headers: readonly (Pick<StillHeader, 'exr'> | null)[]): ExrFacts | null {
  const [first, ...further] = headers.flatMap((header) => header?.exr ?? []);
  if (first === undefined) return null;
  const { layout, compression, chromaticities } = first;
  const channels = new Set(first.channels);
  for (const { channels: names } of further) for (const name of names) channels.add(name);
  return {
    layout,
    compression,
    channels: [...channels],
    chromaticities:
      chromaticities === null
        ? null
        : {
            red: [...chromaticities.red],
            green: [...chromaticities.green],
            blue: [...chromaticities.blue],
            white: [...chromaticities.white],
          },
    ...(readsOurselves(headers) ? { reader: 'own' as const } : {}),
  };
}

/** A sequence whose headers have been read. */
export interface ReadSequence {
  readonly rollFolder: string;
  readonly place: SequencePlace;
  readonly reading: SequenceReading;
  readonly rate: Rate;
}

/** How the pictures of a sequence come, by whoever decodes them. */
type Decoded = Pick<
  ClipFacts['video'],
  'streamIndex' | 'codec' | 'codecTag' | 'width' | 'height' | 'pixelFormat' | 'bitDepth' | 'colour'
> & { readonly pixelAspect: ClipFacts['video']['pixelAspect'] | null };

/** What our own reader makes of OpenEXR: planes of 32-bit floats, as ffmpeg calls them. */
function readByUs({ width, height }: StillHeader, { channels }: ExrFacts): Decoded {
  const colours = ['R', 'G', 'B'].every((name) => channels.includes(name));
  return {
    streamIndex: 0,
    codec: 'exr',
    codecTag: '',
    width,
    height,
    pixelFormat: colours ? 'gbrpf32le' : 'grayf32le',
    bitDepth: 32,
    colour: { primaries: null, transfer: null, matrix: null, range: null },
    pixelAspect: null,
  };
}

/** How the frames lie. */
function turnIn({ orientation }: StillHeader): Pick<ClipFacts['video'], 'rotation' | 'mirrored'> {
  const turn = orientation === undefined ? null : turnOfOrientation(orientation);
  if (turn === null) return { rotation: 0 };
  return { rotation: turn.rotation, ...(turn.mirrored ? { mirrored: true } : {}) };
}

interface DecodedFirst {
  /** Null: `why` says why not. */
  readonly picture: Decoded | null;
  readonly why: string;
  /** What ffprobe printed of the first frame all the same. */
  readonly errors: readonly string[];
}

async function readByFfmpeg(
  { rollFolder, place, rate }: ReadSequence,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: { signal?: AbortSignal },
): Promise<DecodedFirst> {
  const input = await openInput(rollFolder, { ...place, count: 1 }, rate);
  const read = await scan(input, tools, { ...options, headersOnly: true }).finally(() => input.dispose());
  const { errors } = read;
  if (read.state !== 'read') return { picture: null, why: read.why, errors };
  const stream = read.headers.streams.find((item) => item.codec_type === 'video');
  const pixelFormat = stream?.pix_fmt;
  if (
    stream === undefined ||
    !stream.codec_name ||
    pixelFormat === undefined ||
    pixelFormat === 'unknown' ||
    !stream.width ||
    !stream.height
  )
    return {
      picture: null,
      why: `codec ${stream?.codec_name ?? 'unknown'}, pixel format ${pixelFormat ?? 'unknown'}`,
      errors,
    };
  return {
    picture: {
      streamIndex: stream.index,
      codec: stream.codec_name,
      codecTag: stream.codec_tag_string,
      width: stream.width,
      height: stream.height,
      pixelFormat,
      bitDepth: bitDepthOf(pixelFormat, stream.bits_per_raw_sample),
      colour: colourOf(stream),
      pixelAspect: ratioOf(stream.sample_aspect_ratio),
    },
    why: '',
    errors,
  };
}

/** Null when ffprobe cannot tell how the first frame decodes (`why`). `errors`: what it printed of that frame all the same. */
export async function sequenceFacts(
  sequence: ReadSequence,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: { signal?: AbortSignal } = {},
): Promise<
  | { readonly facts: ClipFacts; readonly why: null; readonly errors: readonly string[] }
  | { readonly facts: null; readonly why: string; readonly errors: readonly string[] }
> {
  const { place, reading, rate } = sequence;
  const header = reading.headers.find((item) => item !== null);
  if (header === undefined || header === null) return { facts: null, why: 'no header', errors: [] };
  let exr = exrInHeaders(reading.headers);
  let decodedFirst: DecodedFirst =
    exr?.reader === 'own'
      ? { picture: readByUs(header, exr), why: '', errors: [] }
      : await readByFfmpeg(sequence, tools, options);
  const isRead = decodedFirst.picture !== null && decodedFirst.errors.length === 0;
  if (exr !== null && !isRead && readsInstead(reading.headers)) {
    exr = { ...exr, reader: 'own' };
    decodedFirst = { picture: readByUs(header, exr), why: '', errors: [] };
  }
  const { picture, why, errors } = decodedFirst;
  if (picture === null) return { facts: null, why, errors };
  const { pixelAspect, ...decoded } = picture;
  const timecode = timecodeInHeaders(reading.headers, rate);
  const facts: ClipFacts = {
    kind: 'sequence',
    container: header.format,
    video: {
      ...decoded,
      profile: null,
      level: null,
      pixelAspect: header.pixelAspect ?? pixelAspect ?? { num: 1, den: 1 },
      ...turnIn(header),
      fieldOrder: 'progressive',
      claimedFrames: null,
      ...evenTimes(place.count, rate),
      ...packetsOfFiles(reading.fileBytes),
    },
    audio: [],
    timecode: timecode.timecode,
    timecodeFrom: timecode.timecode === null ? null : 'header',
    reel: header.reel,
    createdAt: null,
    metadata: timecode.text === null ? {} : { timecode: timecode.text },
    firstNumber: place.first,
    ...(reading.stated === null ? {} : { stated: reading.stated }),
    ...(exr === null ? {} : { exr }),
  };
  return { facts, why: null, errors };
}
