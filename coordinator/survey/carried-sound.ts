/** What of a recording a clip carries: its mix, and each of its channels, from the sample that lies beside the clip. Pure. */
import { printable } from '../../files/names.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { AudioFacts, ClipFacts, RecordedTrack } from '../../media/facts.ts';

/** Of a measured drift so much is taken out that what is left moves nothing by more than this: a tenth of it is what measuring is unsure of (a few samples). */
const MOST_LEFT_SECONDS = 0.001;
/** Drifts are told in tenths of a millionth. */
const TENTHS = 10_000_000;
/** Of a name: what a track list shows. */
const MOST_CHARACTERS = 80;
/** What recordists call a mix, alone or its left and right channel (common practice, no source). */
const MIX = /^(?:([lr])[ _-]?)?mix(?:ed|down)?(?:[ _-]?([lr12]|left|right))?$/i;

export interface CarriedRequest {
  /** The sound roll. */
  readonly roll: string;
  readonly recording: Recording;
  readonly beside: ClipBeside;
  readonly clip: Pick<ClipFacts, 'video'>;
  /** Of a file of the roll, as it was verified. */
  checksumOf(file: string): string;
}

interface Channel {
  readonly name: string | null;
  readonly file: string;
  readonly inFile: number;
}

function channelsOf({ tracks, files, channels }: Recording): Channel[] {
  const each = channels / files.length;
  return tracks.map(({ channel, name, file, inFile }): Channel => {
    const place = Math.floor((channel - 1) / each);
    return { name, file: file ?? files[place] ?? '', inFile: inFile ?? channel - place * each };
  });
}

/** Which side of a mix; null: none of both, or not a mix. */
function sideOf(name: string | null): 'left' | 'right' | 'both' | null {
  const found = MIX.exec(name?.trim() ?? '');
  if (found === null) return null;
  const side = (found[1] ?? found[2] ?? '').toLowerCase();
  if (side === '') return 'both';
  return side.startsWith('l') || side === '1' ? 'left' : 'right';
}

/** One track of one or two channels where they lie in one file, else a track each; none: nobody says which it is. */
function mixOf(channels: readonly Channel[]): Channel[][] {
  const named = channels.filter(({ name }) => sideOf(name) !== null);
  const mix = named.length > 0 && named.length <= 2 ? named : channels.length <= 2 ? [...channels] : [];
  const sided = mix.toSorted(
    (one, other) => Number(sideOf(one.name) === 'right') - Number(sideOf(other.name) === 'right'),
  );
  const isOneFile = new Set(mix.map(({ file }) => file)).size === 1;
  return isOneFile ? [sided] : sided.map((channel) => [channel]);
}

/** `24A-3 Boom`: as the recorder says it, as far as it does. */
function nameOf({ scene, take }: Recording, channels: readonly Channel[]): string | null {
  const isMix = channels.length === 2 && channels.every(({ name }) => sideOf(name) !== null);
  const names = channels.flatMap(({ name }) => name ?? []);
  const track = isMix ? 'Mix' : names.length === 0 ? null : names.join(' + ');
  const slate = [scene, take].flatMap((part) => part ?? []).join('-');
  const name = [slate, track].filter((part) => part !== null && part !== '').join(' ');
  return name === '' ? null : [...printable(name.toWellFormed())].slice(0, MOST_CHARACTERS).join('');
}

/** Where the recording lies, and what of the measured drift is taken out. */
interface Lying {
  readonly start: number;
  /** Tenths of a millionth. */
  readonly drift: number;
}

function lyingOf({ startSamples, overlapSamples, heard }: ClipBeside, sampleRate: number): Lying {
  if (heard === null) return { start: startSamples, drift: 0 };
  const moved = (Math.abs(heard.driftMillionths) / 1e6) * overlapSamples;
  return {
    start: heard.startSamples,
    drift: moved > MOST_LEFT_SECONDS * sampleRate ? Math.round(heard.driftMillionths * 10) : 0,
  };
}

/** Empty: by what both heard, it does not lie beside a frame. */
export function carriedOf(request: CarriedRequest): AudioFacts[] {
  const { roll, recording, beside, clip, checksumOf } = request;
  const { sampleRate, bits, coding = 'integer', scene, take, sinceRate } = recording;
  const { start, drift } = lyingOf(beside, sampleRate);
  const { frames, rate } = clip.video;
  const from = Math.max(0, -start);
  // One sample of the clip's clock is so many of the recorder's: (TENTHS + drift) / TENTHS.
  const startOffset = Math.round((Math.max(0, start) * TENTHS) / (TENTHS + drift));
  const inPicture =
    (BigInt(frames) * BigInt(rate.den) * BigInt(sampleRate) + BigInt(rate.num) - 1n) / BigInt(rate.num);
  const left = recording.samples - from;
  const there = left <= 0 ? 0 : Number((BigInt(left - 1) * BigInt(TENTHS)) / BigInt(TENTHS + drift)) + 1;
  const samples = Math.min(there, Number(inPicture) - startOffset);
  if (samples <= 0) return [];
  const trackOf =
    (form: RecordedTrack['form']) =>
    (channels: readonly Channel[]): AudioFacts => {
      const { file } = channels[0] as Channel;
      return {
        streamIndex: 0,
        recording: {
          ...{ roll, file, checksum: checksumOf(file), form, scene, take },
          channels: channels.map(({ inFile }) => inFile),
          name: nameOf(recording, channels),
          laidBy: beside.heard === null ? 'timecode' : 'content',
          ...{ startSamples: start, driftMillionths: drift / 10, from, sinceRate },
        },
        codec: coding === 'float' ? 'pcm_f32le' : `pcm_s${bits}le`,
        sampleFormat: coding === 'float' ? 'flt' : bits === 16 ? 's16' : 's32',
        bitDepth: bits,
        sampleRate,
        channels: channels.length,
        layout: channels.length === 1 ? 'mono' : 'stereo',
        samples,
        startOffset,
      };
    };
  const channels = channelsOf(recording);
  return [
    ...mixOf(channels)
      .filter((mix) => mix.length > 0)
      .map(trackOf('mix')),
    ...channels.map((channel) => trackOf('track')([channel])),
  ];
}
