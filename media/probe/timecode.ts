/** Start timecode and reel of a movie, with the label base that the file itself uses. */
import { timecodeBase, type Rate } from '../time/rate.ts';
import { type Timecode, formatTimecode, parseTimecode } from '../time/timecode.ts';
import type { MxfTimecode } from './mxf.ts';
import { ratioOf } from './picture.ts';
import type { Headers, StreamHeader } from './scan.ts';

export interface StartTimecode {
  readonly timecode: Timecode | null;
  readonly from: string | null;
  /** The label as found when it is none that exists, with the reason; null otherwise. */
  readonly refused: string | null;
}

const NONE: StartTimecode = { timecode: null, from: null, refused: null };

/** Matroska has its tags in capitals (RFC 9559, 5.1.8.1.2.1). */
function tagOf(tags: Readonly<Record<string, string>>, name: string): string | undefined {
  return tags[name] ?? tags[name.toUpperCase()];
}

function read(label: string, at: Rate | number, from: string): StartTimecode {
  try {
    return { timecode: parseTimecode(label, at), from, refused: null };
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return { timecode: null, from: null, refused: error.message };
  }
}

/**
 * MOV and MP4: the `tmcd` track; ffprobe shows its label on the picture that refers to it, and the track's own rate,
 * which may be another than the picture's. MXF: the label of the container, with base and flag of the component that
 * it was made from. An MXF file that ffmpeg wrote without timecode holds a component that starts at 0: that cannot be
 * told from 00:00:00:00, and is taken as such.
 */
export function startTimecode(
  headers: Headers,
  picture: StreamHeader,
  rate: Rate,
  components: readonly MxfTimecode[],
): StartTimecode {
  const tracks = headers.streams.filter(
    (stream) => stream.codec_tag_string === 'tmcd' && stream.tags.timecode !== undefined,
  );
  const label = tagOf(picture.tags, 'timecode') ?? tracks[0]?.tags.timecode;
  if (label !== undefined) {
    const track = tracks.find((stream) => stream.tags.timecode === label);
    if (track === undefined) return read(label, rate, 'header');
    return read(label, ratioOf(track.avg_frame_rate) ?? rate, 'tmcd');
  }
  const container = tagOf(headers.format.tags, 'timecode');
  if (container === undefined) return NONE;
  for (const { start, base, drop } of components) {
    try {
      const timecode = { frame: start, base, drop };
      if (formatTimecode(timecode) === container) return { timecode, from: 'mxf', refused: null };
    } catch (error) {
      // A component that cannot be (drop-frame at base 25) is not the one that ffprobe printed.
      if (!(error instanceof RangeError)) throw error;
    }
  }
  return read(
    container,
    components.length > 0 ? timecodeBase(rate) : rate,
    components.length > 0 ? 'mxf' : 'header',
  );
}

/** Reel name: beside the timecode (tmcd `name`), else on the picture, else on the container. */
export function reelOf(headers: Headers, picture: StreamHeader): string | null {
  const track = headers.streams.find(
    (stream) => stream.codec_tag_string === 'tmcd' && stream.tags.reel_name !== undefined,
  );
  return (
    track?.tags.reel_name ??
    tagOf(picture.tags, 'reel_name') ??
    tagOf(headers.format.tags, 'reel_name') ??
    null
  );
}
