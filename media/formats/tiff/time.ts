/** Times as EXIF stores them. */

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
