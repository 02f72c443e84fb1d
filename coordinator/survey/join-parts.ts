/** One clip of the parts of a spanned recording, and what does not run on from one to the next. Pure. */
import { turnOf, turnText } from '../../media/upright.ts';
import { printable } from '../../files/names.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { ClipPlace } from '../../ledger/clip.ts';
import type { AudioFacts, ClipFacts, VideoFacts } from '../../media/facts.ts';
import { formatRatio, type Rate, sameRatio } from '../../media/time/rate.ts';
import {
  addFrames,
  formatTimecode,
  sameCounting,
  sameTimecode,
  type Timecode,
} from '../../media/time/timecode.ts';

export type SpannedClipPlace = Extract<ClipPlace, { kind: 'spanned' }>;

/** For people. */
export const namingText = (namedBy: string): string =>
  namedBy === 'suffix'
    ? 'a number behind the name of the first'
    : namedBy === 'settings'
      ? 'the settings'
      : `names of the form ${printable(namedBy)}`;

const size = ({ width, height }: VideoFacts): string => `${width}x${height}`;

/** What parts of one recording share, each as people read it. */
function formOf({ container, video, audio, reel }: ClipFacts): Record<string, string> {
  const { colour } = video;
  return {
    container,
    picture: `stream ${video.streamIndex}, ${video.codec} ${video.codecTag} ${video.profile ?? ''} ${video.pixelFormat}`,
    raster: `${size(video)}, pixels ${formatRatio(video.pixelAspect)}, ${turnText(turnOf(video))}`,
    fields: video.fieldOrder,
    rate: formatRatio(video.rate),
    colour: `${colour.primaries} ${colour.transfer} ${colour.matrix} ${colour.range} ${video.chromaSiting ?? ''}`,
    audio:
      audio
        .map(
          (track) =>
            `stream ${track.streamIndex}, ${track.codec} ${track.sampleFormat} ${track.sampleRate} Hz ${track.channels} channels`,
        )
        .join('; ') || 'none',
    reel: reel ?? 'none',
  };
}

interface Joint {
  readonly before: ClipFacts;
  readonly after: ClipFacts;
  /** Names of both, for people. */
  readonly names: string;
  readonly file: string;
}

function formFinding({ before, after, names, file }: Joint, subject: FindingSubject): Finding | null {
  const [one, other] = [formOf(before), formOf(after)];
  const unlike = Object.keys(one).find((key) => one[key] !== other[key]);
  return unlike === undefined
    ? null
    : finding(
        'spanned-parts-differ',
        `${names}: ${unlike} ${other[unlike]}`,
        `${unlike} ${one[unlike]}, as in the part before`,
        { ...subject, file },
      );
}

/** Frames from the end of the one to the beginning of the other; negative: they overlap. */
function framesBetween(ends: Timecode, begins: Timecode): number {
  const day = addFrames(begins, -ends.frame).frame;
  const back = addFrames(ends, -begins.frame).frame;
  return day <= back ? day : -back;
}

const frameCount = (frames: number): string => `${frames} ${frames === 1 ? 'frame' : 'frames'}`;

function timecodeFinding({ before, after, names, file }: Joint, subject: FindingSubject): Finding | null {
  const of = { ...subject, file };
  if (before.timecode === null || after.timecode === null)
    return finding(
      'spanned-no-timecode',
      `${names}: ${before.timecode === null && after.timecode === null ? 'neither has timecode' : 'one of them has no timecode'}`,
      'timecode that runs on from part to part',
      of,
    );
  const ends = addFrames(before.timecode, before.video.frames);
  if (sameTimecode(ends, after.timecode)) return null;
  const begins = formatTimecode(after.timecode);
  const expected = `${formatTimecode(ends)}, where the part before ends`;
  if (!sameCounting(ends, after.timecode))
    return finding(
      'spanned-not-continuous',
      `${names}: begins at ${begins}, counted otherwise`,
      expected,
      of,
    );
  const between = framesBetween(ends, after.timecode);
  return finding(
    'spanned-not-continuous',
    `${names}: begins at ${begins}, ${between > 0 ? `a gap of ${frameCount(between)}` : `an overlap of ${frameCount(-between)}`}`,
    expected,
    of,
  );
}

/** Pictures that a decoder may hold back before it shows the first (ITU-T H.264, A.3.1, MaxDpbFrames). */
const MOST_HELD_BACK = 16;

/** Of parts without timecode: clocks that run on through the parts must do so to the frame; those that begin again say nothing. */
function clockFinding({ before, after, names, file }: Joint, subject: FindingSubject): Finding | null {
  const { timeBase, firstTime, endTime, rate } = before.video;
  const inFrames = (ticks: number): number => (ticks * timeBase.num * rate.num) / (timeBase.den * rate.den);
  const beginsAgain = Math.abs(inFrames(after.video.firstTime - firstTime)) <= MOST_HELD_BACK;
  if (!sameRatio(timeBase, after.video.timeBase) || beginsAgain) return null;
  const ticks = after.video.firstTime - endTime;
  const frames = inFrames(ticks);
  // A tick of rounding at each end.
  if (Math.abs(ticks) <= 2) return null;
  return finding(
    'spanned-not-continuous',
    `${names}: begins ${Math.abs(frames).toFixed(2)} frames ${ticks > 0 ? 'after' : 'before'} the end of the part before, by their own clocks (${after.video.firstTime} ticks)`,
    `${endTime} ticks of ${formatRatio(timeBase)} s, where the part before ends`,
    { ...subject, file },
  );
}

/** Codecs whose packets can be cut anywhere; of all others a packet is the least that a camera can cut off. */
const isPcm = (codec: string): boolean => codec.startsWith('pcm_');
/** AAC, AC-3 and MPEG audio have packets of at most 2048, 1536 and 1152 samples (ISO/IEC 14496-3, ETSI TS 102 366, ISO/IEC 11172-3). */
const LONGEST_PACKET = 2048;
/** What is filled at one joint, where a camera ends its coder with each part: a tenth of a second. Common practice, no source. */
const MOST_FILLED_SECONDS = 0.1;

/** Samples from the beginning of the picture to its end, to the nearest. */
function samplesOf(frames: number, rate: Rate, sampleRate: number): number {
  return Number(
    (BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate) * 2n + BigInt(rate.num)) /
      (2n * BigInt(rate.num)),
  );
}

/** Where the audio of a part lies in the whole clip, in samples from its first frame. */
interface Lies {
  readonly start: number;
  readonly end: number;
}

function liesOf(parts: readonly ClipFacts[], track: number): Lies[] {
  let before = 0;
  return parts.flatMap(({ video, audio }) => {
    const own = audio[track];
    if (own === undefined) return [];
    const start = samplesOf(before, video.rate, own.sampleRate) + own.startOffset;
    before += video.frames;
    return { start, end: start + own.samples };
  });
}

/** Samples between the end of each part's audio and the beginning of the next one's; negative: they overlap. */
const gapsOf = (lies: readonly Lies[]): number[] =>
  lies.slice(1).map(({ start }, index) => start - (lies[index] as Lies).end);

/**
 * Whether one decoder may get all packets of a track: as many samples come out of it as there is time for, at each joint and at all joints together, to less than a packet.
 * PCM may be off by the sample that a frame's length is rounded to. What is farther off lies apart: a coder was begun again with each part.
 */
function runsOn(codec: string, gaps: readonly number[]): boolean {
  const most = isPcm(codec) ? 1 : LONGEST_PACKET - 1;
  let slip = 0;
  return gaps.every((gap) => {
    slip += gap;
    return Math.abs(gap) <= most && (isPcm(codec) || Math.abs(slip) <= most);
  });
}

/**
 * What of each part is taken, and the silence behind it: silence where there is a gap, nothing of what overlaps. What the last part leaves out before `end`, where the picture ends, is
 * filled like any other gap; what is more is for each profile to fit or to refuse.
 */
function piecesOf(lies: readonly Lies[], end: number, most: number): NonNullable<AudioFacts['pieces']> {
  return lies.map((own, index) => {
    const left = end - own.end;
    const next = lies[index + 1]?.start ?? (left > 0 && left <= most ? end : own.end);
    return {
      take: Math.max(0, Math.min(own.end, next) - own.start),
      silence: Math.max(0, next - own.end),
    };
  });
}

const mostFilled = (sampleRate: number): number => Math.floor(MOST_FILLED_SECONDS * sampleRate);

/** Gaps and overlaps that are more than what a camera leaves with each part: they are not filled. */
function audioFindings(
  joints: readonly Joint[],
  parts: readonly ClipFacts[],
  subject: FindingSubject,
): Finding[] {
  return (parts[0]?.audio ?? []).flatMap((track, index) => {
    const lies = liesOf(parts, index);
    const gaps = gapsOf(lies);
    if (runsOn(track.codec, gaps)) return [];
    const most = isPcm(track.codec) ? 1 : mostFilled(track.sampleRate);
    const mostOverlapped = isPcm(track.codec) ? 1 : LONGEST_PACKET - 1;
    return gaps.flatMap((gap, at) => {
      const joint = joints[at];
      if (joint === undefined || (gap <= most && -gap <= mostOverlapped)) return [];
      const { before, after, names, file } = joint;
      const own = before.audio[index] ?? track;
      const ends =
        own.startOffset + own.samples - samplesOf(before.video.frames, before.video.rate, track.sampleRate);
      const begins = after.audio[index]?.startOffset ?? 0;
      const text = (samples: number): string =>
        samples === 0
          ? 'with the picture'
          : `${Math.abs(samples)} samples ${samples > 0 ? 'after' : 'before'} the picture's joint`;
      return finding(
        'spanned-audio-not-continuous',
        `${names}, audio track ${index + 1}: ends ${text(ends)} and begins ${text(begins)}, ${gap > 0 ? 'a gap' : 'an overlap'} of ${Math.abs(gap)} samples (${((Math.abs(gap) * 1000) / track.sampleRate).toFixed(1)} ms)`,
        isPcm(track.codec)
          ? 'audio that runs on to the sample'
          : `audio that runs on within a packet, or a gap of at most ${MOST_FILLED_SECONDS * 1000} ms, which is filled with silence`,
        { ...subject, file },
      );
    });
  });
}

/** Joints at which silence was put in, or audio cut off. */
function filledFindings(
  { audio }: ClipFacts,
  parts: readonly ClipFacts[],
  subject: FindingSubject,
): Finding[] {
  return audio.flatMap(({ pieces, sampleRate }, track) => {
    if (pieces === undefined) return [];
    const text = pieces.flatMap(({ take, silence }, index) => {
      const isLast = index === pieces.length - 1;
      const cut = (parts[index]?.audio[track]?.samples ?? take) - take;
      if (isLast && silence === 0) return [];
      const what = cut > 0 ? `${cut} samples cut off` : `${silence} samples of silence`;
      return `${isLast ? 'end' : `joint ${index + 1}`}: ${what} (${(((cut > 0 ? cut : silence) * 1000) / sampleRate).toFixed(1)} ms)`;
    });
    return finding(
      'spanned-audio-filled',
      `audio track ${track + 1}, ${text.slice(0, 6).join(', ')}${text.length > 6 ? ` and ${text.length - 6} more, all in the clip report` : ''}`,
      'audio that runs on from part to part',
      subject,
    );
  });
}

const total = <Item>(items: readonly Item[], of: (item: Item) => number): number =>
  items.reduce((sum, item) => sum + of(item), 0);

/** Of all frames: the first part's, longer. Throws RangeError for fewer than two parts. */
function joinedFacts(place: SpannedClipPlace, parts: readonly ClipFacts[]): ClipFacts {
  const [first] = parts;
  if (first === undefined || parts.length < 2) throw new RangeError('one part');
  const { video } = first;
  const videos = parts.map((part) => part.video);
  const frames = total(videos, (one) => one.frames);
  const claims = videos.map((one) => one.claimedFrames);
  const ticks = Math.round(
    (frames * video.rate.den * video.timeBase.den) / (video.rate.num * video.timeBase.num),
  );
  return {
    ...first,
    video: {
      ...video,
      frames,
      claimedFrames: claims.some((claim) => claim === null) ? null : total(claims, (claim) => claim ?? 0),
      endTime: video.firstTime + ticks,
      bytes: total(videos, (one) => one.bytes),
      smallestPacket: Math.min(...videos.map((one) => one.smallestPacket)),
      largestPacket: Math.max(...videos.map((one) => one.largestPacket)),
    },
    // One way for all tracks: they are read from the same inputs.
    audio: first.audio.map((track, index) => {
      const lies = liesOf(parts, index);
      if (first.audio.every((one, at) => runsOn(one.codec, gapsOf(liesOf(parts, at)))))
        return { ...track, samples: total(parts, (part) => part.audio[index]?.samples ?? 0) };
      const end = samplesOf(frames, video.rate, track.sampleRate);
      const pieces = piecesOf(lies, end, mostFilled(track.sampleRate));
      return { ...track, pieces, samples: total(pieces, ({ take, silence }) => take + silence) };
    }),
    parts: parts.map((part, index) => ({
      file: place.parts[index]?.file ?? '',
      frames: part.video.frames,
      firstTime: part.video.firstTime,
      timeBase: part.video.timeBase,
      timecode: part.timecode,
      audio: part.audio.map(({ samples, startOffset }) => ({ samples, startOffset })),
    })),
  };
}

/** `parts`: facts of the files of `place`, each measured alone, in order. null: they do not make one clip, and a finding says why. */
export function joinParts(
  place: SpannedClipPlace,
  parts: readonly ClipFacts[],
  subject: FindingSubject,
): { readonly facts: ClipFacts | null; readonly findings: Finding[] } {
  const joints = parts.slice(1).map((after, index): Joint => {
    const before = parts[index] as ClipFacts;
    const [one, other] = [place.parts[index]?.file ?? '', place.parts[index + 1]?.file ?? ''];
    return {
      before,
      after,
      names: `${printable(baseName(other))} after ${printable(baseName(one))}`,
      file: other,
    };
  });
  const unlike = joints.flatMap((joint) => formFinding(joint, subject) ?? []);
  if (unlike.length > 0) return { facts: null, findings: unlike };
  const byOrder = place.continuesBy === 'order';
  const breaks = joints.flatMap((joint) => [
    ...(byOrder ? [] : [timecodeFinding(joint, subject)]),
    ...(byOrder && parts.every((part) => part.timecode === null) ? [clockFinding(joint, subject)] : []),
  ]);
  const findings = [...breaks.filter((item) => item !== null), ...audioFindings(joints, parts, subject)];
  if (findings.length > 0) return { facts: null, findings };
  const facts = joinedFacts(place, parts);
  const continuity = byOrder ? 'the order of their names, as the settings say' : 'timecode that runs on';
  return {
    facts,
    findings: [
      finding(
        'spanned-joined',
        `${parts.length} files of ${parts.map((part) => part.video.frames).join(' + ')} frames, by ${namingText(place.namedBy)} and ${continuity}`,
        'one recording',
        subject,
      ),
      ...filledFindings(facts, parts, subject),
    ],
  };
}

function baseName(path: string): string {
  return path.slice(path.lastIndexOf('/') + 1);
}
