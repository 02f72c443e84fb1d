/**
 * Reads the tags of one DNG file into a `DngFrame`. What is damaged throws StillDamage; what is whole and yet no frame that can be
 * developed (another pattern than 2 x 2, other samples than three in LinearRaw, of another kind) throws DngRefusal with every reason.
 */
import { append } from '../../../findings/append.ts';
import { StillDamage } from '../still.ts';
import { readCamera } from './camera.ts';
import { readFrameRate, readTimeCode } from '../tiff/cinema.ts';
import { exactly, readColour } from './colour.ts';
import type { Area, DngFrame, RawPicture } from './header.ts';
import { type CfaPattern, type RawCompression, cfaPatterns } from './kinds.ts';
import { type ByteSource, type TiffDirectory, TiffFile } from '../tiff/header.ts';
import { type Bounds, type RawOpcode, readOpcodes, trimmed } from './opcodes.ts';
import { piecesOf } from '../tiff/pieces.ts';
import { mainDirectory } from '../tiff/main-directory.ts';
import { DngRefusal } from './refusal.ts';
import { PHOTOMETRIC_CFA, PHOTOMETRIC_LINEAR_RAW, TAG, type TagName } from '../tiff/tags.ts';

/** The newest version of the specification that is followed here. */
const NEWEST = [1, 7, 1, 0];
const LARGEST_SIDE = 65_536;
/** 400 million pixels. */
const LARGEST_PICTURE = 400_000_000;

const COMPRESSIONS: Readonly<Record<number, RawCompression>> = {
  1: 'none',
  7: 'lossless-jpeg',
  8: 'deflate',
  34892: 'lossy-jpeg',
};

function older(version: readonly number[], than: readonly number[]): boolean {
  const index = version.findIndex((part, at) => part !== than[at]);
  return index >= 0 && (version[index] as number) < (than[index] as number);
}

/** Everything that speaks against developing this picture; empty when nothing does. */
async function objections(first: TiffDirectory, main: TiffDirectory): Promise<string[]> {
  const reasons: string[] = [];
  if (!first.has(TAG.DNGVersion)) return ['no DNG: there is no DNGVersion'];
  const backward = await first.numbers(TAG.DNGBackwardVersion);
  if (backward.length === 4 && older(NEWEST, backward))
    reasons.push(`a file for readers of DNG ${backward.join('.')}, this one knows ${NEWEST.join('.')}`);
  const photometric = await main.number(TAG.PhotometricInterpretation);
  const samples = (await main.number(TAG.SamplesPerPixel)) ?? 1;
  if (photometric === PHOTOMETRIC_LINEAR_RAW) {
    if (samples !== 3)
      reasons.push(`LinearRaw of ${samples} samples a pixel, red, green and blue are wanted`);
    const planar = (await main.number(TAG.PlanarConfiguration)) ?? 1;
    if (planar !== 1) reasons.push(`LinearRaw in planes of their own (PlanarConfiguration ${planar})`);
    const depths = new Set(await main.numbers(TAG.BitsPerSample));
    if (depths.size > 1) reasons.push(`samples of ${[...depths].join(' and ')} bits`);
  } else if (photometric !== PHOTOMETRIC_CFA)
    reasons.push(`no sensor pattern: PhotometricInterpretation ${photometric ?? 'is absent'}`);
  else {
    if (samples !== 1) reasons.push(`${samples} samples a pixel`);
    const [rows, columns] = await main.numbers(TAG.CFARepeatPatternDim);
    if (rows !== 2 || columns !== 2) reasons.push(`a colour pattern of ${rows ?? '?'} x ${columns ?? '?'}`);
    else if ((await patternOf(main)) === null)
      reasons.push(`a colour pattern of ${(await main.numbers(TAG.CFAPattern)).join(' ')}`);
    const planes = main.has(TAG.CFAPlaneColor) ? await main.numbers(TAG.CFAPlaneColor) : [0, 1, 2];
    if (planes.join(' ') !== '0 1 2') reasons.push(`colour planes ${planes.join(' ')}`);
    const layout = (await main.number(TAG.CFALayout)) ?? 1;
    if (layout !== 1) reasons.push(`CFALayout ${layout}`);
  }
  if (!first.has(TAG.ColorMatrix1))
    reasons.push('no ColorMatrix1: nothing says what the colours of the sensor are');
  reasons.push(...(await formatObjections(main, photometric === PHOTOMETRIC_LINEAR_RAW)));
  for (const name of ['RowInterleaveFactor', 'ColumnInterleaveFactor'] as const) {
    const factor = (await main.number(TAG[name])) ?? 1;
    if (factor !== 1) reasons.push(`${name} ${factor}`);
  }
  const blocks = await main.numbers(TAG.SubTileBlockSize);
  if (blocks.some((size) => size !== 1)) reasons.push(`SubTileBlockSize ${blocks.join(' ')}`);
  return reasons;
}

const UNSIGNED = 1;
const FLOAT = 3;

/** Against the kind of numbers that samples are. */
async function formatObjections(main: TiffDirectory, linearRaw: boolean): Promise<string[]> {
  const formats = [...new Set(await main.numbers(TAG.SampleFormat))];
  const [format = UNSIGNED] = formats;
  if (formats.length > 1 || (format !== UNSIGNED && format !== FLOAT))
    return [`SampleFormat ${formats.join(' ')}: neither whole numbers nor floating point`];
  if (format === FLOAT && !linearRaw) return [`SampleFormat ${format}: a mosaic of no whole numbers`];
  if (format === FLOAT && main.has(TAG.LinearizationTable))
    return ['a LinearizationTable for floating-point samples'];
  return [];
}

async function patternOf(main: TiffDirectory): Promise<CfaPattern | null> {
  const letters = (await main.numbers(TAG.CFAPattern)).map((colour) => 'rgb'[colour] ?? '?').join('');
  return cfaPatterns.find((pattern) => pattern === letters) ?? null;
}

function areaOf(values: readonly number[], width: number, height: number, name: TagName): Area {
  const [top = 0, left = 0, bottom = 0, right = 0] = values;
  if (
    !values.every(Number.isInteger) ||
    top < 0 ||
    left < 0 ||
    bottom <= top ||
    right <= left ||
    bottom > height ||
    right > width
  ) {
    throw new StillDamage(`${name} ${values.join(' ')} in a picture of ${width}x${height}`);
  }
  return { top, left, bottom, right };
}

async function areasOf(
  main: TiffDirectory,
  width: number,
  height: number,
): Promise<Pick<RawPicture, 'activeArea' | 'maskedAreas' | 'defaultCrop'>> {
  const activeArea = areaOf(
    (await exactly(main, TAG.ActiveArea, 4)) ?? [0, 0, height, width],
    width,
    height,
    'ActiveArea',
  );
  const masked = await main.numbers(TAG.MaskedAreas);
  if (masked.length % 4 !== 0) throw new StillDamage(`MaskedAreas of ${masked.length} numbers`);
  const maskedAreas = Array.from({ length: masked.length / 4 }, (_, index) =>
    areaOf(masked.slice(index * 4, index * 4 + 4), width, height, 'MaskedAreas'),
  );
  const activeWidth = activeArea.right - activeArea.left;
  const activeHeight = activeArea.bottom - activeArea.top;
  const [left = 0, top = 0] = (await exactly(main, TAG.DefaultCropOrigin, 2)) ?? [];
  const [cropWidth = activeWidth, cropHeight = activeHeight] =
    (await exactly(main, TAG.DefaultCropSize, 2)) ?? [];
  if (
    left < 0 ||
    top < 0 ||
    cropWidth <= 0 ||
    cropHeight <= 0 ||
    left + cropWidth > activeWidth ||
    top + cropHeight > activeHeight
  ) {
    throw new StillDamage(
      `default crop ${cropWidth}x${cropHeight} at ${left},${top} in an active area of ${activeWidth}x${activeHeight}`,
    );
  }
  return { activeArea, maskedAreas, defaultCrop: { left, top, width: cropWidth, height: cropHeight } };
}

/** Per sample of a pixel; one number for a mosaic. `fallback`: what stands where the tag is absent. */
async function whiteOf(main: TiffDirectory, samples: 1 | 3, fallback: number): Promise<RawPicture['white']> {
  const stored = main.has(TAG.WhiteLevel) ? await main.numbers(TAG.WhiteLevel) : [];
  if (!stored.every(Number.isFinite)) throw new StillDamage(`WhiteLevel ${stored.join(' ')}`);
  const [first = fallback, second = first, third = first] = stored;
  if (stored.length > 1 && stored.length !== samples)
    throw new StillDamage(
      `WhiteLevel holds ${stored.join(' ')}, one for each of ${samples} samples is wanted`,
    );
  return samples === 1 ? first : [first, second, third];
}

async function levelsOf(
  main: TiffDirectory,
  { bits, samples, float }: { readonly bits: number; readonly samples: 1 | 3; readonly float: boolean },
  area: Area,
): Promise<Pick<RawPicture, 'black' | 'white' | 'linearisation'>> {
  const table = main.has(TAG.LinearizationTable) ? await main.numbers(TAG.LinearizationTable) : null;
  if (table?.some((value) => !Number.isInteger(value) || value < 0 || value > 65_535) === true)
    throw new StillDamage('LinearizationTable holds what is no 16-bit number');
  const [rows = 1, columns = 1] = (await exactly(main, TAG.BlackLevelRepeatDim, 2)) ?? [];
  if (
    !Number.isInteger(rows) ||
    !Number.isInteger(columns) ||
    rows < 1 ||
    columns < 1 ||
    rows * columns > 65_536
  )
    throw new StillDamage(`a black level pattern of ${rows} x ${columns}`);
  const places = rows * columns * samples;
  const levels = (await exactly(main, TAG.BlackLevel, places)) ?? Array.from({ length: places }, () => 0);
  const columnDeltas = await exactly(main, TAG.BlackLevelDeltaH, area.right - area.left);
  const rowDeltas = await exactly(main, TAG.BlackLevelDeltaV, area.bottom - area.top);
  // DNG specification, WhiteLevel: 1.0 for floating point.
  const white = await whiteOf(main, samples, float ? 1 : 2 ** bits - 1);
  const highest = (values: readonly number[] | null): number =>
    values?.reduce((most, value) => Math.max(most, value), Number.NEGATIVE_INFINITY) ?? 0;
  const deltas = highest(columnDeltas) + highest(rowDeltas);
  for (const [plane, full] of (typeof white === 'number' ? [white] : white).entries()) {
    const black = highest(levels.filter((_, index) => index % samples === plane)) + deltas;
    if (full <= black) throw new StillDamage(`white level ${full} with black levels up to ${black}`);
  }
  return { linearisation: table, black: { rows, columns, levels, columnDeltas, rowDeltas }, white };
}

/** Tags that change the picture in ways that nobody here applies. */
const PASSED_OVER = ['ProfileHueSatMapData1', 'BaselineExposureOffset'] as const satisfies readonly TagName[];

async function opcodesOf(first: TiffDirectory, main: TiffDirectory): Promise<RawOpcode[]> {
  const all: RawOpcode[] = [];
  for (const [list, tag] of [
    [1, TAG.OpcodeList1],
    [2, TAG.OpcodeList2],
    [3, TAG.OpcodeList3],
  ] as const) {
    const bytes = (await main.bytes(tag)) ?? (main === first ? null : await first.bytes(tag));
    if (bytes !== null) append(all, readOpcodes(list, bytes));
  }
  return all;
}

/** What TrimBounds of the lists 2 and 3 leave of what is shown; on stored values it is no cut that anybody makes here. */
function cutBy<Areas extends Pick<RawPicture, 'activeArea' | 'defaultCrop'>>(
  opcodes: readonly RawOpcode[],
  areas: Areas,
): Areas {
  const { activeArea, defaultCrop } = areas;
  let bounds: Bounds = {
    top: 0,
    left: 0,
    height: activeArea.bottom - activeArea.top,
    width: activeArea.right - activeArea.left,
  };
  for (const { list, correction } of opcodes)
    if (list !== 1 && correction?.kind === 'trim') bounds = trimmed(bounds, correction.area);
  const left = Math.max(bounds.left, defaultCrop.left);
  const top = Math.max(bounds.top, defaultCrop.top);
  const width = Math.min(bounds.left + bounds.width, defaultCrop.left + defaultCrop.width) - left;
  const height = Math.min(bounds.top + bounds.height, defaultCrop.top + defaultCrop.height) - top;
  if (width < 1 || height < 1)
    throw new StillDamage(
      `TrimBounds leaves nothing of the default crop ${defaultCrop.width}x${defaultCrop.height} at ${defaultCrop.left},${defaultCrop.top}`,
    );
  return { ...areas, defaultCrop: { left, top, width, height } };
}

export async function readDng(source: ByteSource): Promise<DngFrame> {
  if (source.size === 0) throw new StillDamage('0 bytes');
  const { file, first } = await TiffFile.open(source);
  const main = await mainDirectory(file, first);
  const reasons = await objections(first, main);
  if (reasons.length > 0) throw new DngRefusal(reasons);

  const [width, height] = [
    (await main.number(TAG.ImageWidth)) ?? 0,
    (await main.number(TAG.ImageLength)) ?? 0,
  ];
  if (
    !(
      width > 0 &&
      height > 0 &&
      width <= LARGEST_SIDE &&
      height <= LARGEST_SIDE &&
      width * height <= LARGEST_PICTURE
    )
  )
    throw new StillDamage(`raster ${width}x${height}`);
  const linearRaw = (await main.number(TAG.PhotometricInterpretation)) === PHOTOMETRIC_LINEAR_RAW;
  const samples = linearRaw ? 3 : 1;
  const float = (await main.number(TAG.SampleFormat)) === FLOAT;
  const bits = (await main.number(TAG.BitsPerSample)) ?? 1;
  if (!Number.isInteger(bits) || bits < 1 || bits > 32) throw new StillDamage(`${bits} bits a sample`);
  const compressionNumber = (await main.number(TAG.Compression)) ?? 1;
  const compression = COMPRESSIONS[compressionNumber] ?? 'other';
  const pieces = await piecesOf(main, width, height);
  const end = pieces.reduce((most, piece) => Math.max(most, piece.offset + piece.bytes), 0);
  if (end > source.size) throw new StillDamage(`${source.size} bytes, the picture ends at ${end}`);

  const exifOffset = await first.number(TAG.ExifIFD);
  const places = [
    first,
    ...(main === first ? [] : [main]),
    ...(exifOffset === null ? [] : [await file.directory(exifOffset)]),
  ];
  const { passedOver, ...colour } = await readColour(first, file);
  const opcodes = await opcodesOf(first, main);
  const areas = cutBy(opcodes, await areasOf(main, width, height));
  const [horizontal = 1, vertical = 1] = (await exactly(main, TAG.DefaultScale, 2)) ?? [];
  if (horizontal <= 0 || vertical <= 0) throw new StillDamage(`DefaultScale ${horizontal} ${vertical}`);
  const orientation = (await first.number(TAG.Orientation)) ?? 1;
  return {
    picture: {
      width,
      height,
      ...areas,
      defaultScale: { horizontal, vertical },
      orientation: orientation >= 1 && orientation <= 8 ? orientation : 1,
      // Objections were asked first.
      pattern: linearRaw ? null : ((await patternOf(main)) as CfaPattern),
      ...(float ? { sampleFormat: 'float' as const } : {}),
      bitsPerSample: bits,
      compression,
      ...(await levelsOf(main, { bits, samples, float }, areas.activeArea)),
      ...colour,
      bayerGreenSplit: (await main.number(TAG.BayerGreenSplit)) ?? 0,
      linearResponseLimit: (await first.number(TAG.LinearResponseLimit)) ?? 1,
    },
    camera: await readCamera(places),
    storage: {
      littleEndian: file.littleEndian,
      compression,
      compressionNumber,
      bitsPerSample: bits,
      samples,
      float,
      lowBitFirst: (await main.number(TAG.FillOrder)) === 2,
      pieces,
    },
    rate: await readFrameRate(places),
    timecode: await readTimeCode(first),
    opcodes,
    passedOver: [
      ...PASSED_OVER.filter((name) => first.has(TAG[name])),
      ...passedOver,
      ...(first.has(TAG.AsShotNeutral) && first.has(TAG.AsShotWhiteXY) ? ['AsShotWhiteXY'] : []),
    ],
  };
}
