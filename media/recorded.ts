/** The files of sound rolls that tracks of production sound are taken from. Pure. */
import type { ClipFacts } from './facts.ts';

export interface RecordingFile {
  /** The sound roll. */
  readonly roll: string;
  /** Relative to it. */
  readonly file: string;
}

export const isRecordingFile = (one: RecordingFile, other: RecordingFile): boolean =>
  one.roll === other.roll && one.file === other.file;

/** Each once, in the order of the tracks. */
export function recordingFiles({ audio }: Pick<ClipFacts, 'audio'>): RecordingFile[] {
  const files: RecordingFile[] = [];
  for (const { recording } of audio)
    if (recording !== undefined && !files.some((one) => isRecordingFile(recording, one)))
      files.push({ roll: recording.roll, file: recording.file });
  return files;
}
