/** Colour tags of a DNG file: what the camera sees under which light, and what it took for white (DNG specification, chapter 6). */
import { StillDamage } from '../still.ts';
import type { Calibration, RawPicture } from './header.ts';
import type { TiffDirectory, TiffFile } from '../tiff/header.ts';
import { TAG, tagName } from '../tiff/tags.ts';

const UNIT = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** Exactly so many finite numbers; null when the tag is not there. Throws StillDamage otherwise. */
export async function exactly(
  directory: TiffDirectory,
  tag: number,
  count: number,
): Promise<number[] | null> {
  if (!directory.has(tag)) return null;
  const values = await directory.numbers(tag);
  if (values.length !== count || !values.every(Number.isFinite))
    throw new StillDamage(
      `${tagName(tag)} holds ${values.slice(0, 9).join(' ')}, ${count} numbers are wanted`,
    );
  return values;
}

/** `other` in EXIF LightSource: IlluminantData says which. */
const OTHER = 255;

/**
 * Where the light of a calibration lies (DNG specification 1.6, IlluminantData1): a 16-bit 0 and two rationals are CIE 1931 x and y; 1 is a
 * spectrum, which is not integrated here. Null: it says nothing.
 */
async function illuminantXy(
  directory: TiffDirectory,
  tag: number,
  file: TiffFile,
): Promise<{ readonly xy: [number, number] } | 'spectrum' | null> {
  const bytes = await directory.bytes(tag);
  if (bytes === null) return null;
  const kind = bytes.length < 2 ? -1 : file.u16(bytes, 0);
  if (kind === 1) return 'spectrum';
  if (kind !== 0 || bytes.length !== 18)
    throw new StillDamage(`${tagName(tag)} of kind ${kind} in ${bytes.length} bytes`);
  const [x, y] = [2, 10].map((at) => {
    const [num, den] = file.pair(bytes, at, 'rational');
    return num / den;
  }) as [number, number];
  if (!(x > 0 && y > 0 && x + y < 1)) throw new StillDamage(`${tagName(tag)}: a light at ${x} ${y}`);
  return { xy: [x, y] };
}

interface CalibrationTags {
  readonly colour: number;
  readonly forward: number;
  readonly camera: number;
  readonly illuminant: number;
  readonly data: number;
}

/** `passedOver`: what of it nobody uses. */
async function calibrationOf(
  directory: TiffDirectory,
  tags: CalibrationTags,
  cameraCounts: boolean,
  file: TiffFile,
): Promise<{ readonly calibration: Calibration; readonly passedOver: readonly string[] } | null> {
  const colourMatrix = await exactly(directory, tags.colour, 9);
  if (colourMatrix === null) return null;
  const cameraCalibration = await exactly(directory, tags.camera, 9);
  const illuminant = (await directory.number(tags.illuminant)) ?? 0;
  const light = illuminant === OTHER ? await illuminantXy(directory, tags.data, file) : null;
  const calibration = {
    illuminant,
    colourMatrix,
    forwardMatrix: await exactly(directory, tags.forward, 9),
    cameraCalibration: cameraCounts && cameraCalibration !== null ? cameraCalibration : UNIT,
    ...(light === null || light === 'spectrum' ? {} : { illuminantXy: light.xy }),
  };
  return {
    calibration,
    passedOver: light === 'spectrum' ? [`${tagName(tags.data)} (a spectrum)`] : [],
  };
}

/** The calibration of one camera counts only for the profile that it was made with; two absent signatures are alike. */
async function signaturesAgree(directory: TiffDirectory): Promise<boolean> {
  return (
    ((await directory.text(TAG.CameraCalibrationSignature)) ?? '') ===
    ((await directory.text(TAG.ProfileCalibrationSignature)) ?? '')
  );
}

export type RawColour = Pick<
  RawPicture,
  'calibrations' | 'analogBalance' | 'asShotNeutral' | 'asShotWhiteXy' | 'baselineExposure'
>;

const SETS: readonly CalibrationTags[] = [
  {
    colour: TAG.ColorMatrix1,
    forward: TAG.ForwardMatrix1,
    camera: TAG.CameraCalibration1,
    illuminant: TAG.CalibrationIlluminant1,
    data: TAG.IlluminantData1,
  },
  {
    colour: TAG.ColorMatrix2,
    forward: TAG.ForwardMatrix2,
    camera: TAG.CameraCalibration2,
    illuminant: TAG.CalibrationIlluminant2,
    data: TAG.IlluminantData2,
  },
  {
    colour: TAG.ColorMatrix3,
    forward: TAG.ForwardMatrix3,
    camera: TAG.CameraCalibration3,
    illuminant: TAG.CalibrationIlluminant3,
    data: TAG.IlluminantData3,
  },
];

/** `calibrations` is empty when the file has no ColorMatrix1; `passedOver`: names of what nobody here uses. */
export async function readColour(
  directory: TiffDirectory,
  file: TiffFile,
): Promise<RawColour & { readonly passedOver: readonly string[] }> {
  const cameraCounts = await signaturesAgree(directory);
  const found: NonNullable<Awaited<ReturnType<typeof calibrationOf>>>[] = [];
  for (const tags of SETS) {
    const set = await calibrationOf(directory, tags, cameraCounts, file);
    // The sets are counted from the first: none lies behind one that is absent.
    if (set === null) break;
    found.push(set);
  }
  const balance = (await exactly(directory, TAG.AnalogBalance, 3)) ?? [1, 1, 1];
  const neutral = await exactly(directory, TAG.AsShotNeutral, 3);
  const white = await exactly(directory, TAG.AsShotWhiteXY, 2);
  if ([...balance, ...(neutral ?? []), ...(white ?? [])].some((value) => value <= 0))
    throw new StillDamage(`white balance ${[...balance, ...(neutral ?? []), ...(white ?? [])].join(' ')}`);
  return {
    calibrations: found.map(({ calibration }) => calibration),
    passedOver: found.flatMap((set) => set.passedOver),
    analogBalance: balance as [number, number, number],
    asShotNeutral: neutral as [number, number, number] | null,
    // The specification lets only one stand; the camera's own measurement says more than a rounded point.
    asShotWhiteXy: neutral === null ? (white as [number, number] | null) : null,
    baselineExposure: (await exactly(directory, TAG.BaselineExposure, 1))?.[0] ?? 0,
  };
}
