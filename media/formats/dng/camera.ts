/** What a DNG file says of camera, exposure and capture time (EXIF 2.3). */
import type { RawCamera } from './header.ts';
import type { TiffDirectory } from '../tiff/header.ts';
import { TAG } from '../tiff/tags.ts';
import { isoTime } from '../tiff/time.ts';

/** EXIF stores speeds in 16 bits; this value means: too high, look at the tags of 32 bits. */
const ISO_ELSEWHERE = 65_535;

/** Directories in the order in which a tag is looked for. */
type Places = readonly TiffDirectory[];

function placeOf(places: Places, tag: number): TiffDirectory | undefined {
  return places.find((directory) => directory.has(tag));
}
async function positive(places: Places, tag: number): Promise<number | null> {
  const value = (await placeOf(places, tag)?.number(tag)) ?? null;
  // Cameras write 0 or 0/0 for what they do not know.
  return value !== null && Number.isFinite(value) && value > 0 ? value : null;
}
async function text(places: Places, tag: number): Promise<string | null> {
  return (await placeOf(places, tag)?.text(tag)) ?? null;
}

/** SensitivityType says which of the 32-bit tags is meant: 1 standard output, 2 recommended index, 3 ISO speed; 4 and more are pairs. */
async function isoOf(places: Places): Promise<number | null> {
  const stored = await positive(places, TAG.ISOSpeedRatings);
  if (stored !== null && stored < ISO_ELSEWHERE) return Math.round(stored);
  const type = await positive(places, TAG.SensitivityType);
  const order =
    type === 1
      ? [TAG.StandardOutputSensitivity]
      : type === 3
        ? [TAG.ISOSpeed]
        : [TAG.RecommendedExposureIndex, TAG.StandardOutputSensitivity, TAG.ISOSpeed];
  for (const tag of order) {
    const value = await positive(places, tag);
    if (value !== null) return Math.round(value);
  }
  return null;
}

async function capturedAt(places: Places): Promise<string | null> {
  return (
    isoTime(
      await text(places, TAG.DateTimeOriginal),
      await text(places, TAG.SubSecTimeOriginal),
      await text(places, TAG.OffsetTimeOriginal),
    ) ??
    isoTime(
      await text(places, TAG.DateTime),
      await text(places, TAG.SubSecTime),
      await text(places, TAG.OffsetTime),
    )
  );
}

async function tStopOf(places: Places): Promise<number[] | null> {
  const values = (await placeOf(places, TAG.TStop)?.numbers(TAG.TStop)) ?? [];
  return (values.length === 1 || values.length === 2) &&
    values.every((value) => Number.isFinite(value) && value > 0)
    ? values
    : null;
}

export async function readCamera(places: Places): Promise<RawCamera> {
  return {
    model: await text(places, TAG.UniqueCameraModel),
    label: await text(places, TAG.CameraLabel),
    serial: await text(places, TAG.CameraSerialNumber),
    reel: await text(places, TAG.ReelName),
    iso: await isoOf(places),
    exposureSeconds: await positive(places, TAG.ExposureTime),
    fNumber: await positive(places, TAG.FNumber),
    tStop: await tStopOf(places),
    capturedAt: await capturedAt(places),
  };
}
