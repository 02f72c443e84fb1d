/** A moment as people read it. Pure. */

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
