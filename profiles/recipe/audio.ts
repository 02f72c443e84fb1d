/**
 * Audio of one output file: from which inputs, through which filters. Three ways: a track of the clip; a sound file beside its frames; parts of a spanned clip
 * that are decoded apart, with silence between them.
 */
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { isRecordingFile, recordingFiles } from '../../media/recorded.ts';
import { AAC_KILOBITS } from '../limits.ts';
import type { Outcome } from '../outcome.ts';

/**
 * Samples numbered from 0. Rounded: ffmpeg computes it in floating point and cuts what is behind the point, so that sample 15 at 44.1 kHz would be called
 * 14; a resampler that begins with so short a block then starts a sample before the picture, and MOV's edit list cuts that sample off.
 */
const NUMBERED = 'asetpts=round(N/SR/TB)';

/** ffmpeg takes rates as whole numbers: in these parts the ratio of two clocks is whole, to a tenth of a millionth. */
const CLOCK = 10_000_000;

/** Of a recording: its channels, from the sample that lies beside the clip, and as many a second as the clip's clock has. */
function recordedFilter({ recording, sampleRate }: AudioFacts): string[] {
  if (recording === undefined) return [];
  const { channels, from, driftMillionths } = recording;
  const layout = channels.length === 1 ? 'mono' : 'stereo';
  const taken = channels.map((channel, to) => `c${to}=c${channel - 1}`).join('|');
  return [
    `pan=${layout}|${taken}`,
    ...(from === 0 ? [] : [`atrim=start_sample=${from}`, NUMBERED]),
    ...(driftMillionths === 0
      ? []
      : [
          `asetrate=${CLOCK + Math.round(driftMillionths * 10)}`,
          `aresample=${CLOCK}:filter_size=64:phase_shift=10:linear_interp=1`,
          `asetrate=${sampleRate}`,
          NUMBERED,
        ]),
  ];
}

/**
 * Moved to start with the picture, resampled, then exactly as many samples as the picture lasts. Samples are numbered
 * again: what the source's own times say was measured by the survey. Every conversion is said, since none comes by itself.
 */
function audioFilter(source: AudioFacts, track: Outcome['audio'][number]): string {
  const { startOffset: offset } = source;
  const start =
    offset > 0
      ? ['aresample', `adelay=delays=${offset}S:all=1`]
      : offset < 0
        ? [`atrim=start_sample=${-offset}`, NUMBERED]
        : [];
  return [
    NUMBERED,
    ...recordedFilter(source),
    ...start,
    `aresample=${track.sampleRate}`,
    `apad=whole_len=${track.samples}`,
    `atrim=end_sample=${track.samples}`,
    NUMBERED,
  ].join(',');
}

export interface AudioPlace {
  /** Pictures are fed in: the first inputs are there for their audio alone. */
  readonly isFed: boolean;
  /** Keeps the pads of one output apart from those of others. */
  readonly key: string;
}

/** Inputs that audio is read from besides the clip (media/input.ts, openAudioBeside): the sound file beside its frames, or each part of a spanned clip. */
export function audioInputs({ audio, parts = [] }: Pick<ClipFacts, 'audio' | 'parts'>): number {
  if (audio.some(({ pieces }) => pieces !== undefined)) return parts.length;
  return audio.some(({ beside }) => beside !== undefined) ? 1 : 0;
}

/** Inputs of audio that stand before the pictures that are fed in: the clip itself where nothing else has its audio, and all recordings. */
export const fedAudioInputs = (facts: Pick<ClipFacts, 'audio' | 'parts'>): number =>
  Math.max(1, audioInputs(facts)) + recordingFiles(facts).length;

/** Behind the clip; where pictures are fed in they are the first ones, in its place. */
const firstBeside = (isFed: boolean): number => (isFed ? 0 : 1);

function sourceOf(facts: ClipFacts, track: Outcome['audio'][number]): AudioFacts {
  const source = facts.audio[track.sourceTrack];
  if (source === undefined)
    throw new RangeError(`audio track ${track.sourceTrack} is not among the source facts`);
  return source;
}

function inputOf(facts: ClipFacts, { beside, recording }: AudioFacts, isFed: boolean): number {
  if (recording !== undefined) {
    const before = isFed ? Math.max(1, audioInputs(facts)) : 1 + audioInputs(facts);
    return before + recordingFiles(facts).findIndex((one) => isRecordingFile(recording, one));
  }
  return beside === undefined ? 0 : firstBeside(isFed);
}

const padOf = (key: string, index: number): string => `heard-${key}-${index}`;

/** Chains of the filter graph, for tracks whose parts are decoded apart; none for all others. */
export function audioChains(facts: ClipFacts, outcome: Outcome, { isFed, key }: AudioPlace): string[] {
  return outcome.audio.flatMap((track, index) => {
    const source = sourceOf(facts, track);
    const { pieces, streamIndex } = source;
    if (pieces === undefined) return [];
    if (outcome.exact !== null) throw new RangeError('audio that is kept sample for sample, in pieces');
    const pads = pieces.map((_, part) => `[${padOf(key, index)}-${part}]`);
    return [
      ...pieces.map(
        ({ take, silence }, part) =>
          [
            `[${firstBeside(isFed) + part}:${streamIndex}]${NUMBERED}`,
            `atrim=end_sample=${take}`,
            // Of no samples a filter would make silence without end.
            ...(silence === 0 ? [] : [`apad=pad_len=${silence}`]),
          ].join(',') + pads[part],
      ),
      `${pads.join('')}concat=n=${pieces.length}:v=0:a=1,${audioFilter(source, track)}[${padOf(key, index)}]`,
    ];
  });
}

export function audioOptions(facts: ClipFacts, outcome: Outcome, { isFed, key }: AudioPlace): string[] {
  if (outcome.audio.length === 0) return ['-an'];
  const options: string[] = [];
  outcome.audio.forEach((track, index) => {
    const source = sourceOf(facts, track);
    if (source.pieces === undefined) {
      const input = inputOf(facts, source, isFed);
      // What keeps every sample lets every sample by.
      const filter = outcome.exact === null ? audioFilter(source, track) : NUMBERED;
      options.push(
        '-map',
        `${input}:${source.streamIndex}`,
        `-c:a:${index}`,
        track.codec,
        `-filter:a:${index}`,
        filter,
      );
    } else options.push('-map', `[${padOf(key, index)}]`, `-c:a:${index}`, track.codec);
    // Every track is heard: without it ffmpeg enables the first one alone, and makes all others its alternatives, of which a player plays one.
    if (outcome.container !== 'mkv') options.push(`-disposition:a:${index}`, 'default');
    const name = track.recording?.name ?? null;
    if (name !== null) options.push(`-metadata:s:a:${index}`, `title=${name}`);
    if (track.codec === 'aac') options.push(`-b:a:${index}`, `${AAC_KILOBITS * track.channels}k`);
  });
  return options;
}
