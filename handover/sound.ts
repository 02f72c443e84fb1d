/** Which recordings of the day's sound rolls ran with each clip. Pure. */
import type { DayClip, DayRoll, DaySound } from './day.ts';

/** Where it begins against the first frame: by what both heard, where they were compared. Samples of the recording. */
export const startOfSound = ({ heard, startSamples }: DaySound): number =>
  heard?.startSamples ?? startSamples;

function soundsOf(clip: DayClip, rolls: readonly DayRoll[]): DaySound[] {
  return rolls
    .flatMap(({ roll, recordings }) =>
      recordings.flatMap(({ files, sampleRate, tracks, scene, take, note, clips }) =>
        clips
          .filter((one) => one.roll === clip.roll && one.clip === clip.id)
          .map(
            ({ startSamples, overlapSamples, heard }): DaySound => ({
              ...{ roll, files, sampleRate, tracks, scene, take, note },
              ...{ startSamples, overlapSamples, heard },
            }),
          ),
      ),
    )
    .sort((one, other) => other.overlapSamples / other.sampleRate - one.overlapSamples / one.sampleRate);
}

/** Every clip with its recordings, the longest beside it first, and with the slate of that one where the clip itself says none. */
export const withSounds = (rolls: readonly DayRoll[]): DayRoll[] =>
  rolls.map((roll) => ({
    ...roll,
    clips: roll.clips.map((clip) => {
      const sounds = soundsOf(clip, rolls);
      const slate = clip.scene === null && clip.take === null ? sounds[0] : undefined;
      return {
        ...clip,
        sounds,
        scene: slate?.scene ?? clip.scene,
        take: slate?.take ?? clip.take,
      };
    }),
  }));
