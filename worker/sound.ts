/** The sound beside the frames of a job, as the checker hears it: what its deliverables are proved by. */
import { type HeardSound, hearSound } from '../check/sound/index.ts';
import type { Finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import { subjectOf } from './claim.ts';
import { usedOf } from './collect.ts';
import { JobFailure } from './context.ts';

/** By track of the clip; null: a track of the clip itself, or one that nobody takes. Throws JobFailure: once more, since a share may give the file whole the next time. */
export async function hearSounds(job: Job, outcomes: readonly Outcome[]): Promise<(HeardSound | null)[]> {
  const { facts, rollFolder } = job;
  const heard: (HeardSound | null)[] = [];
  for (const [index, track] of facts.audio.entries()) {
    const isTaken = outcomes.some(({ audio }) => audio.some(({ sourceTrack }) => sourceTrack === index));
    if (track.beside === undefined || !isTaken) {
      heard.push(null);
      continue;
    }
    const sound = await hearSound(
      { rollFolder, facts, track },
      usedOf(facts, outcomes, index),
      subjectOf(job),
    );
    if (isFinding(sound)) throw new JobFailure({ findings: [sound], retryable: true });
    heard.push(sound);
  }
  return heard;
}

const isFinding = (sound: HeardSound | Finding): sound is Finding => 'code' in sound;

/** Fingerprints of a decode, with what was heard beside it. */
export function withSounds(
  fingerprints: SourceFingerprints | null,
  heard: readonly (HeardSound | null)[],
): SourceFingerprints | null {
  if (fingerprints === null || heard.every((sound) => sound === null)) return fingerprints;
  const { exact } = fingerprints;
  return {
    ...fingerprints,
    audioTracks: fingerprints.audioTracks.map((track, index) => heard[index]?.fingerprint ?? track),
    ...(exact === undefined
      ? {}
      : {
          exact: {
            ...exact,
            audioTracks: exact.audioTracks.map((hash, index) => heard[index]?.sha256 ?? hash),
          },
        }),
  };
}
