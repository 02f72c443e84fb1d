/** Start timecode of a deliverable: that of the source, in the counting of the source's rate. */
import { type Finding, finding } from '../../findings/finding.ts';
import { type Rate, formatRatio, isKnownRate, timecodeBase } from '../../media/time/rate.ts';
import { framesPerDay, mayDrop, type Timecode } from '../../media/time/timecode.ts';
import type { Profile } from '../schema.ts';

const counted = (timecode: Timecode): string =>
  `frame ${timecode.frame} at base ${timecode.base}${timecode.drop ? ', drop-frame' : ''}`;

export function timecodeOf(
  source: Timecode | null,
  rate: Rate,
  policy: Profile['timecode'],
): { timecode: Timecode; notes: Finding[] } | { findings: Finding[] } {
  if (!isKnownRate(rate))
    return {
      findings: [
        finding(
          'rate-unsupported',
          `${formatRatio(rate)} frames a second`,
          'a rate of SMPTE ST 12-1 or ST 12-3',
        ),
      ],
    };
  const base = timecodeBase(rate);
  if (source === null) {
    if (policy.missing === 'hold')
      return { findings: [finding('timecode-missing', 'no timecode', 'a start timecode')] };
    return {
      timecode: { frame: 0, base, drop: false },
      notes: [finding('timecode-assumed', 'no timecode', 'a start timecode; 00:00:00:00 is written')],
    };
  }
  // ST 12-1 counts pairs of frames above 30 frames a second; some recorders keep that count in the file.
  const pairs = source.base * 2 === base;
  if (source.base !== base && !pairs)
    return {
      findings: [
        finding(
          'timecode-impossible',
          counted(source),
          `base ${base} at ${formatRatio(rate)} frames a second`,
        ),
      ],
    };
  if (source.drop && !mayDrop(rate))
    return {
      findings: [
        finding(
          'timecode-impossible',
          counted(source),
          `no drop-frame at ${formatRatio(rate)} frames a second`,
        ),
      ],
    };
  if (source.frame >= framesPerDay(source.base, source.drop))
    return { findings: [finding('timecode-impossible', counted(source), 'less than 24 hours')] };
  if (!pairs) return { timecode: source, notes: [] };
  return {
    timecode: { frame: source.frame * 2, base, drop: source.drop },
    notes: [
      finding(
        'timecode-in-pairs',
        `base ${source.base} at ${formatRatio(rate)} frames a second`,
        `base ${base}`,
      ),
    ],
  };
}
