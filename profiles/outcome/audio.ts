/** Audio tracks of a deliverable: which, how many samples, and how far the source may differ from its picture. */
import { printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { formatRatio, type Rate } from '../../media/time/rate.ts';
import { keptAudio, audioTraits } from '../codecs.ts';
import { AAC_KILOBITS } from '../limits.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';

/** ffmpeg's layouts by number of channels: what a track without a layout is taken for. */
const usualLayouts: Readonly<Record<number, string>> = {
  1: 'mono',
  2: 'stereo',
  3: '2.1',
  4: '4.0',
  5: '5.0',
  6: '5.1',
  7: '6.1',
  8: '7.1',
  16: 'hexadecagonal',
};
/** Layouts that ffprobe reads from AAC as they were encoded (measured); others are carried in a way that it does not name. */
const namedInAac: readonly string[] = [
  'mono',
  'stereo',
  '2.1',
  '3.0',
  '3.0(back)',
  '4.0',
  'quad',
  'quad(side)',
  '5.0',
  '5.1',
  '7.1',
];

/** ISO/IEC 14496-3, 4.5.3.1: at most 6144 bits of each channel in a block of 1024 samples. */
const AAC_BITS_A_SAMPLE = 6144 / 1024;
/** What is asked of the encoder, or as much as the form holds at this rate. */
const aacBits = (channels: number, sampleRate: number): number =>
  channels * Math.min(1000 * AAC_KILOBITS, AAC_BITS_A_SAMPLE * sampleRate);

/** The layout as it is read back from the file; null: the file does not say. */
function layoutOf(track: AudioFacts, profile: AudioProfile, monoTracks: number): string | null {
  // Matroska says how many channels there are, and no more.
  if (profile.container === 'mkv') return null;
  const layout = track.layout ?? usualLayouts[track.channels] ?? null;
  if (profile.audio.format === 'aac') return layout !== null && namedInAac.includes(layout) ? layout : null;
  // QuickTime has no word for "mono" beside other mono tracks; ffmpeg leaves their layout out.
  return track.channels === 1 && monoTracks > 1 ? null : layout;
}

/** Whole samples that end within the picture: never longer than it. */
export function samplesWithin(frames: number, rate: Rate, sampleRate: number): number {
  return Number((BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate)) / BigInt(rate.num));
}

/** Rounded for people; decided by `beyond`. */
const inFrames = (samples: number, track: AudioFacts, rate: Rate): string =>
  `${((samples * rate.num) / (track.sampleRate * rate.den)).toFixed(2)} frames`;

/** True when so many samples last longer than so many frames. */
const beyond = (samples: number, sampleRate: number, frames: number, rate: Rate): boolean =>
  BigInt(samples) * BigInt(rate.num) > BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate);

/** By how many samples audio and picture differ at start and end; positive: the audio starts later, or ends later. */
function differences(track: AudioFacts, frames: number, rate: Rate): { start: number; end: number } {
  return {
    start: track.startOffset,
    end: track.startOffset + track.samples - samplesWithin(frames, rate, track.sampleRate),
  };
}

/** Audio that is kept sample for sample has no silence put before it, and Matroska's clock is too coarse to say where within a frame it starts. */
function keptOf({ startOffset }: AudioFacts, number: number): { held: Finding[]; notes: Finding[] } {
  return {
    held:
      startOffset === 0
        ? []
        : [
            finding(
              'not-representable',
              `track ${number} starts ${Math.abs(startOffset)} samples ${startOffset > 0 ? 'after' : 'before'} the picture`,
              'audio that starts with the picture',
            ),
          ],
    notes: [],
  };
}

/** Half a frame: what begins nearer to the picture's beginning cannot be seen. Compared without dividing. */
const isSeen = (samples: number, sampleRate: number, rate: Rate): boolean =>
  beyond(2 * Math.abs(samples), sampleRate, 1, rate);

function fitOf(
  track: AudioFacts,
  number: number,
  facts: ClipFacts,
  { tolerance_frames: tolerance, offset }: Pick<Profile['audio'], 'tolerance_frames' | 'offset'>,
): { held: Finding[]; notes: Finding[] } {
  if (tolerance === 'keep') return keptOf(track, number);
  const { frames, rate } = facts.video;
  const { start, end } = differences(track, frames, rate);
  if (offset === 'hold' && isSeen(start, track.sampleRate, rate))
    return {
      held: [
        finding(
          'audio-offset',
          `track ${number} starts ${Math.abs(start)} samples (${((Math.abs(start) * 1000) / track.sampleRate).toFixed(1)} ms) ${start > 0 ? 'after' : 'before'} the picture`,
          'audio and picture start together',
        ),
      ],
      notes: [],
    };
  const said = [
    ...(start === 0
      ? []
      : [`starts ${inFrames(Math.abs(start), track, rate)} ${start > 0 ? 'after' : 'before'} the picture`]),
    ...(end === 0
      ? []
      : [`ends ${inFrames(Math.abs(end), track, rate)} ${end > 0 ? 'after' : 'before'} the picture`]),
  ].join(' and ');
  if (beyond(Math.abs(end), track.sampleRate, tolerance, rate)) {
    return {
      held: [
        finding(
          'audio-length',
          `track ${number} ${said}`,
          `at most ${tolerance} ${tolerance === 1 ? 'frame' : 'frames'}`,
        ),
      ],
      notes: [],
    };
  }
  // One sample is rounding: picture and audio have no common measure at the 1000/1001 rates.
  const rounding = Math.abs(start) <= 1 && Math.abs(end) <= 1;
  return {
    held: [],
    notes: rounding
      ? []
      : [finding('audio-fitted', `track ${number} ${said}`, 'audio as long as the picture')],
  };
}

/** What of a profile decides about audio. */
export type AudioProfile = Pick<Profile, 'audio' | 'container'>;

export function audioOf(
  facts: ClipFacts,
  profile: AudioProfile,
  offSpeed: Outcome['cadence']['offSpeed'],
): { tracks: Outcome['audio']; notes: Finding[] } | { findings: Finding[] } {
  const { length: tracks } = sourcesOf(facts, profile.audio);
  if (offSpeed === null || tracks === 0) return inRealTime(facts, profile);
  const found = `${tracks} audio ${tracks === 1 ? 'track' : 'tracks'}`;
  if (offSpeed.audio === 'leave-out')
    return {
      tracks: [],
      notes: [
        finding('off-speed-audio-left-out', found, `${formatRatio(offSpeed.slower)} times slower: none`),
      ],
    };
  const kept = inRealTime(facts, profile);
  return 'findings' in kept
    ? kept
    : {
        ...kept,
        notes: [
          ...kept.notes,
          finding(
            'off-speed-audio-real-time',
            `${found}, as heard`,
            `a picture that is ${formatRatio(offSpeed.slower)} times as long`,
          ),
        ],
      };
}

interface Source {
  readonly track: AudioFacts;
  /** Index among those of the facts. */
  readonly sourceTrack: number;
}

/** Tracks of the clip, and those of the recording beside it, in the order in which they are carried. */
function sourcesOf({ audio }: ClipFacts, asked: Profile['audio']): Source[] {
  const all = audio.map((track, sourceTrack): Source => ({ track, sourceTrack }));
  const own = all.filter(({ track }) => track.recording === undefined);
  const clips = asked.tracks === 'none' ? [] : asked.tracks === 'first' ? own.slice(0, 1) : own;
  const { production_sound: production } = asked;
  if (production === undefined) return clips;
  const recorded = recordedOf(all, production.carry);
  if (recorded.length === 0) return clips;
  return production.clip_tracks === 'behind' ? [...recorded, ...clips] : recorded;
}

/** Where nothing is named as the mix, all tracks are carried: which of them would do, nobody says. */
function recordedOf(all: readonly Source[], carry: 'mix' | 'tracks'): Source[] {
  const ofForm = (form: 'mix' | 'track'): Source[] =>
    all.filter(({ track }) => track.recording?.form === form);
  const mix = carry === 'mix' ? ofForm('mix') : [];
  return mix.length > 0 ? mix : ofForm('track');
}

/** What of a track that is as long as the picture the recording covers; to the nearest sample within. */
function coveredBy(
  { startOffset, samples, sampleRate }: AudioFacts,
  track: { readonly sampleRate: number; readonly samples: number },
): { from: number; to: number } {
  const at = (sample: number): number =>
    Math.min(
      track.samples,
      Math.max(0, Number((BigInt(sample) * BigInt(track.sampleRate)) / BigInt(sampleRate))),
    );
  return { from: at(startOffset), to: at(startOffset + samples) };
}

const secondsText = (samples: number, sampleRate: number): string => `${(samples / sampleRate).toFixed(2)} s`;

/** What an editor should know of the production sound, once a clip. */
function productionNotes(
  { video: { frames, rate } }: ClipFacts,
  { production_sound: production }: Profile['audio'],
  sources: readonly Source[],
): Finding[] {
  if (production === undefined) return [];
  const first = sources.find(({ track }) => track.recording !== undefined)?.track;
  if (first?.recording === undefined)
    return [finding('production-sound-none', 'no recording of the day ran with it', 'production sound')];
  const { roll, file, form } = first.recording;
  const of = `${printable(roll)} ${printable(file)}`;
  const { sampleRate, samples } = first;
  const picture = samplesWithin(frames, rate, sampleRate);
  // What is missing for less than a frame nobody hears.
  const isShort = beyond(picture - samples, sampleRate, 1, rate);
  return [
    ...(production.carry === 'mix' && form === 'track'
      ? [finding('production-mix-unnamed', `${of} names no mix: all its tracks`, 'the mix')]
      : []),
    ...(isShort
      ? [
          finding(
            'production-sound-short',
            `${of} covers ${secondsText(samples, sampleRate)}; ${secondsText(picture - samples, sampleRate)} are silent`,
            `${secondsText(picture, sampleRate)} of picture`,
          ),
        ]
      : []),
  ];
}

/** As long as the picture was when it was recorded. */
function inRealTime(
  facts: ClipFacts,
  profile: AudioProfile,
): { tracks: Outcome['audio']; notes: Finding[] } | { findings: Finding[] } {
  const { audio } = profile;
  const sources = sourcesOf(facts, audio);
  const monoTracks = sources.filter(({ track }) => track.channels === 1).length;
  const held: Finding[] = [];
  const notes: Finding[] = [...productionNotes(facts, audio, sources)];
  const tracks = sources.flatMap(({ track, sourceTrack }, index) => {
    const format = audioTraits(audio.format, track.codec);
    if (format === null) {
      held.push(
        finding(
          'not-representable',
          `track ${index + 1}: ${track.codec}`,
          `uncompressed audio: ${keptAudio.join(', ')}`,
        ),
      );
      return [];
    }
    const sampleRate = audio.rate === 'source' ? track.sampleRate : audio.rate;
    if (track.channels > format.channels)
      held.push(
        finding(
          'audio-unsupported',
          `track ${index + 1}: ${track.channels} channels`,
          `at most ${format.channels} with ${audio.format}`,
        ),
      );
    if (format.rates !== null && !format.rates.includes(sampleRate))
      held.push(
        finding(
          'audio-unsupported',
          `track ${index + 1}: ${sampleRate} samples a second`,
          `one of ${format.rates.join(', ')} with ${audio.format}`,
        ),
      );
    if (track.recording === undefined) {
      const fit = fitOf(track, index + 1, facts, audio);
      held.push(...fit.held);
      notes.push(...fit.notes);
    }
    const samples =
      audio.tolerance_frames === 'keep'
        ? track.samples
        : samplesWithin(facts.video.frames, facts.video.rate, sampleRate);
    return {
      sourceTrack,
      codec: format.encoder,
      sampleRate,
      channels: track.channels,
      layout: layoutOf(track, profile, monoTracks),
      samples,
      tolerance: format.block,
      bitsPerSecond: audio.format === 'aac' ? aacBits(track.channels, sampleRate) : null,
      beside: track.beside ?? null,
      recording: track.recording ?? null,
      covered: track.recording === undefined ? null : coveredBy(track, { sampleRate, samples }),
    };
  });
  return held.length > 0 ? { findings: held } : { tracks, notes };
}
