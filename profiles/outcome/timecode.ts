/** Start timecode of a deliverable: that of the source, in the counting of the rate that it is delivered at; of a source without one, by policy. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { labelAtRate } from '../../media/time/off-speed.ts';
import { type Rate, formatRatio, isKnownRate, sameRatio, timecodeBase } from '../../media/time/rate.ts';
import { framesPerDay, mayDrop, parseTimecode, type Timecode } from '../../media/time/timecode.ts';
import type { MissingTimecode } from '../../media/time/timing.ts';
import type { TimecodeOrigin } from '../cadence.ts';
import { clockOf, timecodeOfClock } from './time-of-day.ts';

const counted = (timecode: Timecode): string =>
  `frame ${timecode.frame} at base ${timecode.base}${timecode.drop ? ', drop-frame' : ''}`;

const impossible = (source: Timecode, expected: string): { findings: Finding[] } => ({
  findings: [finding('timecode-impossible', counted(source), expected)],
});

interface Start {
  readonly timecode: Timecode;
  readonly from: TimecodeOrigin;
  readonly field: string | null;
  readonly notes: Finding[];
}
type Refused = { readonly findings: Finding[] };

/** `rate`: that it is delivered at. */
export function timecodeOf(
  facts: Pick<ClipFacts, 'timecode' | 'timing' | 'kind' | 'metadata' | 'stated' | 'raw'> & {
    readonly video: { readonly rate: Rate };
  },
  rate: Rate,
  policy: { readonly missing: MissingTimecode },
): Start | Refused {
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
  const { timecode: source, timing = {} } = facts;
  if (source === null) return withoutTimecode(facts, rate, timing.timecodeMissing ?? policy.missing);
  const counting = countingOf(source, facts.video.rate, rate);
  if ('findings' in counting) return counting;
  const unused =
    timing.timecode === undefined
      ? []
      : [
          finding(
            'timecode-setting-unused',
            `a start of ${timing.timecode} in the settings`,
            'a clip without timecode',
          ),
        ];
  return {
    timecode: labelAtRate(counting.timecode, rate),
    from: 'file',
    field: null,
    notes: [...counting.notes, ...unused],
  };
}

/** The label as every frame of the source is counted. */
function countingOf(
  source: Timecode,
  captured: Rate,
  rate: Rate,
): { timecode: Timecode; notes: Finding[] } | Refused {
  const base = timecodeBase(captured);
  const played = !sameRatio(captured, rate);
  // Cameras that are meant to be played at the project's rate may count in it.
  const countsForProject = played && source.base === timecodeBase(rate);
  // ST 12-1 counts pairs of frames above 30 frames a second; some recorders keep that count in the file.
  const pairs = source.base * 2 === base && !countsForProject;
  if (source.base !== base && !pairs && !countsForProject)
    return impossible(source, `base ${base} at ${formatRatio(captured)} frames a second`);
  if (source.drop && !mayDrop(countsForProject ? rate : captured))
    return impossible(
      source,
      `no drop-frame at ${formatRatio(countsForProject ? rate : captured)} frames a second`,
    );
  if (source.frame >= framesPerDay(source.base, source.drop)) return impossible(source, 'less than 24 hours');
  if (!pairs) return { timecode: source, notes: [] };
  return {
    timecode: { frame: source.frame * 2, base, drop: source.drop },
    notes: [
      finding(
        'timecode-in-pairs',
        `base ${source.base} at ${formatRatio(captured)} frames a second`,
        `base ${base}`,
      ),
    ],
  };
}

function withoutTimecode(
  facts: Parameters<typeof timecodeOf>[0],
  rate: Rate,
  missing: MissingTimecode,
): Start | Refused {
  const stated = facts.timing?.timecode;
  if (stated !== undefined) return statedStart(stated, rate);
  const clock = missing === 'hold' || missing === 'zero' ? null : clockOf(facts);
  if (clock !== null && 'time' in clock)
    return {
      timecode: timecodeOfClock(clock.time, rate),
      from: 'time-of-day',
      field: clock.field,
      notes: [finding('timecode-time-of-day', 'no timecode', `a start timecode; ${clock.said} is written`)],
    };
  const why = clock === null ? 'no timecode' : `no timecode, and ${clock.why}`;
  if (missing === 'hold' || missing === 'time-of-day')
    return { findings: [finding('timecode-missing', why, 'a start timecode')] };
  return {
    timecode: { frame: 0, base: timecodeBase(rate), drop: false },
    from: 'zero',
    field: null,
    notes: [finding('timecode-assumed', why, 'a start timecode; 00:00:00:00 is written')],
  };
}

function statedStart(label: string, rate: Rate): Start | Refused {
  try {
    return {
      timecode: parseTimecode(label, rate),
      from: 'settings',
      field: null,
      notes: [
        finding(
          'timecode-from-settings',
          'no timecode',
          `a start timecode; ${label} of the settings is written`,
        ),
      ],
    };
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return {
      findings: [
        finding(
          'timecode-setting-wrong',
          error.message,
          `a label that exists at ${formatRatio(rate)} frames a second`,
        ),
      ],
    };
  }
}
