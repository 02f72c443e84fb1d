/** The timeline of a day: every clip once, one behind the other in the order of timecode, picture and sound. Pure. */
import { printable } from '../../files/names.ts';
import { cutOf } from '../counting.ts';
import type { Day, DayClip } from '../day.ts';
import type { DayOrder } from '../day-clock.ts';
import { otioClip } from './clip.ts';
import type { Json } from './json.ts';
import { gap, stack, timeline, track } from './objects.ts';

export function dayTimeline({ day }: Pick<Day, 'day'>, { placed, unplaced }: DayOrder): Json {
  const clips = [...placed.map(({ clip }) => clip), ...unplaced].filter((clip) => cutOf(clip) !== null);
  const tracks = [track({ name: 'V1' }, 'Video', pictures(clips))];
  if (clips.some(hasSound)) tracks.push(track({ name: 'A1' }, 'Audio', sounds(clips)));
  return timeline(printable(day), { day, version: 0 }, stack({ name: 'tracks' }, tracks));
}

const hasSound = (clip: DayClip): boolean => (cutOf(clip)?.audioTracks ?? 0) > 0;

function* pictures(clips: readonly DayClip[]): Generator<Json> {
  for (const clip of clips) yield otioClip(clip, true);
}

function* sounds(clips: readonly DayClip[]): Generator<Json> {
  for (const clip of clips) {
    const cut = cutOf(clip);
    if (cut !== null) yield hasSound(clip) ? otioClip(clip, true) : gap(cut.frames, cut.rate);
  }
}
