/** Sizes, durations, counts and moments as people read them. Pure. */

/** Decimal units, as drives are sold by: `1.2 GB`. */
export function bytesText(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB', 'TB', 'PB'];
  let value = bytes;
  let unit = 0;
  while (value >= 999.5 && unit < units.length - 1) {
    value /= 1000;
    unit += 1;
  }
  return `${unit === 0 || value >= 99.5 ? value.toFixed(0) : value.toFixed(1)} ${units[unit]}`;
}

/** `2 h 05 min`, `4 min 10 s`, `9 s`. */
export function durationText(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole} s`;
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return `${minutes} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}

export function count(number: number, one: string, many = `${one}s`): string {
  return `${number} ${number === 1 ? one : many}`;
}

/** `Monday 2026-11-30 04:05 Europe/Berlin`. `moment`: ISO 8601; `zone`: a name of the IANA Time Zone Database, null: UTC. What is no moment is given back as it is. */
export function momentText(moment: string, zone: string | null): string {
  const at = new Date(moment);
  if (Number.isNaN(at.getTime())) return moment;
  const timeZone = zone ?? 'UTC';
  const parts = new Map(
    new Intl.DateTimeFormat('en-GB', {
      timeZone,
      weekday: 'long',
      year: 'numeric',
      month: '2-digit',
      day: '2-digit',
      hour: '2-digit',
      minute: '2-digit',
      hourCycle: 'h23',
    })
      .formatToParts(at)
      .map(({ type, value }) => [type, value]),
  );
  const of = (part: Intl.DateTimeFormatPartTypes): string => parts.get(part) ?? '';
  return `${of('weekday')} ${of('year')}-${of('month')}-${of('day')} ${of('hour')}:${of('minute')} ${timeZone}`;
}
