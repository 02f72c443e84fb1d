/** How long making takes: an estimate from a table of speeds. Nothing but what `plan` shows rests on it. */
import type { ClipFacts } from '../../media/facts.ts';
import { type AnyOutcome, isMasterOutcome } from '../../profiles/outcome/any.ts';
import { type AnyProfile, isMaster, type LoadedProfile } from '../../profiles/schema.ts';

/** What the table rests on, for people: this machine may be much faster or slower. */
export const ESTIMATE_RESTS_ON = 'speeds measured once on a machine of two cores';
/** Megapixels a second of one worker with two cores, rounded down: measured once with ffmpeg 5.1 on a small machine, 1080p. */
const decodeSpeeds: Readonly<Record<string, number>> = {
  rdd36: 200,
  vc3: 250,
  h264: 250,
  h265: 120,
  mpeg2video: 300,
  rawvideo: 400,
  ffv1: 10,
};
const OTHER_DECODE = 80;
const encodeSpeeds = { vc3: 100, rdd36: 20, ffv1: 10 } as const;
/** By the processor time of 12 frames of 1280x720 with grain, in `very-fast` and `slow`; the others lie between and beside. */
const h265Speeds = { fastest: 16, 'very-fast': 8, fast: 7, medium: 6, slow: 4 } as const;
const h264Speeds = { fastest: 120, 'very-fast': 55, fast: 28, medium: 16, slow: 9 } as const;

/** Starting programs, reading headers, publishing. */
const SECONDS_A_JOB = 1;

/** Of masters: one frame from code values to a file, uncompressed or compressed, or through the encoder of RDD 36; `fine` of a raw source takes about as long again. */
const MASTER = { none: 30, zip: 12, zips: 12, piz: 12, dwaa: 8, dwab: 8, rdd36: 10 } as const;

function encodeSpeed(profile: AnyProfile): number {
  if (isMaster(profile)) return MASTER[profile.format === 'rdd36' ? profile.format : profile.compression];
  const { video } = profile;
  if (video.codec === 'h265') return h265Speeds[video.speed];
  return video.codec === 'h264' ? h264Speeds[video.speed] : encodeSpeeds[video.codec];
}

export function jobSeconds(
  facts: ClipFacts,
  deliverables: readonly { profile: LoadedProfile; outcome: AnyOutcome }[],
  frames = facts.video.frames,
): number {
  const { kind, video } = facts;
  const megapixels = (width: number, height: number): number => (width * height * frames) / 1e6;
  // A movie is decoded from its beginning, whatever is made of it.
  const decoded = kind === 'movie' ? video.frames : frames;
  const decode = (video.width * video.height * decoded) / 1e6 / (decodeSpeeds[video.codec] ?? OTHER_DECODE);
  const make = deliverables.reduce((sum, { profile, outcome }) => {
    const size = megapixels(outcome.width, outcome.height);
    // Every deliverable is decoded once more, to check it.
    return (
      sum +
      size / encodeSpeed(profile.profile) +
      size / (isMasterOutcome(outcome) ? OTHER_DECODE : (decodeSpeeds[outcome.codec] ?? OTHER_DECODE))
    );
  }, 0);
  return SECONDS_A_JOB + decode + make;
}

/** Jobs in order, each to the worker that is free first. */
export function secondsOf(jobs: readonly { seconds: number }[], workers: number): number {
  const busy = new Array<number>(Math.max(1, workers)).fill(0);
  for (const { seconds } of jobs) {
    let first = 0;
    for (let index = 1; index < busy.length; index += 1)
      if ((busy[index] as number) < (busy[first] as number)) first = index;
    busy[first] = (busy[first] as number) + seconds;
  }
  return Math.ceil(Math.max(...busy));
}
