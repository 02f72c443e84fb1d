/** Colour tags of a DNG file: what the camera sees under which light, and what it took for white (DNG specification, chapter 6). */
import { StillDamage } from '../still.ts';
import type { Calibration, RawPicture } from './header.ts';
import type { TiffDirectory } from '../tiff/header.ts';
import { TAG } from '../tiff/tags.ts';

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
    throw new StillDamage(`tag ${tag} holds ${values.slice(0, 9).join(' ')}, ${count} numbers are wanted`);
  return values;
}

async function calibrationOf(
  directory: TiffDirectory,
  tags: { colour: number; forward: number; camera: number; illuminant: number },
  cameraCounts: boolean,
): Promise<Calibration | null> {
  const colourMatrix = await exactly(directory, tags.colour, 9);
  if (colourMatrix === null) return null;
  const cameraCalibration = await exactly(directory, tags.camera, 9);
  return {
    illuminant: (await directory.number(tags.illuminant)) ?? 0,
    colourMatrix,
    forwardMatrix: await exactly(directory, tags.forward, 9),
    cameraCalibration: cameraCounts && cameraCalibration !== null ? cameraCalibration : UNIT,
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

/** `calibrations` is empty when the file has no ColorMatrix1. */
export async function readColour(directory: TiffDirectory): Promise<RawColour> {
  const cameraCounts = await signaturesAgree(directory);
  const first = await calibrationOf(
    directory,
    {
      colour: TAG.ColorMatrix1,
      forward: TAG.ForwardMatrix1,
      camera: TAG.CameraCalibration1,
      illuminant: TAG.CalibrationIlluminant1,
    },
    cameraCounts,
  );
  const second = await calibrationOf(
    directory,
    {
      colour: TAG.ColorMatrix2,
      forward: TAG.ForwardMatrix2,
      camera: TAG.CameraCalibration2,
      illuminant: TAG.CalibrationIlluminant2,
    },
    cameraCounts,
  );
  const balance = (await exactly(directory, TAG.AnalogBalance, 3)) ?? [1, 1, 1];
  const neutral = await exactly(directory, TAG.AsShotNeutral, 3);
  const white = await exactly(directory, TAG.AsShotWhiteXY, 2);
  if ([...balance, ...(neutral ?? []), ...(white ?? [])].some((value) => value <= 0))
    throw new StillDamage(`white balance ${[...balance, ...(neutral ?? []), ...(white ?? [])].join(' ')}`);
  return {
    calibrations: first === null ? [] : second === null ? [first] : [first, second],
    analogBalance: balance as [number, number, number],
    asShotNeutral: neutral as [number, number, number] | null,
    // The specification lets only one stand; the camera's own measurement says more than a rounded point.
    asShotWhiteXy: neutral === null ? (white as [number, number] | null) : null,
    baselineExposure: (await exactly(directory, TAG.BaselineExposure, 1))?.[0] ?? 0,
  };
}
