/**
 * The takes of a sound roll, one file or one a track, and which clips of the day ran while each was recorded: by its time since midnight and their timecode. Nothing is
 * guessed: a file without a time has no clip, and that is said. Pure.
 */
import { printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { TakeFacts, WaveHeader } from '../../media/formats/wave/header.ts';
import { samplesFromLabel } from '../../media/time/label-samples.ts';
import type { SoundFile } from './sound.ts';

/** A clip of another roll of the day. */
export interface ClipOfDay {
  readonly roll: string;
  readonly clip: string;
  readonly facts: ClipFacts | null;
}

interface ReadFile {
  readonly path: string;
  readonly header: WaveHeader;
}

const saidOf = ({ take }: WaveHeader): TakeFacts | null => (typeof take === 'string' ? null : take);

/** Files that say that they are one take, and were recorded at once. */
function isWith(one: ReadFile, other: ReadFile): boolean {
  const [a, b] = [one.header, other.header];
  const [mine, others] = [saidOf(a)?.family ?? null, saidOf(b)?.family ?? null];
  return (
    mine !== null &&
    others !== null &&
    mine.uid === others.uid &&
    a.sampleRate === b.sampleRate &&
    a.bits === b.bits &&
    a.samples === b.samples &&
    a.timeReference === b.timeReference
  );
}

function recordingOf(files: readonly ReadFile[]): Recording {
  const [first] = files as [ReadFile];
  const { header } = first;
  const said = saidOf(header);
  const tracks: Recording['tracks'] = [];
  for (const file of files)
    for (let channel = 1; channel <= file.header.channels; channel += 1)
      tracks.push({
        channel: tracks.length + 1,
        name: saidOf(file.header)?.tracks.find((track) => track.channel === channel)?.name ?? null,
        file: file.path,
        inFile: channel,
      });
  return {
    files: files.map(({ path }) => path),
    sampleRate: header.sampleRate,
    bits: header.bits,
    coding: header.coding,
    channels: tracks.length,
    samples: header.samples,
    // A recorder whose clock was never set counts from 0.
    since: header.timeReference === null || header.timeReference === 0n ? null : String(header.timeReference),
    sinceRate: said?.timestampRate ?? header.sampleRate,
    scene: said?.scene ?? null,
    take: said?.take ?? null,
    tape: said?.tape ?? null,
    note: said?.note ?? null,
    circled: said?.circled ?? false,
    wild: said?.wild ?? false,
    tracks,
    clips: [],
  };
}

export interface FoundRecordings {
  readonly recordings: readonly Recording[];
  /** The caller adds the roll. */
  readonly findings: readonly Finding[];
}

/** `sounds`: all sound files of a roll that has no clip, in order. */
export function recordingsOf(sounds: readonly SoundFile[]): FoundRecordings {
  const findings: Finding[] = [];
  const takes: ReadFile[][] = [];
  for (const { path, header } of sounds) {
    if (typeof header === 'string') {
      findings.push(
        finding('sound-unreadable', header, 'a WAV file of whole numbers of 16, 24 or 32 bits', {
          file: path,
        }),
      );
      continue;
    }
    if (typeof header.take === 'string')
      findings.push(
        finding('sound-words-unread', printable(header.take), 'words of the recorder that can be read', {
          file: path,
        }),
      );
    const file = { path, header };
    const own = takes.find((files) => isWith(files[0] as ReadFile, file));
    if (own === undefined) takes.push([file]);
    else own.push(file);
  }
  const indexOf = ({ header }: ReadFile): number => saidOf(header)?.family?.index ?? 1;
  return {
    recordings: takes.map((files) => recordingOf(files.toSorted((a, b) => indexOf(a) - indexOf(b)))),
    findings,
  };
}

/** Until somebody listens. */
const NOT_COMPARED = 'not compared';

/** How one clip lies against a recording; null: they did not run together, or one of them says no time. */
function beside(recording: Recording, { roll, clip, facts }: ClipOfDay): ClipBeside | null {
  const { since, sinceRate, sampleRate, samples } = recording;
  if (since === null || facts === null || facts.timecode === null) return null;
  const { timecode, video } = facts;
  // The time may be counted in other samples than those of the file.
  const inOwn = (BigInt(since) * BigInt(sampleRate) + BigInt(sinceRate) / 2n) / BigInt(sinceRate);
  const startSamples = samplesFromLabel(inOwn, sampleRate, timecode, video.rate);
  const clipSamples = Math.round((video.frames * video.rate.den * sampleRate) / video.rate.num);
  const overlapSamples = Math.min(startSamples + samples, clipSamples) - Math.max(startSamples, 0);
  return overlapSamples > 0
    ? { roll, clip, startSamples, overlapSamples, heard: null, whyNotHeard: NOT_COMPARED }
    : null;
}

/** Each with the clips that it ran with. */
export const matchRecordings = (recordings: readonly Recording[], clips: readonly ClipOfDay[]): Recording[] =>
  recordings.map((recording) => ({
    ...recording,
    clips: clips.flatMap((clip) => beside(recording, clip) ?? []),
  }));

const count = (number: number, one: string): string => `${number} ${number === 1 ? one : `${one}s`}`;

const place = (samples: number, sampleRate: number): string =>
  samples === 0
    ? 'with the first frame'
    : `${Math.abs(samples)} samples (${((Math.abs(samples) * 1000) / sampleRate).toFixed(1)} ms) ${samples > 0 ? 'after' : 'before'} the first frame`;

/** What both heard against what their times say: half a frame apart, at the start or over the length, and it is said. */
function heardFindings(recording: Recording, clips: readonly ClipOfDay[]): Finding[] {
  const { sampleRate, files } = recording;
  const subject = { file: files[0] as string };
  return recording.clips.flatMap(
    ({ roll, clip, startSamples, overlapSamples, heard, apart: places }): Finding[] => {
      if (places !== undefined)
        return [
          finding(
            'sound-heard-apart',
            `beside ${printable(roll)} ${printable(clip)} it begins ${places.map((one) => `${place(one.startSamples, sampleRate)} by what was heard at ${one.seconds.toFixed(1)} s`).join(', ')}`,
            'one start, or one clock that runs from it',
            subject,
          ),
        ];
      const rate = clips.find((one) => one.roll === roll && one.clip === clip)?.facts?.video.rate;
      if (heard === null || rate === undefined) return [];
      const half = (sampleRate * rate.den) / rate.num / 2;
      const apart = heard.startSamples - startSamples;
      const drift = (heard.driftMillionths / 1e6) * overlapSamples;
      const beside = `beside ${printable(roll)} ${printable(clip)}`;
      return [
        ...(Math.abs(apart) > half
          ? [
              finding(
                'sound-time-differs',
                `${beside}: by time and timecode it begins ${place(startSamples, sampleRate)}, by what both heard ${place(heard.startSamples, sampleRate)}; ${(Math.abs(apart) / half / 2).toFixed(1)} frames apart`,
                'within half a frame',
                subject,
              ),
            ]
          : []),
        ...(Math.abs(drift) > half
          ? [
              finding(
                'sound-drifts',
                `${beside}: ${(Math.abs(heard.driftMillionths) / 10_000).toFixed(4)} % ${heard.driftMillionths > 0 ? 'more' : 'fewer'} samples than the audio of the clip, ${((Math.abs(drift) * 1000) / sampleRate).toFixed(0)} ms over what they have together`,
                'within half a frame over what they have together',
                subject,
              ),
            ]
          : []),
      ];
    },
  );
}

/** `unread`: rolls of the day of which no clips are known. The caller adds the roll. */
export function matchFindings(
  recordings: readonly Recording[],
  clips: readonly ClipOfDay[],
  unread: readonly string[],
): Finding[] {
  const alone = recordings.filter((one) => one.clips.length === 0);
  const heard = new Set(recordings.flatMap((one) => one.clips.map(({ roll, clip }) => `${roll}/${clip}`)));
  const silent = clips.filter(({ roll, clip }) => !heard.has(`${roll}/${clip}`));
  const named = (names: readonly string[]): string =>
    `${names.slice(0, 5).map(printable).join(', ')}${names.length > 5 ? ` and ${names.length - 5} more` : ''}`;
  const pairs = recordings.flatMap((one) => one.clips);
  const compared = pairs.filter((one) => one.heard !== null).length;
  const heardIn =
    pairs.length === 0
      ? ''
      : compared === pairs.length
        ? ', and by what both heard'
        : `; ${compared} of ${count(pairs.length, 'pair')} by what both heard as well`;
  const unknown = unread.length === 0 ? '' : `; nothing is known of the clips of ${named(unread)}`;
  return [
    finding(
      'sound-roll-matched',
      `${recordings.length - alone.length} of ${count(recordings.length, 'recording')} ran with clips of the day, by time and timecode${heardIn}${silent.length === 0 ? '' : `; ${count(silent.length, 'clip')} of ${clips.length} without one: ${named(silent.map(({ roll, clip }) => `${roll} ${clip}`))}`}${unknown}`,
      'recordings beside the clips of the day',
      {},
    ),
    ...recordings.flatMap((one) => heardFindings(one, clips)),
    ...alone.map((one) =>
      finding(
        'sound-alone',
        one.since === null
          ? 'no time since midnight, or one of 0'
          : one.wild
            ? 'recorded without picture, as the recorder says'
            : 'no clip of the day ran at its time',
        'a clip of the day',
        { file: one.files[0] as string },
      ),
    ),
  ];
}
