/** A take of a sound roll as OpenTimelineIO has it: its source, in samples since midnight, and what ran with it. Pure. */
import { printable } from '../../files/names.ts';
import type { Recording } from '../../ledger/recording.ts';
import { roundedDivision, safeNumber } from '../../media/time/rate.ts';
import { DEFAULT_KEY } from './clip.ts';
import type { Json } from './json.ts';
import { clip as clipObject, missingReference, timeRange } from './objects.ts';

/** In samples of the file; without a time it counts from 0. */
function startOf({ since, sinceRate, sampleRate }: Recording): number {
  return since === null
    ? 0
    : safeNumber(roundedDivision(BigInt(since) * BigInt(sampleRate), BigInt(sinceRate)));
}

/** The file stays with whoever recorded it: it is named, and no place is claimed for it. */
export function otioRecording(roll: string, recording: Recording): Json {
  const { files, sampleRate, samples, bits, channels, since, scene, take, tape, note, tracks } = recording;
  const name = printable(files[0] ?? roll);
  return clipObject(
    {
      name,
      metadata: {
        roll,
        files: [...files],
        has_time: since !== null,
        sample_rate: sampleRate,
        bits,
        channels,
        scene,
        take,
        tape,
        note,
        circled: recording.circled,
        wild: recording.wild,
        tracks: tracks.map((one) => ({ channel: one.channel, name: one.name })),
        ran_with: recording.clips.map(({ roll: of, clip, startSamples, heard }) => ({
          roll: of,
          clip,
          start: heard?.startSamples ?? startSamples,
          start_by: heard === null ? 'timecode' : 'content',
        })),
      },
    },
    {
      [DEFAULT_KEY]: missingReference({
        name,
        metadata: { files: [...files] },
        range: timeRange(startOf(recording), samples, { num: sampleRate, den: 1 }),
      }),
    },
    DEFAULT_KEY,
  );
}
