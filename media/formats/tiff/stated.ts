/** What the tags of a TIFF or DNG file say of camera, lens and exposure (EXIF 2.32, and 3.0 where it is named; DNG specification, chapter 4). */
import { type StatedFrame, StatedGatherer } from '../stated.ts';
import { StillDamage } from '../still.ts';
import { isoTime } from './time.ts';
import { type ByteSource, type TiffDirectory, TiffFile } from './header.ts';
import { mainDirectory } from './main-directory.ts';
import { TAG, type TagName } from './tags.ts';

/** Without a place in a master. */
const NO_PLACE: Readonly<Partial<Record<TagName, string>>> = {
  ImageDescription: 'a free text',
  Software: 'of a camera or of whatever wrote the file: the tag does not say which',
  Artist: "a person's name; the owner is said in the settings",
  Copyright: 'the owner is said in the settings',
  XMP: 'a document of its own',
  MakerNote: "in the maker's own form",
  UserComment: 'a free text',
  CameraOwnerName: "a person's name; the owner is said in the settings",
  FocalLengthIn35mmFilm: 'OpenEXR has no place for it',
  OriginalRawFileName: 'a master says the name of the file that was read',
};

/** EXIF, "SubjectDistance": this numerator is infinity, and 0 is unknown. */
const INFINITE = 0xffff_ffff;
/** "ISOSpeedRatings": too high for 16 bits, look at the tags of 32. */
const ISO_ELSEWHERE = 65_535;

class Tags {
  readonly #places: readonly TiffDirectory[];
  constructor(places: readonly TiffDirectory[]) {
    this.#places = places;
  }
  has(name: TagName): boolean {
    return this.#places.some((place) => place.has(TAG[name]));
  }
  #place(name: TagName): TiffDirectory | undefined {
    return this.#places.find((place) => place.has(TAG[name]));
  }
  async text(name: TagName): Promise<string | null> {
    return (await this.#place(name)?.text(TAG[name])) ?? null;
  }
  async pairs(name: TagName): Promise<[num: number, den: number][]> {
    return (await this.#place(name)?.pairs(TAG[name])) ?? [];
  }
  async numbers(name: TagName): Promise<number[]> {
    return (await this.#place(name)?.numbers(TAG[name])) ?? [];
  }
  async number(name: TagName): Promise<number | null> {
    return (await this.numbers(name))[0] ?? null;
  }
  /** Cameras write 0 or 0/0 for what they do not know. */
  async positive(name: TagName): Promise<number | null> {
    const value = await this.number(name);
    return value !== null && Number.isFinite(value) && value > 0 ? value : null;
  }
}

async function texts(tags: Tags, said: StatedGatherer): Promise<void> {
  const carry = async (name: string, ...from: TagName[]): Promise<void> => {
    for (const one of from) said.text(name, await tags.text(one), one);
  };
  await carry('cameraMake', 'Make');
  const model = await tags.text('Model');
  if (model === null) await carry('cameraModel', 'UniqueCameraModel');
  else {
    said.text('cameraModel', model, 'Model');
    if ((await tags.text('UniqueCameraModel')) !== model)
      await carry('uniqueCameraModel', 'UniqueCameraModel');
  }
  await carry('cameraLabel', 'CameraLabel');
  await carry('cameraSerialNumber', 'CameraSerialNumber', 'BodySerialNumber');
  await carry('cameraFirmwareVersion', 'CameraFirmware');
  await carry('lensMake', 'LensMake');
  await carry('lensModel', 'LensModel');
  await carry('lensSerialNumber', 'LensSerialNumber');
}

async function lens(tags: Tags, said: StatedGatherer): Promise<void> {
  const from: TagName = tags.has('LensInfo') ? 'LensInfo' : 'LensSpecification';
  const [shortest, longest, wide, far] = (await tags.numbers(from)).map((value) =>
    Number.isFinite(value) && value > 0 ? String(Number(value.toPrecision(4))) : '?',
  );
  const span = (one = '?', other = '?'): string => (one === other ? one : `${one}-${other}`);
  if (shortest !== undefined && `${shortest}${longest}` !== '??')
    said.text('lensAttributes', `${span(shortest, longest)} mm, f/${span(wide, far)}`, from);
  said.float('nominalFocalLength', await tags.positive('FocalLength'), 'FocalLength');
  const apex = await tags.number('ApertureValue');
  const fNumber = await tags.positive('FNumber');
  if (fNumber !== null) said.float('aperture', fNumber, 'FNumber');
  // APEX: the f-number is the square root of two to the power of the value.
  else if (apex !== null && Number.isFinite(apex)) said.float('aperture', 2 ** (apex / 2), 'ApertureValue');
  const tStops = (await tags.numbers('TStop')).filter((value) => Number.isFinite(value) && value > 0);
  if (tStops.length === 1 || (tStops.length === 2 && tStops[0] === tStops[1]))
    said.float('tStop', tStops[0] as number, 'TStop');
  else if (tStops.length > 1) said.leave('TStop', `${tStops.join(' and ')}: OpenEXR has a place for one`);
  const [distance] = await tags.pairs('SubjectDistance');
  if (distance !== undefined) {
    const [num, den] = distance;
    // Some write one over nothing for it.
    if (num === INFINITE || (num > 0 && den === 0))
      said.float('focus', Number.POSITIVE_INFINITY, 'SubjectDistance');
    else if (num > 0 && den > 0) said.float('focus', num / den, 'SubjectDistance');
  }
}

/** SensitivityType says which of the 32-bit tags is meant: 1 standard output, 2 recommended index, 3 ISO speed; 4 and more are pairs. */
async function exposure(tags: Tags, said: StatedGatherer): Promise<void> {
  const apex = await tags.number('ShutterSpeedValue');
  const time = await tags.positive('ExposureTime');
  if (time !== null) said.float('expTime', time, 'ExposureTime');
  else if (apex !== null && Number.isFinite(apex)) said.float('expTime', 2 ** -apex, 'ShutterSpeedValue');
  const stored = await tags.positive('ISOSpeedRatings');
  if (stored !== null && stored < ISO_ELSEWHERE) {
    said.float('isoSpeed', Math.round(stored), 'ISOSpeedRatings');
    return;
  }
  const type = await tags.positive('SensitivityType');
  const order: readonly TagName[] =
    type === 1
      ? ['StandardOutputSensitivity']
      : type === 3
        ? ['ISOSpeed']
        : ['RecommendedExposureIndex', 'StandardOutputSensitivity', 'ISOSpeed'];
  for (const name of order) {
    const value = await tags.positive(name);
    if (value !== null) said.float('isoSpeed', Math.round(value), name);
  }
}

async function time(tags: Tags, said: StatedGatherer): Promise<void> {
  for (const [name, zone] of [
    ['DateTimeOriginal', 'OffsetTimeOriginal'],
    ['DateTime', 'OffsetTime'],
  ] as const) {
    const stored = await tags.text(name);
    if (isoTime(stored, null, null) === null) continue;
    said.text('capDate', (stored as string).replace('T', ' '), name);
    const offset = /^([+-])(\d\d):(\d\d)$/.exec((await tags.text(zone)) ?? '');
    // OpenEXR: what is to be added to local time for UTC.
    if (offset !== null) {
      const seconds = 3600 * Number(offset[2]) + 60 * Number(offset[3]);
      said.float('utcOffset', seconds === 0 ? 0 : offset[1] === '+' ? -seconds : seconds, zone);
    }
    return;
  }
}

/** EXIF, "GPS attribute information": degrees, minutes, seconds, and which side; altitude in metres, 1 is below the sea. */
async function place(gps: TiffDirectory, said: StatedGatherer): Promise<void> {
  const angle = async (value: number, side: number, negative: string): Promise<number | null> => {
    const parts = await gps.numbers(value);
    const [degrees = Number.NaN, minutes = 0, seconds = 0] = parts;
    const sum = degrees + (minutes || 0) / 60 + (seconds || 0) / 3600;
    const letter = await gps.text(side);
    return letter === null || !Number.isFinite(sum) ? null : letter === negative ? -sum : sum;
  };
  said.float('latitude', await angle(2, 1, 'S'), 'GPSLatitude');
  said.float('longitude', await angle(4, 3, 'W'), 'GPSLongitude');
  const altitude = await gps.number(6);
  if (altitude !== null && Number.isFinite(altitude))
    said.float('altitude', (await gps.number(5)) === 1 ? -altitude : altitude, 'GPSAltitude');
}

/** Throws StillDamage for what is no TIFF. A damaged directory of tags beside the picture's own says nothing. */
export async function statedInTiff(source: ByteSource): Promise<StatedFrame> {
  const { file, first } = await TiffFile.open(source);
  const main = await mainDirectory(file, first);
  const said = new StatedGatherer();
  const exif = await first.number(TAG.ExifIFD);
  const gps = await first.number(TAG.GPSInfo);
  try {
    const directories = [
      first,
      ...(main === first ? [] : [main]),
      ...(exif === null ? [] : [await file.directory(exif)]),
    ];
    const tags = new Tags(directories);
    await texts(tags, said);
    await lens(tags, said);
    await exposure(tags, said);
    await time(tags, said);
    if (gps !== null) await place(await file.directory(gps), said);
    for (const [name, why] of Object.entries(NO_PLACE) as [TagName, string][])
      if (tags.has(name)) said.leave(name, why);
  } catch (error) {
    if (!(error instanceof StillDamage)) throw error;
    said.leave('EXIF', error.message);
  }
  return said.frame();
}
