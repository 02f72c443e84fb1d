/**
 * Which sound files of a roll were recorded with which frames, and where they lie against them. By name, else by timecode and length together; what fits nothing,
 * or more than one thing, is said and never guessed. Pure.
 */
import { collisionKey } from '../../files/safe-names.ts';
import { printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import type { WaveHeader } from '../../media/formats/wave/header.ts';
import { samplesFromLabel } from '../../media/time/label-samples.ts';

type SequencePlace = Extract<Clip['place'], { kind: 'sequence' }>;
type Rule = NonNullable<AudioFacts['beside']>['matchedBy'];

/** A sound file of a roll. */
export interface SoundFile {
  /** Relative to the roll, / between parts. */
  readonly path: string;
  /** A text: why it is not read. */
  readonly header: WaveHeader | string;
}

/** A measured clip of the roll, whatever it is. */
export interface MeasuredClip {
  readonly clip: Clip;
  readonly facts: ClipFacts | null;
}

export interface MatchedSound {
  readonly clip: string;
  readonly place: NonNullable<SequencePlace['sound']>;
  readonly track: AudioFacts;
}

export interface SoundMatches {
  readonly matched: readonly MatchedSound[];
  /** With `clip` or `file`; the caller adds the roll. */
  readonly findings: readonly Finding[];
}

const SOUND_FILE = /\.(?:wav|bwf|rf64|aif|aiff|flac)$/i;
export const isSoundFile = (path: string): boolean => SOUND_FILE.test(path);

/** By how much a file found by its time may begin and end before or behind the picture. Common practice, no source. */
const MOST_APART_SECONDS = 1;

const folderOf = (path: string): string => path.slice(0, Math.max(0, path.lastIndexOf('/')));
const baseName = (path: string): string => path.slice(path.lastIndexOf('/') + 1);
const stem = (path: string): string => baseName(path).replace(/(?<=.)\.[^.]*$/s, '');
const same = (one: string, other: string): boolean => collisionKey(one) === collisionKey(other);

/** The name of the clip; that of the folder of its frames, in it or beside it; what stands before the numbers, in it. */
function hasNameOf(path: string, { name, place }: Clip): boolean {
  if (same(stem(path), name)) return true;
  if (place.kind !== 'sequence') return false;
  const { folder, prefix } = place;
  const inside = folderOf(path) === folder;
  return (
    (inside && same(stem(path), prefix.replace(/[\s._-]+$/, ''))) ||
    ((inside || folderOf(path) === folderOf(folder)) && same(stem(path), baseName(folder)))
  );
}

/** Samples from the first frame to the first sample, by timecode and `bext`; null: one of them does not say when it began. */
function startOf({ timeReference, sampleRate }: WaveHeader, { timecode, video }: ClipFacts): number | null {
  return timeReference === null || timecode === null
    ? null
    : samplesFromLabel(timeReference, sampleRate, timecode, video.rate);
}

function pictureSamples({ video }: ClipFacts, sampleRate: number): number {
  return Math.round((video.frames * video.rate.den * sampleRate) / video.rate.num);
}

function fitsInTime(header: WaveHeader, facts: ClipFacts): boolean {
  const start = startOf(header, facts);
  const most = MOST_APART_SECONDS * header.sampleRate;
  return (
    start !== null &&
    Math.abs(start) <= most &&
    Math.abs(start + header.samples - pictureSamples(facts, header.sampleRate)) <= most
  );
}

/** dwChannelMask of WAVEFORMATEXTENSIBLE, by ffprobe's names. */
const layouts: ReadonlyMap<number, string> = new Map([
  [0x4, 'mono'],
  [0x3, 'stereo'],
  [0xb, '2.1'],
  [0x7, '3.0'],
  [0x33, 'quad'],
  [0x603, 'quad(side)'],
  [0x37, '5.0'],
  [0x607, '5.0(side)'],
  [0x3f, '5.1'],
  [0x60f, '5.1(side)'],
  [0x63f, '7.1'],
]);

function trackOf(
  beside: NonNullable<AudioFacts['beside']>,
  header: WaveHeader,
  startOffset: number,
): AudioFacts {
  const { bits, sampleRate, channels, channelMask, samples } = header;
  return {
    streamIndex: 0,
    beside,
    codec: `pcm_s${bits}le`,
    sampleFormat: bits === 16 ? 's16' : 's32',
    bitDepth: bits,
    sampleRate,
    channels,
    layout: channelMask === null ? null : (layouts.get(channelMask) ?? null),
    samples,
    startOffset,
  };
}

const rules: Readonly<Record<Rule, string>> = {
  name: 'by its name',
  timecode: 'by its time and length',
};

/** Where the file lies, and in which words. null: its own time says that it was recorded at another one. */
function placed(
  header: WaveHeader,
  facts: ClipFacts,
): { readonly start: number; readonly text: string } | null {
  const start = startOf(header, facts);
  const { sampleRate, samples, timeReference } = header;
  if (start === null)
    return {
      start: 0,
      text: `taken to begin with the first frame, since ${timeReference === null ? 'the file does not say' : 'the frames do not say'} when it was recorded`,
    };
  if (start < pictureSamples(facts, sampleRate) && start + samples > 0)
    return {
      start,
      text:
        start === 0
          ? 'begins with the first frame, to the sample'
          : `begins ${Math.abs(start)} samples (${((Math.abs(start) * 1000) / sampleRate).toFixed(1)} ms) ${start > 0 ? 'after' : 'before'} the first frame`,
    };
  return timeReference === 0n
    ? { start: 0, text: 'taken to begin with the first frame, since its time is 0, as where none is set' }
    : null;
}

const formText = ({ channels, bits, sampleRate, samples }: WaveHeader): string =>
  `${channels} ${channels === 1 ? 'channel' : 'channels'} of ${bits} bits at ${sampleRate} Hz, ${samples} samples`;

function judge(
  clip: Clip,
  facts: ClipFacts | null,
  file: SoundFile,
  matchedBy: Rule,
): { readonly matched: MatchedSound | null; readonly finding: Finding | null } {
  const { header, path } = file;
  const subject = { clip: clip.id, file: path };
  if (typeof header === 'string')
    return {
      matched: null,
      finding: finding(
        'sound-unreadable',
        header,
        'a WAV file of whole numbers of 16, 24 or 32 bits',
        subject,
      ),
    };
  if (header.coding === 'float')
    return {
      matched: null,
      finding: finding(
        'sound-unreadable',
        'samples of format 3, floats of 32 bits',
        'a WAV file of whole numbers of 16, 24 or 32 bits',
        subject,
      ),
    };
  // What keeps the clip from being measured is said of it.
  if (facts === null) return { matched: null, finding: null };
  if (header.channelMask !== null && !layouts.has(header.channelMask))
    return {
      matched: null,
      finding: finding(
        'sound-unreadable',
        `channels for loudspeakers 0x${header.channelMask.toString(16)}`,
        `a layout of ${[...layouts.values()].join(', ')}`,
        subject,
      ),
    };
  const where = placed(header, facts);
  if (where === null)
    return {
      matched: null,
      finding: finding(
        'sound-elsewhere',
        `${header.timeReference} samples since midnight, and ${header.samples} samples from there`,
        'the time of the frames that it has the name of',
        subject,
      ),
    };
  const beside = { file: path, matchedBy };
  return {
    matched: { clip: clip.id, place: beside, track: trackOf(beside, header, where.start) },
    finding: finding(
      'sound-beside',
      `${printable(path)}, ${rules[matchedBy]}: ${formText(header)}; ${where.text}`,
      'the sound of these frames',
      subject,
    ),
  };
}

function unmatched({ path, header }: SoundFile): Finding {
  return finding(
    'sound-unmatched',
    typeof header === 'string'
      ? `not read: ${header}`
      : `${formText(header)}; ${header.timeReference === null ? 'without a time' : `${header.timeReference} samples since midnight`}`,
    'the name of frames, or their time and length',
    { file: path },
  );
}

/** `sounds`: the sound files of the roll that were not ignored, in order. Only clips of frames that have no audio of their own get any. */
export function matchSounds(sounds: readonly SoundFile[], clips: readonly MeasuredClip[]): SoundMatches {
  const frames = clips.filter(
    ({ clip, facts }) => clip.place.kind === 'sequence' && (facts?.audio.length ?? 0) === 0,
  );
  const others = clips.filter((one) => !frames.includes(one));
  if (frames.length === 0) return { matched: [], findings: [] };
  const pairs: { readonly file: SoundFile; readonly of: MeasuredClip; readonly rule: Rule }[] = [];
  const named = new Set<SoundFile>();
  for (const file of sounds)
    for (const of of frames)
      if (hasNameOf(file.path, of.clip)) {
        pairs.push({ file, of, rule: 'name' });
        named.add(file);
      }
  const withName = new Set(pairs.map(({ of }) => of));
  const left = sounds.filter(
    (file) => !named.has(file) && !others.some(({ clip }) => same(stem(file.path), clip.name)),
  );
  for (const file of left)
    for (const of of frames)
      if (
        !withName.has(of) &&
        of.facts !== null &&
        typeof file.header !== 'string' &&
        fitsInTime(file.header, of.facts)
      )
        pairs.push({ file, of, rule: 'timecode' });
  const matched: MatchedSound[] = [];
  const findings: Finding[] = [];
  for (const of of frames) {
    const own = pairs.filter((pair) => pair.of === of);
    const shared = own.filter(({ file }) => pairs.some((pair) => pair.file === file && pair.of !== of));
    const [only] = own;
    if (own.length > 1 || shared.length > 0) {
      const files = own.map(({ file }) => printable(file.path)).join(', ');
      const clipsOfIt = pairs
        .filter((pair) => pair.of !== of && own.some(({ file }) => file === pair.file))
        .map((pair) => printable(pair.of.clip.name));
      findings.push(
        finding(
          'sound-ambiguous',
          `${files}${clipsOfIt.length === 0 ? '' : `, which fits ${clipsOfIt.join(', ')} as well`}, ${rules[(only as (typeof own)[number]).rule]}`,
          'one sound file for these frames, and no other frames for it',
          { clip: of.clip.id, file: (only as (typeof own)[number]).file.path },
        ),
      );
    } else if (only !== undefined) {
      const judged = judge(of.clip, of.facts, only.file, only.rule);
      if (judged.matched !== null) matched.push(judged.matched);
      if (judged.finding !== null) findings.push(judged.finding);
    }
  }
  const used = new Set(pairs.map(({ file }) => file));
  // Of frames that could not be measured nobody knows the time.
  if (frames.some(({ facts }) => facts === null)) return { matched, findings };
  for (const file of left) if (!used.has(file)) findings.push(unmatched(file));
  return { matched, findings };
}
