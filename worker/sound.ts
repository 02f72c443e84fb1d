/** Audio of a job that does not come out of its decoder, as the checker hears it: what its deliverables are proved by. */
import { type HeardSound, hearSound } from '../check/sound/index.ts';
import { heardInPlace } from '../check/sound/heard-place.ts';
import type { Finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import { subjectOf } from './claim.ts';
import { usedOf } from './collect.ts';
import { type JobContext, JobFailure } from './context.ts';

/** By track of the clip; null: one that the decoder of the job gives, or that nobody takes. Throws JobFailure: once more, since a share may give the file whole the next time. */
export async function hearSounds(
  job: Job,
  outcomes: readonly Outcome[],
  { tools, signal }: Pick<JobContext, 'tools' | 'signal'>,
): Promise<(HeardSound | null)[]> {
  const { facts, rollFolder, soundRolls = [] } = job;
  const subject = subjectOf(job);
  const heard: (HeardSound | null)[] = [];
  const takesRecording = outcomes.some(({ audio }) => audio.some(({ recording }) => recording !== null));
  if (takesRecording) {
    const { place } = job.clip;
    const file = place.kind === 'movie' ? place.file : null;
    const elsewhere = await heardInPlace({ rollFolder, soundRolls, facts, file, tools, signal, subject });
    if (elsewhere !== null) throw new JobFailure({ findings: [elsewhere], retryable: true });
  }
  for (const index of facts.audio.keys()) {
    const isTaken = outcomes.some(({ audio }) => audio.some(({ sourceTrack }) => sourceTrack === index));
    const sound = isTaken
      ? await hearSound({
          rollFolder,
          soundRolls,
          facts,
          index,
          used: usedOf(facts, outcomes, index),
          tools,
          signal,
          subject,
        })
      : null;
    if (sound !== null && isFinding(sound)) throw new JobFailure({ findings: [sound], retryable: true });
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
