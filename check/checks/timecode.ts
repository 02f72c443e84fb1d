import { formatRatio, ratio } from '../../media/time/rate.ts';
import { formatTimecode, type Timecode } from '../../media/time/timecode.ts';
import { labelText, startByClip } from '../cadence.ts';
import { type Check, compare, type Line } from '../check.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Matroska } from '../matroska.ts';
import { type Movie, type TimecodeTrack, timecodeTracks } from '../movie/read.ts';

function label(timecode: Timecode | null): string {
  return timecode === null
    ? 'none'
    : `${formatTimecode(timecode)} (base ${timecode.base}, ${timecode.drop ? 'drop' : 'non-drop'})`;
}

/** A counter is no clock; a base of 0 labels nothing. */
function ofTrack(track: TimecodeTrack): Timecode | null {
  return track.counter || track.base === 0
    ? null
    : { frame: track.frame, base: track.base, drop: track.drop };
}

function trackLines(movie: Movie, { timecode: wanted, rate }: Outcome): Line[] {
  const tracks = timecodeTracks(movie);
  const [track] = tracks;
  return [
    [
      'start in the track',
      track === undefined || track === null ? 'none' : label(ofTrack(track)),
      label(wanted),
    ],
    ['timecode tracks', tracks.length, wanted === null ? 0 : 1],
    ...(track === undefined || track === null || track.frameDuration === 0 || track.timeScale === 0
      ? []
      : ([
          ['rate of the track', formatRatio(ratio(track.timeScale, track.frameDuration)), formatRatio(rate)],
        ] as const)),
  ];
}

/** Matroska keeps the label as it is written; what it counts is the track's rate (checked with the codec). */
function tagLines({ tags }: Matroska, { timecode: wanted }: Outcome): Line[] {
  const labels = tags.filter(({ name }) => name === 'TIMECODE');
  return [
    ['start in the tags', labels[0]?.value ?? 'none', wanted === null ? 'none' : formatTimecode(wanted)],
    ['timecode tags', labels.length, wanted === null ? 0 : 1],
  ];
}

/** Start label, drop flag, label base and rate, read twice: by ffprobe, and from the bytes of track or tag. */
export const timecode: Check = {
  name: 'timecode',
  rests: ['packets', 'index'],
  run: ({ measured: { facts, movie, matroska }, outcome, source }) => {
    const lines =
      matroska !== null
        ? tagLines(matroska.file, outcome)
        : movie !== null
          ? trackLines(movie, outcome)
          : null;
    if (facts === null || lines === null) return null;
    const start = source === null ? null : startByClip(source, outcome.cadence, facts.video.rate);
    return compare('timecode-differs', [
      ['start', label(facts.timecode), label(outcome.timecode)],
      ...lines,
      ...(start === null
        ? []
        : ([
            ['label, by the clip', facts.timecode === null ? 'none' : labelText(facts.timecode), start],
          ] as const)),
    ]);
  },
};
