/**
 * How a clip is handed to ffmpeg and ffprobe: local files only, of the forms that a clip can have, under a name that
 * cannot be taken for anything else. A playlist that calls itself a movie opens nothing.
 */
import { mkdtemp, rm, symlink, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { extname, join, resolve } from 'node:path';
import { fsPath, hasRawBytes } from '../files/names.ts';
import type { AudioFacts, ClipFacts, PartFacts } from './facts.ts';
import { recordingFiles } from './recorded.ts';
import { type Rate, formatRatio } from './time/rate.ts';

/** Paths are relative to the roll, `/` between parts, without loss (see names.ts). */
export interface MoviePlace {
  readonly kind: 'movie';
  readonly file: string;
}
export interface SequencePlace {
  readonly kind: 'sequence';
  /** Relative to the roll, `` for the roll itself. */
  readonly folder: string;
  readonly prefix: string;
  readonly suffix: string;
  /** Digits of the zero-padded number; 0 when numbers are not padded. */
  readonly padding: number;
  readonly first: number;
  readonly count: number;
  readonly statedRate: Rate | null;
  /** Further frames of the clip lie before or behind: none but these are opened. */
  readonly isCut?: true;
  /** The sound file that was recorded with these frames. */
  readonly sound?: AudioFacts['beside'];
}
/** One recording in several movies, in order. */
export interface SpannedPlace {
  readonly kind: 'spanned';
  readonly parts: readonly { readonly file: string }[];
}
export type InputPlace = MoviePlace | SequencePlace | SpannedPlace;

export interface OpenedInput {
  /** Everything up to and including `-i <name>`, for ffmpeg and ffprobe alike. Further input options stand before it. */
  readonly args: readonly string[];
  /** For node:fs: the movie, or the first frame of a sequence. */
  readonly path: string | Buffer;
  /** Takes away the private links, if any were needed. */
  dispose(): Promise<void>;
}

/** None of these demuxers opens a second file: no playlists, no lists, no image patterns. */
const MOVIE_FORMATS = 'mov,mp4,m4a,3gp,3g2,mj2,mxf,mpegts,avi,matroska,webm';

/** ffmpeg's image demuxer copies names into 1024 bytes; everywhere else less is no loss. */
const LONGEST_NAME_BYTES = 900;
/** It counts frames in 32-bit integers. */
const HIGHEST_NUMBER = 0x7fff_ffff;

/** Name of one frame of a sequence, without its folder. */
export function frameName(
  place: Pick<SequencePlace, 'prefix' | 'suffix' | 'padding'>,
  number: number,
): string {
  return `${place.prefix}${String(number).padStart(place.padding, '0')}${place.suffix}`;
}

function needsLink(path: string): boolean {
  return hasRawBytes(path) || Buffer.byteLength(path) > LONGEST_NAME_BYTES;
}

/** A private folder with links in it; nothing stays behind when a link cannot be made. */
async function linkFolder(
  links: Iterable<readonly [name: string, target: string]>,
): Promise<{ folder: string; dispose: () => Promise<void> }> {
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-links-'));
  const dispose = (): Promise<void> => rm(folder, { recursive: true, force: true });
  try {
    for (const [name, target] of links) await symlink(fsPath(target), join(folder, name));
  } catch (error) {
    await dispose();
    throw error;
  }
  return { folder, dispose };
}

/** `:`, `,` and the like mean nothing behind the `file:` protocol; the whitelist keeps every other protocol out. */
function guarded(formats: string, options: readonly string[], name: string): string[] {
  return ['-protocol_whitelist', 'file,pipe', '-format_whitelist', formats, ...options, '-i', `file:${name}`];
}

async function openMovie(rollFolder: string, place: MoviePlace): Promise<OpenedInput> {
  const path = resolve(rollFolder, place.file);
  if (!needsLink(path)) return { args: guarded(MOVIE_FORMATS, [], path), path, dispose: async () => {} };
  const extension = extname(place.file);
  const link = `clip${/^\.[A-Za-z0-9]{1,8}$/.test(extension) ? extension : ''}`;
  const { folder, dispose } = await linkFolder([[link, path]]);
  return { args: guarded(MOVIE_FORMATS, [], join(folder, link)), path: fsPath(path), dispose };
}

async function openSequence(rollFolder: string, place: SequencePlace, rate: Rate): Promise<OpenedInput> {
  const last = place.first + place.count - 1;
  const folder = resolve(rollFolder, place.folder);
  const first = fsPath(join(folder, frameName(place, place.first)));
  const pattern = (base: string, prefix: string, suffix: string, padding: number): string => {
    const number = padding > 0 ? `%0${padding}d` : '%d';
    return `${`${base}/${prefix}`.replaceAll('%', '%%')}${number}${suffix.replaceAll('%', '%%')}`;
  };
  if (place.count === 1 && !needsLink(join(folder, frameName(place, place.first)))) {
    // One frame is opened by its very name: a pattern would take up whatever is numbered next.
    const one = ['-f', 'image2', '-pattern_type', 'none', '-framerate', formatRatio(rate)];
    return {
      args: guarded('image2', one, join(folder, frameName(place, place.first))),
      path: first,
      dispose: async () => {},
    };
  }
  const options = (start: number): string[] => [
    '-f',
    'image2',
    '-pattern_type',
    'sequence',
    '-framerate',
    formatRatio(rate),
    '-start_number',
    String(start),
  ];
  // A pattern goes on as long as there is a next number.
  const isBounded = place.isCut === undefined;
  if (isBounded && !needsLink(join(folder, frameName(place, last))) && last <= HIGHEST_NUMBER) {
    return {
      args: guarded(
        'image2',
        options(place.first),
        pattern(folder, place.prefix, place.suffix, place.padding),
      ),
      path: first,
      dispose: async () => {},
    };
  }
  const extension = /\.[A-Za-z0-9]{1,8}$/.exec(place.suffix)?.[0] ?? '';
  const frames = Array.from(
    { length: place.count },
    (_, index) =>
      [
        `frame${String(index).padStart(8, '0')}${extension}`,
        join(folder, frameName(place, place.first + index)),
      ] as const,
  );
  const { folder: links, dispose } = await linkFolder(frames);
  return { args: guarded('image2', options(0), pattern(links, 'frame', extension, 8)), path: first, dispose };
}

/**
 * How long each part lasts on the clock of the whole, in microseconds. Of a part whose audio begins first the reader counts from there:
 * where its picture begins is then that much later.
 */
function lengthsOf(parts: readonly PartFacts[], rate: Rate, tracks: ClipFacts['audio']): number[] {
  let before = 0;
  const starts = [...parts, null].map((part) => {
    const start = (before * rate.den * 1_000_000) / rate.num;
    before += part?.frames ?? 0;
    const earlier = (part?.audio ?? []).map(
      ({ startOffset }, track) => (-startOffset * 1_000_000) / (tracks[track]?.sampleRate ?? 1),
    );
    return Math.round(start - Math.max(0, ...earlier));
  });
  return parts.map((_, index) => (starts[index + 1] as number) - (starts[index] as number));
}

const microseconds = (length: number): string =>
  `${Math.floor(length / 1_000_000)}.${String(length % 1_000_000).padStart(6, '0')}`;

/** The parts are packets of one stream to one decoder. Their clocks are set to the count of their frames; what comes behind counts frames and samples itself. */
async function openSpanned(
  rollFolder: string,
  place: SpannedPlace,
  { parts = [], video, audio }: ClipFacts,
): Promise<OpenedInput> {
  if (parts.length !== place.parts.length)
    throw new RangeError('a spanned clip whose parts were not measured');
  const targets = place.parts.map(({ file }) => resolve(rollFolder, file));
  const names = targets.map((target, index) => {
    const extension = extname(target);
    return `part${String(index + 1).padStart(5, '0')}${/^\.[A-Za-z0-9]{1,8}$/.test(extension) ? extension : ''}`;
  });
  const { folder, dispose } = await linkFolder(names.map((name, index) => [name, targets[index] as string]));
  try {
    const list = join(folder, 'parts.ffconcat');
    const lines = lengthsOf(parts, video.rate, audio).map(
      (length, index) => `file ${names[index]}\nduration ${microseconds(length)}\n`,
    );
    await writeFile(list, `ffconcat version 1.0\n${lines.join('')}`);
    // Packets as they lie in the parts: the second reading, which reads these apart, must find the same ones.
    const options = ['-f', 'concat', '-safe', '1', '-auto_convert', '0'];
    return {
      args: guarded(`concat,${MOVIE_FORMATS}`, options, list),
      path: fsPath(targets[0] as string),
      dispose,
    };
  } catch (error) {
    await dispose();
    throw error;
  }
}

/** A measured clip, whole. Throws what openInput throws. */
export async function openClip(
  rollFolder: string,
  place: InputPlace,
  facts: ClipFacts,
): Promise<OpenedInput> {
  return place.kind === 'spanned'
    ? await openSpanned(rollFolder, place, facts)
    : await openInput(rollFolder, place, facts.video.rate);
}

/** A WAV file and nothing else. */
export async function openSoundFile(rollFolder: string, file: string): Promise<OpenedInput> {
  const path = resolve(rollFolder, file);
  if (!needsLink(path)) return { args: guarded('wav', [], path), path, dispose: async () => {} };
  const { folder, dispose } = await linkFolder([['sound.wav', path]]);
  return { args: guarded('wav', [], join(folder, 'sound.wav')), path: fsPath(path), dispose };
}

/** What the audio of a clip is read from. */
export interface AudioPlaces {
  readonly rollFolder: string;
  readonly place: InputPlace;
  readonly facts: ClipFacts;
  /** Of each sound roll that a track is taken from. */
  readonly soundRolls: readonly { readonly roll: string; readonly folder: string }[];
}

/**
 * Inputs that audio is read from besides the clip: the sound file beside its frames, or each part of a spanned clip whose audio does not run on; and
 * behind these, files of sound rolls. Throws what openClip throws.
 */
export async function openAudioBeside(places: AudioPlaces): Promise<OpenedInput[]> {
  const opened: OpenedInput[] = [];
  try {
    for (const open of [...besideOf(places), ...recordingsOf(places)]) opened.push(await open());
    return opened;
  } catch (error) {
    for (const input of opened) await input.dispose();
    throw error;
  }
}

type Opening = () => Promise<OpenedInput>;

function besideOf({ rollFolder, place, facts: { audio } }: AudioPlaces): Opening[] {
  if (place.kind === 'sequence' && place.sound !== undefined) {
    const { file } = place.sound;
    return [() => openSoundFile(rollFolder, file)];
  }
  return place.kind !== 'spanned' || audio.every(({ pieces }) => pieces === undefined)
    ? []
    : place.parts.map(
        ({ file }) =>
          () =>
            openMovie(rollFolder, { kind: 'movie', file }),
      );
}

function recordingsOf({ facts, soundRolls }: AudioPlaces): Opening[] {
  return recordingFiles(facts).map(({ roll, file }) => {
    const folder = soundRolls.find((one) => one.roll === roll)?.folder;
    if (folder === undefined) throw new RangeError(`a recording of ${roll}, whose folder is not known`);
    return () => openSoundFile(folder, file);
  });
}

/** All that the audio of a clip is read from, where its pictures come from elsewhere. Throws what openClip throws. */
export async function openAudio(places: AudioPlaces): Promise<OpenedInput[]> {
  const { rollFolder, place, facts } = places;
  if (besideOf(places).length > 0) return await openAudioBeside(places);
  const clip = await openClip(rollFolder, place, facts);
  try {
    return [clip, ...(await openAudioBeside(places))];
  } catch (error) {
    await clip.dispose();
    throw error;
  }
}

/** The part of a spanned clip that a frame lies in, as a movie, and which of its frames that is. */
export function partAt(
  place: SpannedPlace,
  parts: readonly PartFacts[],
  frame: number,
): { readonly place: MoviePlace; readonly part: PartFacts; readonly frame: number } {
  let first = 0;
  for (const [index, part] of parts.entries()) {
    const file = place.parts[index]?.file;
    if (file !== undefined && frame < first + part.frames)
      return { place: { kind: 'movie', file }, part, frame: frame - first };
    first += part.frames;
  }
  throw new RangeError(`frame ${frame} of a clip of ${first}`);
}

/** First frames of all parts but the first, counted in the whole clip. */
export function jointsOf({ parts = [] }: Pick<ClipFacts, 'parts'>): number[] {
  let first = 0;
  return parts.slice(0, -1).map(({ frames }) => (first += frames));
}

/**
 * Makes a clip ready to be read. A sequence needs a rate (`rate`, else the stated one); throws RangeError without.
 * Names that a command line cannot carry are reached through links in a private folder: call dispose() in any case.
 */
export async function openInput(
  rollFolder: string,
  place: MoviePlace | SequencePlace,
  rate: Rate | null = null,
): Promise<OpenedInput> {
  if (place.kind === 'movie') return await openMovie(rollFolder, place);
  const stated = rate ?? place.statedRate;
  if (stated === null) throw new RangeError('a sequence of stills is opened with a rate');
  return await openSequence(rollFolder, place, stated);
}
