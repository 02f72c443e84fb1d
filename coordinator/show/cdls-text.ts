/** Which CDL of the show became whose, for people. Pure. */
import { printable } from '../../files/names.ts';
import type { CdlListing } from '../settings/match-cdls.ts';
import { count } from './words.ts';

export function cdlsText({ path, cdls, twice, without }: CdlListing): string {
  const width = Math.min(50, Math.max(0, ...cdls.map(({ cdl }) => cdl.length)));
  const lines = cdls.map(({ cdl, clips }) => {
    const whose = clips.map(({ roll, clip, rule }) => `${printable(roll)} ${printable(clip)}, by ${rule}`);
    return `  ${printable(cdl).padEnd(width)}  ${whose.length === 0 ? 'no clip' : whose.join('; ')}`;
  });
  for (const { roll, clip, rule, cdls: several } of twice)
    lines.push(
      `  ${printable(roll)} ${printable(clip)} is held: ${printable(several.join('; '))}, by ${rule}`,
    );
  const names = without.map(({ roll, clip }) => `${printable(roll)} ${printable(clip)}`);
  const left =
    names.length === 0 ? [] : [`  without one of them: ${count(names.length, 'clip')}: ${names.join(', ')}`];
  return [`${count(cdls.length, 'CDL')} of ${printable(path)}`, ...lines, ...left].join('\n');
}
