/**
 * What every field of a deliverable must be: what the outcome says, what follows from the file's own sample tables, or one of the values that
 * encoders write, which stand here. A field without a line here does not compile.
 */
import { primaries, transfers, matrices } from '../../media/colour/h273.ts';
import { formatRatio, type Ratio } from '../../media/time/rate.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Box } from './boxes.ts';
import type { Fields } from './fields.ts';
import type { Role } from './known.ts';
import type { FieldOf, LayoutName } from './layouts.ts';
import { below, type Movie, type MovieTrack } from './read.ts';

type Written = number | string;
export interface Rule {
  readonly words: string;
  readonly holds: (value: Written) => boolean;
}
/** One value, one of several, or a rule. */
export type Wanted = Written | readonly Written[] | Rule;

export interface Situation {
  readonly movie: Movie;
  readonly outcome: Outcome;
  readonly box: Box;
  readonly fields: Fields;
  /** null: outside of tracks, or of one that the outcome does not have. */
  readonly track: MovieTrack | null;
  readonly role: Role | null;
  /** Number of the track, from 1 on; 0 outside. */
  readonly number: number;
}

const rule = (words: string, holds: Rule['holds']): Rule => ({ words, holds });
const zeros = (bytes: number): string => '00'.repeat(bytes);
const UPRIGHT = '1 0 0 0 1 0 0 0 1';
/** Every version and flag of a box that has but one. */
const plain = { version: 0, flags: 0 } as const;
/** Of times in 64 bits. */
const VERSIONS = [0, 1];
/** Nobody knows when it was made, so that equal runs give equal files. */
const untold = { 'creation time': 0, 'modification time': 0 } as const;

const field = (movie: Movie, box: Box | undefined, name: string): number =>
  Number((box === undefined ? undefined : movie.fields.get(box)?.values.get(name)?.value) ?? Number.NaN);
const isMov = ({ outcome }: Situation): boolean => outcome.container === 'mov';
const movieScale = ({ movie }: Situation): number => field(movie, below(movie.index, 'mvhd'), 'time scale');

/** Seconds as an exact ratio of whole numbers. */
interface Seconds {
  readonly num: bigint;
  readonly den: bigint;
}
const pictureSeconds = ({ frames, rate }: Outcome): Seconds => ({
  num: BigInt(frames) * BigInt(rate.den),
  den: BigInt(rate.num),
});
/** 14496-12, 8.6.6: ticks before the first that is shown. */
export const mediaTime = (movie: Movie, track: MovieTrack): number =>
  field(movie, below(track.box, 'edts', 'elst'), 'media time');

/** From the shortest to the longest time that a track may be shown: audio of AAC may end with its last block. */
function shownSeconds({ outcome, role, track, movie }: Situation): readonly [Seconds, Seconds] {
  if (role?.kind !== 'audio' || track === null) return [pictureSeconds(outcome), pictureSeconds(outcome)];
  const least = { num: BigInt(role.track.samples), den: BigInt(role.track.sampleRate) };
  const samples = (track.samples?.ticks ?? 0) - mediaTime(movie, track);
  const beyond = Number.isSafeInteger(samples) ? samples - role.track.samples : 0;
  return beyond > 0 && beyond <= role.track.tolerance
    ? [least, { ...least, num: BigInt(samples) }]
    : [least, least];
}

/** Less than a tick from what is exact: writers round up, down, or take the difference of two rounded times. */
function nearTicks(scale: number, [least, most]: readonly [Seconds, Seconds]): Rule {
  const exact = (seconds: Seconds): string =>
    `${Number(seconds.num * BigInt(scale || 0)) / Number(seconds.den)}`;
  const [from, to] = [exact(least), exact(most)];
  return rule(`within a tick of ${from === to ? from : `${from} to ${to}`}`, (value) => {
    if (!Number.isSafeInteger(scale) || typeof value !== 'number') return false;
    const ticks = BigInt(value);
    return (
      (ticks + 1n) * least.den > least.num * BigInt(scale) &&
      (ticks - 1n) * most.den < most.num * BigInt(scale)
    );
  });
}

/** Frames of the rate in whole ticks. */
const holdsRate = ({ num, den }: Ratio, ticks: number, scale: number): boolean =>
  Number.isSafeInteger(ticks) &&
  Number.isSafeInteger(scale) &&
  ticks > 0 &&
  BigInt(ticks) * BigInt(num) === BigInt(scale) * BigInt(den);

const LANGUAGES = { mov: 0x7fff, mp4: 0x55c4 } as const;
/** 14496-12, 8.4.2.3: `und`; QTFF, "Language Code Values": not said, and 0, which ffmpeg writes for timecode. */
// Codes of languages from 0x400 on are those of 14496-12, `und` among them; 0 and 0x7fff say none.
const userText = (text: string) => ({
  length: Buffer.byteLength(text),
  language: [0, LANGUAGES.mov, LANGUAGES.mp4],
  text,
});

const languageOf = ({ outcome, role }: Situation): Wanted => {
  const unsaid = [LANGUAGES.mov, LANGUAGES.mp4];
  return role?.kind === 'timecode' ? [0, ...unsaid] : outcome.container === 'mov' ? unsaid : LANGUAGES.mp4;
};

/** Names of what handles a track, as ffmpeg writes them; none at all is as well. */
const handlerNames: Readonly<Record<string, string>> = {
  vide: 'VideoHandler',
  soun: 'SoundHandler',
  tmcd: 'TimeCodeHandler',
  'url ': 'DataHandler',
};
/** A text with its length before it (QTFF), or with a zero byte behind it (14496-12, 8.4.3). */
function nameDigits(handler: string): Rule {
  const name = handlerNames[handler] ?? '';
  const bytes = Buffer.from(name, 'latin1');
  const forms = [
    Buffer.concat([Buffer.from([bytes.length]), bytes]),
    Buffer.concat([bytes, Buffer.from([0])]),
    Buffer.from([0]),
  ].map((form) => form.toString('hex'));
  return rule(name === '' ? 'no name' : `${JSON.stringify(name)} or no name`, (value) =>
    forms.includes(String(value)),
  );
}

type Tag = 'primaries' | 'transfer' | 'matrix';
const tables = { primaries, transfer: transfers, matrix: matrices } as const;
/** ITU-T H.273: 2 is not stated. */
const UNSTATED = 2;
export function codePoint(tag: Tag, name: string | null): number {
  if (name === null) return UNSTATED;
  const table: Readonly<Record<string, { readonly code: number }>> = tables[tag];
  return (Object.hasOwn(table, name) ? table[name]?.code : undefined) ?? Number.NaN;
}
const coloursOf = ({ outcome: { colour } }: Situation): Record<Tag, number> => ({
  primaries: codePoint('primaries', colour.primaries),
  transfer: codePoint('transfer', colour.transfer),
  matrix: codePoint('matrix', colour.matrix),
});

/** Compression identifiers of ST 2019-1 by ffprobe's names of the profiles. */
const compressions: Readonly<Record<string, number>> = {
  'DNXHR LB': 1274,
  'DNXHR SQ': 1273,
  'DNXHR HQ': 1272,
  'DNXHR HQX': 1271,
  'DNXHR 444': 1270,
};

/** Names of the encoder, from memory of ffmpeg's own: its library, and the encoder's name behind it. */
export const ENCODER_NAME = /^(?:Lavc[\d.]*(?: [a-z0-9_]+)?)?$/;
const anything = rule('anything', () => true);

/** Names of layouts by the bits of Core Audio's bitmap, which are those of WAVEFORMATEXTENSIBLE, and by its tags (CoreAudioBaseTypes.h, from memory). */
const BY_BITMAP = 0x1_0000;
const layoutBitmaps: Readonly<Record<string, number>> = {
  mono: 0x4,
  stereo: 0x3,
  '2.1': 0xb,
  '3.0': 0x7,
  '3.0(back)': 0x103,
  '4.0': 0x107,
  quad: 0x33,
  'quad(side)': 0x603,
  '5.0': 0x37,
  '5.0(side)': 0x607,
  '5.1': 0x3f,
  '5.1(side)': 0x60f,
  '6.0': 0x707,
  '6.1': 0x70f,
  '7.0': 0x637,
  '7.1': 0x63f,
};
const layoutTags: Readonly<Record<string, readonly number[]>> = {
  mono: [0x64_0001],
  stereo: [0x65_0002],
  '7.1': [0x80_0008],
};
const ones = (bits: number): number => bits.toString(2).replaceAll('0', '').length;

function channelLayout({ role, fields }: Situation): { layout: Wanted; bitmap: Wanted } {
  if (role?.kind !== 'audio') return { layout: 0, bitmap: 0 };
  const { layout, channels } = role.track;
  const bitmap = layout === null ? undefined : layoutBitmaps[layout];
  const tag = fields.values.get('layout')?.value;
  const wanted = layout ?? `${channels} channels`;
  return {
    layout: rule(
      `${wanted}: by bitmap, or a tag of ${channels} channels`,
      (value) =>
        value === BY_BITMAP ||
        (layout !== null && layoutTags[layout] !== undefined
          ? (layoutTags[layout] as readonly number[]).includes(value as number)
          : bitmap === undefined && (Number(value) & 0xffff) === channels),
    ),
    bitmap:
      tag === BY_BITMAP
        ? (bitmap ?? rule(`${channels} channels`, (value) => ones(value as number) === channels))
        : 0,
  };
}

/** Uncompressed audio: four characters and bytes of a sample. */
const pcm: Readonly<Record<string, { readonly tags: readonly string[]; readonly bytes: number }>> = {
  pcm_s16le: { tags: ['sowt', 'lpcm'], bytes: 2 },
  pcm_s24le: { tags: ['in24', 'lpcm'], bytes: 3 },
};
export const bytesOfSample = (codec: string): number | null => pcm[codec]?.bytes ?? null;

/** Four characters of the one sample description. */
export function entryTypes(outcome: Outcome, role: Role): readonly string[] {
  if (role.kind === 'picture') return [outcome.codecTag];
  if (role.kind === 'timecode') return ['tmcd'];
  return role.track.codec === 'aac' ? ['mp4a'] : (pcm[role.track.codec]?.tags ?? []);
}

const entryHead = { reserved: zeros(6), 'data reference': 1 } as const;

/** The fields that audio descriptions of version 0 and 1 share. */
const soundHead = ({ role }: Situation, version: 0 | 1) => {
  const track = role?.kind === 'audio' ? role.track : null;
  return {
    ...entryHead,
    version,
    revision: 0,
    vendor: zeros(4),
    // 14496-14, 5.6: 2, whatever the stream has.
    channels: track?.codec === 'aac' && version === 0 ? [2, track.channels] : (track?.channels ?? 0),
    // QTFF: 16 for whatever is compressed or described by version 1.
    'sample size': 16,
    // -2 in version 1: the packets differ in size (QTFF).
    compression: track?.codec === 'aac' && version === 1 ? -2 : 0,
    'packet size': 0,
    'sample rate': track?.sampleRate ?? 0,
  } as const;
};

/** IEEE 754 digits of a rate. */
function doubleDigits(value: number): string {
  const bytes = Buffer.alloc(8);
  bytes.writeDoubleBE(value);
  return bytes.toString('hex');
}

/** Flags of Core Audio's linear PCM: signed (4), packed (8), with the lowest byte first. */
const SIGNED_PACKED = 12;

const audioOf = ({ role }: Situation): Outcome['audio'][number] | null =>
  role?.kind === 'audio' ? role.track : null;

type Expectations = {
  readonly [Name in LayoutName]: (situation: Situation) => Readonly<Record<FieldOf<Name>, Wanted>>;
};

const entries = (count: Wanted = anything): { version: 0; flags: 0; entries: Wanted } => ({
  ...plain,
  entries: count,
});

/** 14496-12, annex on brands; what ffmpeg lists, newer versions from memory. */
const MP4_BRANDS = ['isom', 'iso2', 'iso4', 'iso5', 'iso6', 'avc1', 'mp41', 'mp42'];

export const expectations: Expectations = {
  ftyp: (situation) => ({
    'major brand': isMov(situation) ? 'qt  ' : ['isom', 'mp42'],
    // A version of the brand that nobody but its owner can read; what ffmpeg writes.
    'minor version': [0, 512],
    'compatible brands': rule(isMov(situation) ? 'qt' : `some of ${MP4_BRANDS.join(', ')}`, (value) => {
      const brands =
        Buffer.from(String(value), 'hex')
          .toString('latin1')
          .match(/.{1,4}/gs) ?? [];
      return (
        brands.length > 0 &&
        brands.every((brand) => (isMov(situation) ? ['qt  '] : MP4_BRANDS).includes(brand))
      );
    }),
  }),
  mvhd: (situation) => ({
    version: VERSIONS,
    flags: 0,
    ...untold,
    // As ffmpeg has it, whatever the rate; or the ticks of a track.
    'time scale': [
      1000,
      ...situation.movie.tracks.map((track) =>
        field(situation.movie, below(track.box, 'mdia', 'mdhd'), 'time scale'),
      ),
    ],
    duration: Math.max(
      ...situation.movie.tracks.map((track) => field(situation.movie, below(track.box, 'tkhd'), 'duration')),
    ),
    rate: 1,
    volume: 1,
    reserved: zeros(10),
    matrix: UPRIGHT,
    'preview, poster, selection': zeros(24),
    'next track': situation.movie.tracks.length + 1,
  }),
  tkhd: (situation) => {
    const { role, outcome, number } = situation;
    const { width, height, pixelAspect } = outcome;
    const picture = role?.kind === 'picture';
    const wide = (width * pixelAspect.num) / pixelAspect.den;
    return {
      version: VERSIONS,
      // 14496-12, 8.3.2.3: 1 enabled, 2 in the movie. Editors expect to hear every track (common practice, no source); nobody shows a track of timecode.
      flags: picture || role?.kind === 'audio' ? 3 : 2,
      ...untold,
      track: number,
      'reserved before the duration': zeros(4),
      duration: nearTicks(movieScale(situation), shownSeconds(situation)),
      'reserved before the layer': zeros(8),
      layer: 0,
      // Of tracks in one group a player plays one (14496-12, 8.3.2.3): each audio track is in one of its own.
      'alternate group': role?.kind === 'audio' ? role.index + 1 : 0,
      volume: role?.kind === 'audio' ? 1 : 0,
      'reserved before the matrix': zeros(2),
      matrix: UPRIGHT,
      width: picture
        ? rule(
            wide === width ? String(width) : `${width} or ${wide}`,
            (value) => value === width || Math.abs(Number(value) - wide) < 2 ** -15,
          )
        : 0,
      height: picture ? height : 0,
    };
  },
  aperture: ({ outcome: { width, height, pixelAspect } }) => {
    const wide = (width * pixelAspect.num) / pixelAspect.den;
    return {
      version: 0,
      flags: 0,
      width: rule(`${wide}`, (value) => Math.abs(Number(value) - wide) <= 0.5),
      height,
    };
  },
  'coded aperture': ({ outcome: { width, height } }) => ({ version: 0, flags: 0, width, height }),
  elst: (situation) => {
    const { role, track } = situation;
    return {
      version: VERSIONS,
      flags: 0,
      entries: 1,
      duration: nearTicks(movieScale(situation), shownSeconds(situation)),
      'media time':
        role?.kind === 'picture'
          ? firstShown(track)
          : role?.kind === 'audio' && role.track.codec === 'aac'
            ? rule(
                'whole blocks of 1024 samples, of which the encoder needs one or two',
                (value) => value === 1024 || value === 2048,
              )
            : 0,
      'media rate': 1,
    };
  },
  reference: ({ movie }) => ({
    track: 1 + movie.tracks.findIndex(({ handler }) => handler === 'tmcd'),
  }),
  mdhd: (situation) => {
    const { role, outcome, track, movie } = situation;
    const ticks = track?.samples?.ticks ?? Number.NaN;
    const audio = audioOf(situation);
    const scale = field(movie, situation.box, 'time scale');
    return {
      version: VERSIONS,
      flags: 0,
      ...untold,
      'time scale':
        audio === null
          ? rule(
              `ticks of which a frame at ${formatRatio(outcome.rate)} frames/s has a whole number`,
              (value) =>
                (BigInt(value) * BigInt(outcome.rate.den)) % BigInt(outcome.rate.num) === 0n && value !== 0,
            )
          : audio.sampleRate,
      duration:
        role?.kind === 'audio'
          ? ticks
          : rule(
              `${ticks} ticks of its samples, ${outcome.frames} frames at ${formatRatio(outcome.rate)} frames/s`,
              (value) =>
                value === ticks &&
                BigInt(value) * BigInt(outcome.rate.num) ===
                  BigInt(outcome.frames) * BigInt(outcome.rate.den) * BigInt(scale),
            ),
      language: languageOf(situation),
      quality: 0,
    };
  },
  hdlr: (situation) => {
    const { box, role } = situation;
    const kind = box.path.endsWith('/minf/hdlr')
      ? 'data'
      : box.path.endsWith('/meta/hdlr')
        ? 'metadata'
        : 'media';
    const handler = kind === 'data' ? 'url ' : kind === 'metadata' ? 'mdir' : (role?.handler ?? 'none');
    return {
      ...plain,
      // QTFF has `mhlr` and `dhlr` where 14496-12 has zero.
      'component type': isMov(situation) ? (kind === 'data' ? 'dhlr' : 'mhlr') : '\0\0\0\0',
      handler,
      // `appl`: what ffmpeg writes where a list of metadata has room.
      'manufacturer, flags, mask':
        kind === 'metadata' ? `${Buffer.from('appl').toString('hex')}${zeros(8)}` : zeros(12),
      name: nameDigits(handler),
    };
  },
  // 14496-12, 12.1.2.3: flags of 1; QTFF: 0 copies the picture as it is.
  vmhd: () => ({ version: 0, flags: 1, 'graphics mode': 0, 'operation colour': zeros(6) }),
  smhd: () => ({ ...plain, balance: 0, reserved: zeros(2) }),
  nmhd: () => plain,
  // QTFF, "Graphics Modes": 0x40 is that of everything without a picture of its own, with half grey as its colour.
  gmin: () => ({
    ...plain,
    'graphics mode': 0x40,
    'operation colour': '8000'.repeat(3),
    balance: 0,
    reserved: zeros(2),
  }),
  text: () => ({ matrix: UPRIGHT }),
  tcmi: () => ({
    ...plain,
    font: 0,
    face: 0,
    size: 12,
    reserved: zeros(2),
    // Black letters on a white ground.
    letters: zeros(6),
    ground: 'ff'.repeat(6),
    // The letters of a timecode that a player may draw: as ffmpeg writes them.
    'font name': ['Lucida Grande', ''],
  }),
  dref: () => entries(1),
  // 14496-12, 8.7.2.3: the media are in this file.
  'url ': () => ({ version: 0, flags: 1 }),
  stsd: () => entries(1),
  visual: (situation) => {
    const { width, height } = situation.outcome;
    return {
      ...entryHead,
      version: 0,
      revision: 0,
      vendor: ['FFMP', '\0\0\0\0'],
      // QTFF: 0x200 is normal quality; 14496-12 has zero.
      'temporal quality': isMov(situation) ? [0, 0x200] : 0,
      'spatial quality': isMov(situation) ? [0, 0x200] : 0,
      width,
      height,
      'horizontal resolution': 72,
      'vertical resolution': 72,
      'data size': 0,
      'frames a sample': 1,
      'compressor name': anything,
      // Without alpha; 32 says that there is.
      depth: 24,
      'colour table': -1,
    };
  },
  sound0: (situation) => soundHead(situation, 0),
  sound1: (situation) => {
    const track = audioOf(situation);
    const bytes = bytesOfSample(track?.codec ?? '');
    return {
      ...soundHead(situation, 1),
      'samples a packet': bytes === null ? 1024 : 1,
      'bytes a packet': bytes ?? 0,
      // Of compressed audio both are open.
      'bytes a frame': bytes === null ? 0 : bytes * (track?.channels ?? 0),
      // QTFF: of uncompressed audio, whatever its samples have; ffmpeg writes 2.
      'bytes a sample': [2, ...(bytes === null ? [] : [bytes])],
    };
  },
  sound2: (situation) => {
    const track = audioOf(situation);
    const bytes = bytesOfSample(track?.codec ?? '') ?? 0;
    return {
      ...entryHead,
      version: 2,
      revision: 0,
      vendor: zeros(4),
      'always 3': 3,
      'always 16': 16,
      'always -2': -2,
      'always 0': 0,
      'always 65536': 65_536,
      'size of the fields': 72,
      'sample rate': doubleDigits(track?.sampleRate ?? 0),
      channels: track?.channels ?? 0,
      'always 2130706432': 0x7f00_0000,
      'bits a channel': 8 * bytes,
      'form of the samples': SIGNED_PACKED,
      'bytes a packet': bytes * (track?.channels ?? 0),
      'frames a packet': 1,
    };
  },
  timecode: ({ outcome: { timecode, rate }, fields }) => {
    const scale = Number(fields.values.get('time scale')?.value);
    return {
      ...entryHead,
      'reserved before the flags': zeros(4),
      // QTFF: 1 drop-frame, 2 to 24 hours, 4 negative, 8 a counter.
      flags: timecode?.drop === true ? 1 : 0,
      'time scale': anything,
      'frame duration': rule(`a frame at ${formatRatio(rate)} frames/s`, (value) =>
        holdsRate(rate, value as number, scale),
      ),
      base: timecode?.base ?? 0,
      'reserved behind the base': 0,
    };
  },
  name: ({ outcome: { reel } }) => ({
    length: Buffer.byteLength(reel ?? ''),
    language: [0, LANGUAGES.mov],
    name: reel ?? '',
  }),
  'track name': ({ role }) => ({ name: role?.kind === 'audio' ? (role.track.recording?.name ?? '') : '' }),
  userText: ({ outcome }) => userText(outcome.says ?? ''),
  'user-make': ({ outcome }) => userText(outcome.texts.make ?? ''),
  'user-model': ({ outcome }) => userText(outcome.texts.model ?? ''),
  'user-date': ({ outcome }) => userText(outcome.texts.date ?? ''),
  nclc: (situation) => ({ type: 'nclc', ...coloursOf(situation) }),
  nclx: (situation) => ({
    type: 'nclx',
    ...coloursOf(situation),
    range: situation.outcome.colour.range === 'full' ? 0x80 : 0,
  }),
  pasp: ({ outcome: { pixelAspect }, fields }) => {
    const { num, den } = pixelAspect;
    const [across, down] = ['horizontal spacing', 'vertical spacing'].map((name) =>
      Number(fields.values.get(name)?.value),
    ) as [number, number];
    const same = rule(
      `as ${num} to ${den}`,
      (value) => value !== 0 && BigInt(across) * BigInt(den) === BigInt(down) * BigInt(num),
    );
    return { 'horizontal spacing': same, 'vertical spacing': same };
  },
  // QTFF: one field, so that there is no order.
  fiel: ({ outcome: { fieldOrder } }) =>
    fieldOrder === 'progressive'
      ? { fields: 1, order: 0 }
      : { fields: 2, order: fieldOrder === 'top-first' ? [1, 9] : [6, 14] },
  btrt: (situation) => ({
    buffer: 0,
    'most bits a second': bitsRule(situation),
    'mean bits a second': meanRule(situation),
  }),
  ACLR: ({ outcome: { colour } }) => ({
    identification: Buffer.from('ACLR0001').toString('hex'),
    levels: colour.range === 'full' ? 2 : 1,
    reserved: 0,
  }),
  ADHR: ({ outcome: { codecProfile } }) => ({
    identification: Buffer.from('0001').toString('hex'),
    compression: compressions[codecProfile ?? ''] ?? Number.NaN,
    reserved: 0,
    'always 1': 1,
    'reserved behind': zeros(8),
  }),
  frma: (situation) => ({
    format: situation.role === null ? '' : entryTypes(situation.outcome, situation.role),
  }),
  enda: () => ({ 'little-endian': 1 }),
  terminator: () => ({}),
  chan: (situation) => ({ ...plain, ...channelLayout(situation), descriptions: 0 }),
  mp4a: () => ({ reserved: zeros(4) }),
  stts: () => entries(),
  stss: () => entries(),
  // Version 1 has negative offsets; ours are none.
  ctts: () => entries(),
  stsc: () => entries(),
  stsz: () => ({ ...plain, 'size of all': anything, samples: anything }),
  stco: () => entries(),
  co64: () => entries(),
  sdtp: () => plain,
  // 14496-12, 10.1: the decoder of AAC needs the block before.
  sgpd: () => ({ version: 1, flags: 0, grouping: 'roll', 'size of an entry': 2, entries: 1, distance: -1 }),
  sbgp: ({ track }) => ({
    ...plain,
    grouping: 'roll',
    entries: 1,
    samples: track?.samples?.sizes.count ?? 0,
    group: 1,
  }),
  meta: () => plain,
};

/** Ticks before the earliest picture in order of presentation. */
function firstShown(track: MovieTrack | null): number {
  const samples = track?.samples ?? null;
  if (samples === null || samples.composition === null) return 0;
  const { times, composition } = samples;
  // The first to be decoded is the first to be shown in a closed group of pictures.
  return times.rows === 0 || composition.rows === 0 ? 0 : composition.value(0, 1);
}

/** Bits a second of the samples of a track, as 14496-12, 8.5.2.2 defines the mean; null without samples. */
export function meanBits({ track, movie }: Pick<Situation, 'track' | 'movie'>): number | null {
  const samples = track?.samples ?? null;
  if (track === null || samples === null || samples.ticks === 0) return null;
  const scale = field(movie, below(track.box, 'mdia', 'mdhd'), 'time scale');
  return (8 * samples.bytes * scale) / samples.ticks;
}

/** Writers divide whole numbers, and by the track's length with what is hidden of it or without. */
const NEAR = 0.02;
export function meanRule(situation: Situation): Rule {
  const mean = meanBits(situation) ?? Number.NaN;
  return rule(
    `about ${Math.round(mean)}`,
    (value) => value === 0 || Math.abs(Number(value) - mean) <= 1 + NEAR * mean,
  );
}

/** Of AAC what it was asked for, or its mean where that is more; of what has no such bound its mean, as ffmpeg writes it. */
export function bitsRule(situation: Situation): Wanted {
  const audio = audioOf(situation);
  const asked = audio?.bitsPerSecond ?? null;
  if (asked === null) return meanRule(situation);
  const mean = meanBits(situation) ?? Number.NaN;
  return rule(`${asked}, or its mean of ${Math.round(mean)} where that is more`, (value) =>
    mean > asked ? Math.abs(Number(value) - mean) <= 1 + NEAR * mean : value === asked,
  );
}
