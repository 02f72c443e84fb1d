/** How the planned deliverables of a roll run against their clips, in words, each way once; what runs as it was recorded, with timecode of its own, is not listed. Pure. */
import { formatRatio } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import type { PlannedJob } from './types.ts';

export interface CadenceOfRoll {
  /** For people. */
  readonly way: string;
  readonly profiles: readonly string[];
  readonly clips: readonly string[];
}

export function cadenceOfRoll(jobs: readonly Pick<PlannedJob, 'job'>[]): CadenceOfRoll[] {
  const ways = new Map<string, { profiles: Set<string>; clips: Set<string> }>();
  for (const { job } of jobs)
    for (const { profile, outcome } of job.deliverables)
      for (const way of cadenceTexts(outcome)) {
        const group = ways.get(way) ?? { profiles: new Set(), clips: new Set() };
        group.profiles.add(profile.name);
        group.clips.add(job.clip.id);
        ways.set(way, group);
      }
  return [...ways].map(([way, { profiles, clips }]) => ({ way, profiles: [...profiles], clips: [...clips] }));
}

const AUDIO = { 'leave-out': 'without audio', 'real-time': 'audio as it was heard' } as const;
const STARTS = {
  settings: 'by the settings',
  'time-of-day': 'the time of day by the clock of the camera',
  zero: 'since nobody says where',
} as const;

export function cadenceTexts({
  rate,
  timecode,
  cadence: { offSpeed, constant, split, timecodeFrom },
}: Pick<AnyOutcome, 'rate' | 'timecode' | 'cadence'>): string[] {
  return [
    ...(offSpeed === null
      ? []
      : [
          `${formatRatio(offSpeed.captured)} played at ${formatRatio(rate)} frames/s, ${formatRatio(offSpeed.slower)} times as long, ${AUDIO[offSpeed.audio]}`,
        ]),
    ...(constant === null
      ? []
      : [
          `a rate that varies made ${formatRatio(rate)} frames/s: ${constant.repeated.length} frames shown more than once, ${constant.leftOut.length} left out`,
        ]),
    ...(split === null
      ? []
      : [
          `each field a frame, the ${split.earlier} one of each first, ${formatRatio(offSpeed?.captured ?? rate)} a second`,
        ]),
    ...(timecodeFrom === 'file' || timecode === null
      ? []
      : [`starts at ${formatTimecode(timecode)}, ${STARTS[timecodeFrom]}`]),
  ];
}
