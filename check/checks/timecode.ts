import { formatRatio, ratio } from '../../media/rate.ts';
import { formatTimecode, type Timecode } from '../../media/timecode.ts';
import { type Check, compare } from '../check.ts';
import type { TimecodeTrack } from '../movie-atoms.ts';

function label(timecode: Timecode | null): string {
  return timecode === null ? 'none' : `${formatTimecode(timecode)} (base ${timecode.base}, ${timecode.drop ? 'drop' : 'non-drop'})`;
}

/** A counter is no clock; a base of 0 labels nothing. */
function ofTrack(track: TimecodeTrack): Timecode | null {
  return track.counter || track.base === 0 ? null : { frame: track.frame, base: track.base, drop: track.drop };
}

/** Start label, drop flag, label base and rate, read twice: by ffprobe, and from the track's own bytes. */
export const timecode: Check = {
  name: 'timecode',
  rests: ['packets', 'atoms'],
  run: ({ measured: { facts, atoms }, outcome }) => {
    if (facts === null || atoms === null) return null;
    const track = atoms.timecodeTracks[0];
    const wanted = outcome.timecode;
    return compare('timecode-differs', [
      ['start', label(facts.timecode), label(wanted)],
      ['start in the track', track === undefined ? 'none' : label(ofTrack(track)), label(wanted)],
      ['timecode tracks', atoms.timecodeTracks.length, wanted === null ? 0 : 1],
      ...(track === undefined || track.frameDuration === 0 || track.timeScale === 0 ? [] : ([['rate of the track', formatRatio(ratio(track.timeScale, track.frameDuration)), formatRatio(outcome.rate)]] as const)),
    ]);
  },
};
