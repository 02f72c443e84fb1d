/**
 * Measures a movie: form of the file, one scan of headers and every packet, then facts. Nothing is decided here about
 * whether the clip is good; what was seen goes out as fields.
 *
 * What a packet scan cannot see: damage inside packets, and a picture that changes size on the way. Both show when
 * the clip is decoded.
 */
import type { ClipFacts } from '../facts.ts';
import type { OpenedInput } from '../input.ts';
import type { MediaTools } from '../../process/locate.ts';
import { type MovieForm, readForm } from './form.ts';
import { pictureFacts, statedTurn } from './picture.ts';
import { type Headers, type StreamHeader, scan } from './scan.ts';
import { audioFacts } from './audio.ts';
import { reelOf, startTimecode } from './timecode.ts';

export const probeProblems = [
  'empty',
  'no-index',
  'playlist',
  'not-media',
  'unreadable',
  'answer-cut-off',
  'no-picture',
  'no-decoder',
  'no-frames',
] as const;
export type ProbeProblem = (typeof probeProblems)[number];

/** What else was seen, beside the facts. */
export interface ProbeEvidence {
  readonly fileBytes: number;
  /** Where the file's structure says that it ends at the earliest; beyond `fileBytes` the file is cut. */
  readonly declaredBytes: number | null;
  /** Furthest byte of any packet. */
  readonly furthestByte: number;
  /** False: an MXF file that was never closed. */
  readonly closed: boolean;
  /** Packets of the picture, hidden ones too, for comparison with the header's claim. */
  readonly picturePackets: number;
  /** Packets that the reader marked as damaged. */
  readonly markedPackets: number;
  /** What ffprobe printed at error level, at most 20 lines. */
  readonly readErrors: readonly string[];
  /** Why a start timecode that is there was not taken; null when there was none to refuse. */
  readonly refusedTimecode: string | null;
  /** Pictures in the file; the default one, else the first, is measured. */
  readonly pictures: number;
  /** False: the display matrix does something else than turn by quarters. */
  readonly turnsByQuarters: boolean;
  /** Audio streams that no decoder knows, by stream index. */
  readonly unknownAudio: readonly number[];
}

export type ProbeResult =
  | { readonly state: 'measured'; readonly facts: ClipFacts; readonly evidence: ProbeEvidence }
  | {
      readonly state: 'problem';
      readonly problem: ProbeProblem;
      readonly detail: string;
      /** Of `no-decoder`: the codec that the header names. */
      readonly codec?: string;
      readonly readErrors: readonly string[];
    };

function choosePicture(headers: Headers): { picture: StreamHeader | undefined; pictures: number } {
  // Cover images and thumbnails are no pictures of the clip.
  const pictures = headers.streams.filter(
    (stream) =>
      stream.codec_type === 'video' &&
      stream.disposition.attached_pic !== 1 &&
      stream.disposition.timed_thumbnails !== 1,
  );
  return {
    picture: pictures.find((stream) => stream.disposition.default === 1) ?? pictures[0],
    pictures: pictures.length,
  };
}

/** Tags of container and picture as written; where both have one of the same name and differ, the picture's is `picture:<name>`. */
function metadataOf(headers: Headers, picture: StreamHeader): Record<string, string> {
  const all: Record<string, string> = { ...headers.format.tags };
  for (const [name, value] of Object.entries(picture.tags)) {
    if (all[name] === undefined) all[name] = value;
    else if (all[name] !== value) all[`picture:${name}`] = value;
  }
  return all;
}

function problemOfForm(form: MovieForm): { problem: ProbeProblem; detail: string } | null {
  if (form.form === 'empty') return { problem: 'empty', detail: '0 bytes' };
  if (form.form === 'text') {
    const playlist = /^(#EXTM3U|ffconcat |<\?xml|<MPD|\[playlist\])/i.test(form.firstLine ?? '');
    return {
      problem: playlist ? 'playlist' : 'not-media',
      detail: `text that starts ${JSON.stringify(form.firstLine)}`,
    };
  }
  if (form.form === 'boxes' && !form.indexed)
    return { problem: 'no-index', detail: `no moov in ${form.fileBytes} bytes` };
  return null;
}

/** Who reads the form of a movie: this process, or one apart (media/raw/clip-readers.ts). */
export interface FormReader {
  form(path: string | Buffer, options: { readonly signal?: AbortSignal }): Promise<MovieForm>;
}

/** Throws the file system's error when the file cannot be opened, FindingError when ffprobe itself fails, the signal's reason when stopped. */
export async function probeMovie(
  input: OpenedInput,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: { signal?: AbortSignal; readers?: FormReader } = {},
): Promise<ProbeResult> {
  const { readers = { form: readForm }, signal } = options;
  const form = await readers.form(input.path, signal === undefined ? {} : { signal });
  const wrong = problemOfForm(form);
  if (wrong !== null) return { state: 'problem', ...wrong, readErrors: [] };
  const read = await scan(input, tools, options);
  if (read.state === 'cut-off')
    return { state: 'problem', problem: 'answer-cut-off', detail: read.why, readErrors: read.errors };
  if (read.state === 'unreadable')
    return {
      state: 'problem',
      problem: form.form === 'other' ? 'not-media' : 'unreadable',
      detail: read.why,
      readErrors: read.errors,
    };
  const { headers, tally } = read;
  const { picture, pictures } = choosePicture(headers);
  if (picture === undefined) {
    const kinds = headers.streams.map((stream) => stream.codec_type).join(', ');
    return {
      state: 'problem',
      problem: 'no-picture',
      detail: `streams: ${kinds || 'none'}`,
      readErrors: read.errors,
    };
  }
  const video = pictureFacts(picture, tally.picture.get(picture.index));
  if ('problem' in video) return { state: 'problem', ...video, readErrors: read.errors };
  const audioTracks = headers.streams.filter((stream) => stream.codec_type === 'audio');
  const measured = audioTracks.map((stream) => audioFacts(stream, tally.audio.get(stream.index), video));
  const start = startTimecode(headers, picture, video.rate, form.mxfTimecodes);
  const facts: ClipFacts = {
    kind: 'movie',
    container: headers.format.format_name ?? 'unknown',
    video,
    audio: measured.filter((track) => track !== null),
    timecode: start.timecode,
    timecodeFrom: start.from,
    reel: reelOf(headers, picture),
    createdAt:
      headers.format.tags.creation_time ??
      picture.tags.creation_time ??
      headers.format.tags.modification_date ??
      null,
    metadata: metadataOf(headers, picture),
  };
  const evidence: ProbeEvidence = {
    fileBytes: form.fileBytes,
    declaredBytes: form.declaredBytes,
    furthestByte: tally.furthestByte,
    closed: form.indexed,
    picturePackets: tally.picture.get(picture.index)?.packets ?? 0,
    markedPackets: tally.marked,
    readErrors: read.errors,
    refusedTimecode: start.refused,
    pictures,
    turnsByQuarters: statedTurn(picture) !== null,
    unknownAudio: audioTracks.filter((_, index) => measured[index] === null).map((stream) => stream.index),
  };
  return { state: 'measured', facts, evidence };
}
