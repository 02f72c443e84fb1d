/** What reads each format: every reader of ours, as the program calls it. Damage is a value or one of our own typed refusals; anything else is a fault. */
import { resolvePull } from '../../coordinator/pull/resolve.ts';
import { readCut } from '../../handover/cut/read.ts';
import { open } from 'node:fs/promises';
import { deflateSync } from 'node:zlib';
import {
  type Ffv1Configuration,
  pictureStream,
  readConfiguration,
  readFrame,
  remainder,
} from '../../check/ffv1.ts';
import { dpxFrame } from '../../check/master/dpx.ts';
import { measureExr } from '../../check/master/exr.ts';
import { readMatroska } from '../../check/matroska.ts';
import { readMovie } from '../../check/movie/read.ts';
import { readSettings } from '../../coordinator/settings/read.ts';
import { FileDamage } from '../../files/bytes.ts';
import { readChain } from '../../files/manifest/chain.ts';
import { readChecksumFile } from '../../files/manifest/checksum-file.ts';
import { isGeneration, readGeneration } from '../../files/manifest/generation.ts';
import { isHashList1, readHashList1 } from '../../files/manifest/hash-list-1.ts';
import { readHistory } from '../../files/manifest/history.ts';
import { parseXml, XmlError } from '../../files/manifest/xml.ts';
import { FindingError } from '../../findings/finding.ts';
import { cdlsOf } from '../../media/colour/cdl-file.ts';
import { colourFileSteps } from '../../media/colour/file.ts';
import { ColourFileError } from '../../media/colour/refuse.ts';
import { acesFaults } from '../../check/master/exr/aces.ts';
import { ExrForeign } from '../../check/master/exr/damage.ts';
import { decodeAll, decodeHalves, surveyValues } from '../../check/master/exr/values.ts';
import { sourceOfBytes, sourceOfFile } from '../../check/master/exr/source.ts';
import { placedPixels } from '../../check/master/exr/placed.ts';
import { walkExr } from '../../check/master/exr/chunks.ts';
import { readPlaced } from '../../media/formats/exr/pixels.ts';
import { KernelMemory } from '../../media/kernels/memory.ts';
import { readForm } from '../../media/probe/form.ts';
import { PictureCutter } from '../../media/raw/decoders/declared/cut.ts';
import { loadDecoder } from '../../media/raw/decoders/declared/load.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { decodeCfa, notOurs } from '../../media/formats/dng/decode.ts';
import type { DngFrame } from '../../media/formats/dng/header.ts';
import { sourceOfBytes as tiffOfBytes, sourceOfFile as tiffOfFile } from '../../media/formats/tiff/header.ts';
import { DngKernel } from '../../media/formats/dng/kernel.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import { DngRefusal } from '../../media/formats/dng/refusal.ts';
import { readStill } from '../../media/sequence/read.ts';
import { lintProfileFile } from '../../profiles/load.ts';
import { readSamples } from '../../proof/pixel-sample-file.ts';
import { readSketch, SKETCH_FORM } from '../../proof/sketch/file.ts';
import { FINGERPRINTS_FORM, readFingerprints } from '../../proof/source-fingerprints.ts';
import type { FuzzFormat } from './seeds.ts';

export interface Damaged {
  readonly bytes: Buffer;
  /** The same, as a file with the format's ending. */
  readonly path: string;
}

export interface Reader {
  readonly name: string;
  /** RangeError is what this one says of damage (its callers expect it); the engine's own are faults all the same. */
  readonly rangeError?: true;
  read(damaged: Damaged): unknown;
}

/** Read, and followed to a clip: what is read of a broken cut must do no harm behind the reader. */
const pulled = (bytes: Buffer): unknown =>
  resolvePull({
    cut: readCut(bytes),
    clips: [
      {
        ...{
          roll: 'A001',
          clip: 'A001C001',
          name: 'A001C001',
          files: ['A001C001.mov'],
          reels: ['A001'],
          frames: 240,
        },
        start: { frame: 107_892, base: 30, drop: true },
        rate: { num: 30_000, den: 1001 },
      },
    ],
    unread: [],
    handles: 24,
    rate: null,
    file: 'a.edl',
  });

const xml = (bytes: Buffer): unknown => {
  const root = parseXml(bytes);
  if (isGeneration(root)) return readGeneration(root, 'seed.mhl');
  return isHashList1(root) ? readHashList1(root, 'seed.mhl') : null;
};
const mhlReaders: readonly Reader[] = [
  { name: 'xml', read: ({ bytes }) => xml(bytes) },
  { name: 'chain', read: ({ bytes }) => readChain(bytes) },
  {
    name: 'history',
    read: ({ bytes }) =>
      readHistory(
        new Map([
          ['0001_A.mhl', bytes],
          ['ascmhl_chain.xml', bytes],
        ]),
        'ascmhl',
      ),
  },
];

const named = (form: string, bytes: Buffer): Buffer =>
  Buffer.concat([Buffer.from(form, 'latin1'), deflateSync(bytes, { level: 1 })]);

/** Where a checksum ends the bytes, it is put right again: what lies behind it is to be read. */
function withRemainder(bytes: Buffer): Buffer {
  const parity = Buffer.alloc(4);
  parity.writeUInt32BE(remainder(bytes));
  return Buffer.concat([bytes, parity]);
}
const ffv1Parts = (bytes: Buffer): { record: Buffer; frame: Buffer } => {
  const length = bytes.length < 2 ? 0 : bytes.readUInt16LE(0);
  return { record: bytes.subarray(2, 2 + length), frame: bytes.subarray(2 + length) };
};
const plainFfv1: Ffv1Configuration = {
  version: 3,
  microVersion: 4,
  coder: 1,
  transition: [],
  colours: 'ycbcr',
  bits: 8,
  chroma: true,
  subsampling: [1, 1],
  alpha: false,
  slices: [2, 2],
  sliceChecksums: false,
  intra: true,
};

async function raw(path: string): Promise<DngFrame> {
  const handle = await open(path, 'r');
  try {
    return await readDng(tiffOfFile(handle, (await handle.stat()).size));
  } finally {
    await handle.close();
  }
}

let kernel: Promise<DngKernel> | null = null;

interface ClipPicture {
  readonly width: number;
  readonly height: number;
  readonly channels: readonly string[];
}
/** As the clip's facts have them, whatever a damaged frame says: what the seeds are of. */
const clipPictures: readonly ClipPicture[] = [
  [8, 20],
  [12, 20],
  [6, 5],
].flatMap(([width = 0, height = 0]) =>
  [['G', 'B', 'R'], ['Y']].map((channels) => ({ width, height, channels })),
);

/** Throws what the last refusal was when no picture is read. */
async function ofEach(read: (picture: ClipPicture) => unknown): Promise<void> {
  let refused: unknown = null;
  let isRead = false;
  for (const picture of clipPictures)
    try {
      await read(picture);
      isRead = true;
    } catch (error) {
      if (!(error instanceof FileDamage || error instanceof ExrForeign)) throw error;
      refused = error;
    }
  if (!isRead) throw refused;
}

function ownPlaced(bytes: Buffer, picture: ClipPicture): Float32Array {
  const planes = new Float32Array(picture.width * picture.height * picture.channels.length);
  readPlaced(bytes, picture, planes);
  return planes;
}
/** R, G, B of every pixel. */
const checkerPlaced = (bytes: Buffer, { width, height }: ClipPicture): Promise<Float32Array> =>
  placedPixels(
    sourceOfBytes(bytes),
    Array.from({ length: width * height }, (_, index) => ({
      x: index % width,
      y: Math.floor(index / width),
    })),
  );

/** Where both readers read a picture, they read the same. */
async function bothPlaced(bytes: Buffer, picture: ClipPicture): Promise<void> {
  const { channels, width, height } = picture;
  const [ours, theirs] = [ownPlaced(bytes, picture), await checkerPlaced(bytes, picture)];
  const held = (await walkExr(sourceOfBytes(bytes))).header.channels;
  const isColour = ['R', 'G', 'B'].every((name) =>
    held.some((one) => one.name === name && one.kind !== 'uint'),
  );
  // Luminance beside colours is no picture of its own.
  if (isColour !== (channels.length === 3)) return;
  const planes = isColour ? [2, 0, 1] : [0, 0, 0];
  for (let at = 0; at < theirs.length; at += 1) {
    const own = ours[(planes[at % 3] as number) * width * height + Math.floor(at / 3)];
    if (!Object.is(own, theirs[at]))
      throw new Error(`value ${at} is ${own} by one reader and ${theirs[at]} by the other`);
  }
}

export const targets: Readonly<
  Record<FuzzFormat, { readonly extension: string; readonly readers: readonly Reader[] }>
> = {
  exr: {
    extension: '.exr',
    readers: [
      { name: 'header', read: ({ path }) => readStill(path, '.exr') },
      {
        name: 'file',
        read: async ({ path }) => {
          const handle = await open(path, 'r');
          try {
            return await walkExr(await sourceOfFile(handle));
          } finally {
            await handle.close();
          }
        },
      },
      { name: 'values', read: ({ bytes }) => decodeAll(sourceOfBytes(bytes)) },
      { name: 'halves', read: ({ bytes }) => decodeHalves(sourceOfBytes(bytes)) },
      { name: 'survey', read: ({ bytes }) => surveyValues(sourceOfBytes(bytes)) },
      {
        name: 'placed, by our own reader',
        read: ({ bytes }) => ofEach((picture) => ownPlaced(bytes, picture)),
      },
      {
        name: 'placed, by the checker',
        read: ({ bytes }) => ofEach((picture) => checkerPlaced(bytes, picture)),
      },
      { name: 'placed, by both alike', read: ({ bytes }) => ofEach((picture) => bothPlaced(bytes, picture)) },
      {
        name: 'container',
        read: async ({ bytes }) => acesFaults(bytes, (await walkExr(sourceOfBytes(bytes))).header),
      },
      {
        name: 'master',
        read: ({ bytes }) =>
          measureExr({ bytes, base: 24, aces: true, points: [{ x: 0, y: 0 }], spot: [{ x: 1, y: 2 }] }),
      },
    ],
  },
  dpx: {
    extension: '.dpx',
    readers: [
      { name: 'header', read: ({ path }) => readStill(path, '.dpx') },
      {
        name: 'master',
        rangeError: true,
        read: ({ bytes }) => {
          const frame = dpxFrame(bytes, 24, 10);
          return frame.faults.length === 0 ? frame.codesAt(frame.width - 1, frame.height - 1) : null;
        },
      },
    ],
  },
  tiff: { extension: '.tif', readers: [{ name: 'header', read: ({ path }) => readStill(path, '.tif') }] },
  dng: {
    extension: '.dng',
    readers: [
      { name: 'tags', read: ({ path }) => raw(path) },
      { name: 'still', read: ({ path }) => readStill(path, '.tif') },
      {
        name: 'samples',
        read: async ({ bytes }) => {
          const frame = await readDng(tiffOfBytes(bytes));
          return notOurs(frame) === null ? decodeCfa(bytes, frame) : null;
        },
      },
      {
        name: 'kernel',
        read: async ({ bytes }) => {
          const frame = await readDng(tiffOfBytes(bytes));
          if (notOurs(frame) !== null) return null;
          kernel ??= DngKernel.load(new KernelMemory());
          return (await kernel).decode(bytes, frame);
        },
      },
    ],
  },
  mov: {
    extension: '.mov',
    readers: [
      { name: 'form', read: ({ path }) => readForm(path) },
      { name: 'boxes', read: ({ path }) => readMovie(path, { pictures: 3 }) },
    ],
  },
  mp4: {
    extension: '.mp4',
    readers: [
      { name: 'form', read: ({ path }) => readForm(path) },
      { name: 'boxes', read: ({ path }) => readMovie(path, { pictures: 3 }) },
    ],
  },
  mxf: { extension: '.mxf', readers: [{ name: 'form', read: ({ path }) => readForm(path) }] },
  matroska: {
    extension: '.mkv',
    readers: [
      { name: 'form', read: ({ path }) => readForm(path) },
      { name: 'parts', read: async ({ path }) => pictureStream(await readMatroska(path)) },
    ],
  },
  ffv1: {
    extension: '.ffv1',
    readers: [
      { name: 'record', read: ({ bytes }) => readConfiguration(ffv1Parts(bytes).record) },
      {
        name: 'record behind its checksum',
        read: ({ bytes }) => readConfiguration(withRemainder(ffv1Parts(bytes).record.subarray(0, -4))),
      },
      { name: 'frame', read: ({ bytes }) => readFrame(ffv1Parts(bytes).frame, plainFfv1) },
      {
        name: 'frame behind its checksum',
        read: ({ bytes }) =>
          readFrame(withRemainder(ffv1Parts(bytes).frame.subarray(0, -4)), {
            ...plainFfv1,
            sliceChecksums: true,
          }),
      },
    ],
  },
  mhl: { extension: '.mhl', readers: mhlReaders },
  'hash-list': { extension: '.mhl', readers: mhlReaders.slice(0, 1) },
  checksums: {
    extension: '.md5',
    readers: [
      { name: 'one family', read: ({ bytes }) => readChecksumFile(bytes, 'md5', 'seed.md5') },
      { name: 'any of xxHash', read: ({ bytes }) => readChecksumFile(bytes, 'xxh', 'seed.xxh') },
    ],
  },
  profiles: { extension: '.yaml', readers: [{ name: 'profile', read: ({ path }) => lintProfileFile(path) }] },
  settings: { extension: '.yaml', readers: [{ name: 'settings', read: ({ path }) => readSettings(path) }] },
  decoders: { extension: '.yaml', readers: [{ name: 'declaration', read: ({ path }) => loadDecoder(path) }] },
  cube: {
    extension: '.cube',
    readers: [{ name: 'steps', read: ({ bytes }) => colourFileSteps('a.cube', bytes) }],
  },
  clf: {
    extension: '.clf',
    readers: [{ name: 'steps', read: ({ bytes }) => colourFileSteps('a.clf', bytes) }],
  },
  cdl: { extension: '.ccc', readers: [{ name: 'corrections', read: ({ bytes }) => cdlsOf('a.ccc', bytes) }] },
  edl: {
    extension: '.edl',
    readers: [
      { name: 'corrections', read: ({ bytes }) => cdlsOf('a.edl', bytes) },
      { name: 'cut', read: ({ bytes }) => pulled(bytes) },
    ],
  },
  otio: { extension: '.otio', readers: [{ name: 'cut', read: ({ bytes }) => pulled(bytes) }] },
  fingerprints: {
    extension: '.trail',
    readers: [
      {
        name: 'fingerprints',
        read: ({ bytes }) => readFingerprints(named(FINGERPRINTS_FORM.toString('latin1'), bytes)),
      },
      { name: 'as it lies', read: ({ bytes }) => readFingerprints(bytes) },
    ],
  },
  sketches: {
    extension: '.sketch',
    readers: [
      { name: 'sketch', read: ({ bytes }) => readSketch(named(SKETCH_FORM.toString('latin1'), bytes)) },
      { name: 'as it lies', read: ({ bytes }) => readSketch(bytes) },
    ],
  },
  points: {
    extension: '.points',
    readers: [
      { name: 'points', read: ({ bytes }) => readSamples(named('rushlight points 1\n', bytes)) },
      { name: 'as it lies', read: ({ bytes }) => readSamples(bytes) },
    ],
  },
  netpbm: {
    extension: '.ppm',
    readers: (['rgb48be', 'cfa16be'] as const).map((samples) => ({
      name: samples,
      rangeError: true as const,
      read: ({ bytes }: Damaged) => {
        const cutter = new PictureCutter(
          { samples, around: 'netpbm', full: 4095, width: null, height: null },
          null,
        );
        return [bytes.subarray(0, 7), bytes.subarray(7)].flatMap((part) => [...cutter.cut(part)]);
      },
    })),
  },
};

/** What the engine says when a program asks it for what cannot be. */
const OF_THE_ENGINE =
  /^(?:Invalid (?:array|typed array|string|array buffer|DataView) length|Array buffer allocation failed|Maximum call stack size exceeded|offset is out of bounds|Offset is outside|Start offset|Invalid count value|precision|radix)|out of range/i;

/** Null: damage was reported as it should be. */
export function faultOf(error: unknown, { rangeError }: Reader): string | null {
  if (
    error instanceof FileDamage ||
    error instanceof ExrForeign ||
    error instanceof DngRefusal ||
    error instanceof XmlError ||
    error instanceof FindingError ||
    error instanceof ColourFileError ||
    error instanceof DecoderFailed
  )
    return null;
  if (
    rangeError === true &&
    error instanceof RangeError &&
    !('code' in error) &&
    !OF_THE_ENGINE.test(error.message)
  )
    return null;
  return error instanceof Error
    ? `${error.name}: ${error.message.slice(0, 200)}${(error.stack ?? '').split('\n').slice(1, 6).join('\n')}`
    : String(error);
}
