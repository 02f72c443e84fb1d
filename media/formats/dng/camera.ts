/** What a DNG file says of camera, exposure and capture time (EXIF 2.3). */
import type { RawCamera } from './header.ts';
import type { TiffDirectory } from '../tiff/header.ts';
import { TAG } from '../tiff/tags.ts';

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

/** `2026:11:25 19:06:17` with fraction and offset, as ISO 8601; null for what is no time. */
export function isoTime(
  stored: string | null,
  fraction: string | null,
  offset: string | null,
): string | null {
  const parts = /^(\d{4}):(\d\d):(\d\d)[ T](\d\d):(\d\d):(\d\d)$/.exec(stored ?? '');
  if (parts === null) return null;
  const [year, month, day, hour, minute, second] = parts.slice(1).map(Number) as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  if (
    year === 0 ||
    month < 1 ||
    month > 12 ||
    day < 1 ||
    day > new Date(Date.UTC(year, month, 0)).getUTCDate() ||
    hour > 23 ||
    minute > 59 ||
    second > 59
  )
    return null;
  const rest = fraction !== null && /^\d{1,9}$/.test(fraction) ? `.${fraction}` : '';
  const zone = offset !== null && /^(?:[+-]\d\d:\d\d|Z)$/.test(offset) ? offset : '';
  return `${parts[1]}-${parts[2]}-${parts[3]}T${parts[4]}:${parts[5]}:${parts[6]}${rest}${zone}`;
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
