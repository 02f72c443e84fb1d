/**
 * What an OpenEXR header says of how its picture is stored, and which of that no ffmpeg makes a picture of. Our own code reads the
 * header and the offset table of any compression; values of a source are decoded by ffmpeg alone, and of a master by the checker
 * (check/master/exr: no compression, RLE, ZIPS, ZIP).
 *
 * What ffmpeg does with each form was measured with 5.1.9 against OpenImageIO 2.4 (70x50 pixels, every compression, half and float):
 * equal to the last bit for none, RLE, ZIPS, ZIP, PIZ, PXR24, B44, B44A, tiles and the first of several parts; DWAA and DWAB of halves
 * within two places of the last. Wrong without a word: DWAA and DWAB of floats (off by three times the value), a display window that
 * does not begin at (0, 0), the upper half of whole numbers alone. Not read at all: most headers in which an attribute is longer than 255 bytes.
 */
import {
  bytesOfPixelType,
  type Box,
  type Chromaticities,
  type ExrAttribute,
  type ExrChannel,
  exrCompressions,
  exrValue,
} from './attribute.ts';
import { type ExrStorage, StillDamage } from '../still.ts';
import { isUnpackedHere } from './unpacked.ts';

/** What pictures are made of, whatever else a file holds. */
const COLOURS = ['R', 'G', 'B'];
/** Compressions that every build of ffmpeg reads; the others (PXR24, B44, B44A, DWAA, DWAB, and newer ones) not all, or in part. */
const READ_WHOLE: ReadonlySet<string> = new Set(['none', 'rle', 'zips', 'zip', 'piz']);

/** Whether an error of ffmpeg's in a first frame is more likely the build's than the file's. */
export function isPartlyRead({ layout, compression, long }: ExrStorage): boolean {
  return layout === 'deep' || layout === 'parts' || long !== null || !READ_WHOLE.has(compression);
}

/** Bytes of an attribute's value that ffmpeg 5.1.9 steps over (measured: 255 yes, 256 no): it takes what follows for the next attribute, and finds most often no compression. */
const STEPPED_OVER = 255;
/** Those that it reads by a list of their own. */
const READ_BY_FFMPEG: ReadonlySet<string> = new Set(['channels']);

function longOf(attributes: ReadonlyMap<string, ExrAttribute>): string | null {
  for (const [name, { bytes }] of attributes)
    if (bytes.length > STEPPED_OVER && !READ_BY_FFMPEG.has(name))
      return `the attribute ${name} of ${bytes.length} bytes`;
  return null;
}

/** `DWAA compression in tiles`. */
export function exrFormText({ layout, compression }: Pick<ExrStorage, 'layout' | 'compression'>): string {
  const stored = {
    'scan-lines': 'scan lines',
    tiles: 'tiles',
    parts: 'several parts',
    deep: 'deep samples',
  }[layout];
  return `${compression === 'none' ? 'no' : compression.toUpperCase()} compression, ${stored}`;
}

/** `red 0.64 0.33, green …`, to four places. */
export function chromaticitiesText(values: NonNullable<ExrStorage['chromaticities']>): string {
  const place = (value: number): string => String(Number(value.toFixed(4)));
  return (['red', 'green', 'blue', 'white'] as const)
    .map((name) => `${name} ${values[name].map(place).join(' ')}`)
    .join(', ');
}

/** Channels of the source that a picture of R, G, B (or of luminance alone) leaves out. */
export function channelsLeft(channels: readonly string[]): string[] {
  const carried = COLOURS.every((name) => channels.includes(name)) ? COLOURS : ['Y'];
  return channels.filter((name) => !carried.includes(name));
}

function unreadOf(
  { layout, compression }: Pick<ExrStorage, 'layout' | 'compression'>,
  channels: readonly ExrChannel[],
  display: Box,
): string | null {
  if (layout === 'deep') return 'deep samples: several for a pixel';
  if (display.xMin !== 0 || display.yMin !== 0)
    return `a display window that begins at (${display.xMin}, ${display.yMin}): ffmpeg puts its picture in another place`;
  const colours = channels.filter(({ name }) => COLOURS.includes(name));
  const luminance = channels.filter(({ name }) => name === 'Y');
  const names = channels.map(({ name }) => name);
  if (names.includes('RY') || names.includes('BY'))
    return 'luminance and chroma (channels Y, RY, BY): ffmpeg shows the luminance alone';
  const picture = colours.length === COLOURS.length ? colours : luminance;
  const [first] = picture;
  if (first === undefined)
    return `no channels R, G and B, nor Y: there are ${names.slice(0, 8).join(', ')}${names.length > 8 ? ', …' : ''}`;
  const sampled = channels.find(({ xSampling, ySampling }) => xSampling !== 1 || ySampling !== 1);
  if (sampled !== undefined)
    return `channel ${sampled.name} has a sample for every ${sampled.xSampling}x${sampled.ySampling} pixels`;
  const other = picture.find(({ pixelType }) => pixelType !== first.pixelType);
  if (other !== undefined)
    return `channel ${first.name} of ${first.pixelType}, ${other.name} of ${other.pixelType}`;
  if (first.pixelType === 'uint') return 'whole numbers of 32 bits, of which ffmpeg keeps 16';
  if (compression.startsWith('dwa') && bytesOfPixelType[first.pixelType] > 2)
    return `${compression.toUpperCase()} compression of 32-bit values, which ffmpeg decodes to other values`;
  return null;
}

/** Why the picture is not read by our own code (pixels.ts); null: it is. */
function notOursOf(
  { layout, compression }: Pick<ExrStorage, 'layout' | 'compression'>,
  channels: readonly ExrChannel[],
): string | null {
  if (layout !== 'scan-lines') return exrFormText({ layout, compression });
  if (!isUnpackedHere(compression)) return `${compression.toUpperCase()} compression`;
  const named = (name: string): ExrChannel | undefined => channels.find((channel) => channel.name === name);
  const colours = COLOURS.flatMap((name) => named(name) ?? []);
  const picture = colours.length === COLOURS.length ? colours : [named('Y')].flatMap((one) => one ?? []);
  if (picture.length === 0) return 'no channels R, G and B, nor Y';
  if (named('RY') !== undefined || named('BY') !== undefined) return 'luminance and chroma';
  if (picture.some(({ pixelType }) => pixelType === 'uint')) return 'whole numbers';
  const sampled = channels.find(({ xSampling, ySampling }) => xSampling !== 1 || ySampling !== 1);
  return sampled === undefined ? null : `channel ${sampled.name} has not a sample for every pixel`;
}

function chromaticitiesOf(attribute: ExrAttribute | undefined): Chromaticities | null {
  if (attribute?.type !== 'chromaticities') return null;
  try {
    return exrValue(new Map([['chromaticities', attribute]]), 'chromaticities', 'chromaticities');
  } catch (error) {
    // What no picture hangs on costs no picture.
    if (!(error instanceof StillDamage)) throw error;
    return null;
  }
}

/** Throws StillDamage for a list of channels or a display window that is none. */
export function exrStorage(
  attributes: ReadonlyMap<string, ExrAttribute>,
  layout: ExrStorage['layout'],
): ExrStorage {
  const channels = exrValue(attributes, 'channels', 'chlist');
  if (channels === null) throw new StillDamage('no list of channels');
  const display = exrValue(attributes, 'displayWindow', 'box2i');
  if (display === null) throw new StillDamage('no displayWindow');
  const data = exrValue(attributes, 'dataWindow', 'box2i');
  if (data === null) throw new StillDamage('no dataWindow');
  const number = attributes.get('compression')?.bytes[0];
  const compression = exrCompressions[number ?? -1] ?? `number ${number ?? 'none'}`;
  return {
    layout,
    compression,
    channels: channels.map(({ name }) => name),
    wholeNumbers: channels.every(({ pixelType }) => pixelType === 'uint'),
    chromaticities: chromaticitiesOf(attributes.get('chromaticities')),
    unread: unreadOf({ layout, compression }, channels, display),
    notOurs: notOursOf({ layout, compression }, channels),
    long: longOf(attributes),
    isPlaced:
      display.xMin !== 0 ||
      display.yMin !== 0 ||
      display.xMax !== data.xMax ||
      display.yMax !== data.yMax ||
      data.xMin !== 0 ||
      data.yMin !== 0,
  };
}
