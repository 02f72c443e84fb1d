/**
 * The written list: which boxes may stand in a deliverable, where, how often, and which layout they have. Whatever is not on it and may be
 * obeyed by a player holds the deliverable; what only informs is a note. Sources: ISO/IEC 14496-12 (clause beside the row), the
 * QuickTime File Format (QTFF), ISO/IEC 14496-14 (`mp4a`, `esds`), ISO/IEC 14496-15 (`avc1`, `avcC`, `hvc1`, `hvcC`), SMPTE RDD 36 as registered for its four
 * characters; ACLR and ADHR are from memory of what ffmpeg writes. What newer versions of ffmpeg than 5.1 write is marked so, from memory.
 */
import type { Outcome } from '../../profiles/outcome.ts';
import { type Box, kindOfPath } from './boxes.ts';
import type { LayoutName } from './layouts.ts';

/** What a track is for, by its place in the file: picture, audio tracks in the order of the outcome, timecode. */
export type Role =
  | { readonly kind: 'picture'; readonly handler: 'vide' }
  | {
      readonly kind: 'audio';
      readonly handler: 'soun';
      readonly index: number;
      readonly track: Outcome['audio'][number];
    }
  | { readonly kind: 'timecode'; readonly handler: 'tmcd' };

export function rolesOf({ audio, timecode }: Outcome): readonly Role[] {
  return [
    { kind: 'picture', handler: 'vide' },
    ...audio.map((track, index): Role => ({ kind: 'audio', handler: 'soun', index, track })),
    ...(timecode === null ? [] : ([{ kind: 'timecode', handler: 'tmcd' }] as const)),
  ];
}

export interface Place {
  readonly outcome: Outcome;
  /** null: outside of tracks, or of a track that the outcome does not have. */
  readonly role: Role | null;
}

export type Presence = 'once' | 'maybe' | 'never';

interface Row {
  /** Kind of path; `entry`: the one sample description. */
  readonly path: string;
  /** How its fields lie; null: it has none of its own, or a reader of its own. */
  readonly layout: LayoutName | null;
  readonly source: string;
  /** Absent: once, wherever its surroundings are. */
  readonly when?: (place: Place) => Presence;
}

const MINF = 'moov/trak/mdia/minf';
const STBL = `${MINF}/stbl`;
const ENTRY = `${STBL}/stsd/entry`;

const isMov = ({ outcome }: Place): boolean => outcome.container === 'mov';
const inMov = (place: Place): Presence => (isMov(place) ? 'once' : 'never');
const inMp4 = (place: Place): Presence => (isMov(place) ? 'never' : 'once');
const mayInMp4 = (place: Place): Presence => (isMov(place) ? 'never' : 'maybe');
const of =
  (kind: Role['kind'], presence: Presence | ((place: Place) => Presence) = 'once') =>
  (place: Place): Presence =>
    place.role?.kind !== kind ? 'never' : typeof presence === 'function' ? presence(place) : presence;
const ofCodec =
  (codec: string, presence: Presence = 'once') =>
  ({ outcome, role }: Place): Presence =>
    role?.kind === 'picture' && outcome.codec === codec ? presence : 'never';
const ofPredicted = (place: Place): Presence =>
  ofCodec('h265')(place) === 'once' ? 'maybe' : ofCodec('h264', 'maybe')(place);
const isAac = ({ role }: Place): boolean => role?.kind === 'audio' && role.track.codec === 'aac';

/** A track of production sound has the name that the recorder gave it. */
const ofNamed = ({ role }: Place): Presence =>
  role?.kind === 'audio' && (role.track.recording?.name ?? null) !== null ? 'once' : 'never';

const saying =
  (presence: Presence) =>
  ({ outcome }: Place): Presence =>
    outcome.says === null ? 'never' : presence;

/** A colour box is written where all three are known. */
const isTagged = ({ colour: { primaries, transfer, matrix } }: Outcome): boolean =>
  primaries !== null && transfer !== null && matrix !== null;

/** QTFF, "User Data Text Strings": maker, model, and date of what was recorded. */
const USER_TEXTS = { make: '\xa9mak', model: '\xa9mod', date: '\xa9day' } as const;

const rows: readonly Row[] = [
  { path: 'ftyp', layout: 'ftyp', source: '14496-12, 4.3' },
  {
    path: 'wide',
    layout: null,
    source: 'QTFF, "Wide Atom": room for a longer size',
    when: (place) => (isMov(place) ? 'maybe' : 'never'),
  },
  { path: 'free', layout: null, source: '14496-12, 8.1.2', when: () => 'maybe' },
  { path: 'mdat', layout: null, source: '14496-12, 8.1.1' },
  { path: 'moov', layout: null, source: '14496-12, 8.2.1' },
  { path: 'moov/mvhd', layout: 'mvhd', source: '14496-12, 8.2.2' },
  { path: 'moov/trak', layout: null, source: '14496-12, 8.3.1' },
  { path: 'moov/trak/tkhd', layout: 'tkhd', source: '14496-12, 8.3.2' },
  ...(['tapt', 'tapt/clef', 'tapt/prof', 'tapt/enof'] as const).map(
    (box): Row => ({
      path: `moov/trak/${box}`,
      layout: box === 'tapt' ? null : box === 'tapt/enof' ? 'coded aperture' : 'aperture',
      source: 'QTFF, "Track Aperture Mode Dimensions Atom"',
      when: of('picture', (place) =>
        !isMov(place) || place.outcome.pixelAspect.num === place.outcome.pixelAspect.den
          ? 'never'
          : box === 'tapt'
            ? 'maybe'
            : 'once',
      ),
    }),
  ),
  {
    path: 'moov/trak/udta',
    layout: null,
    source: '14496-12, 8.10.1',
    when: of('audio', ofNamed),
  },
  {
    path: 'moov/trak/udta/name',
    layout: 'track name',
    source: 'QTFF, "User Data Atoms": the name of the track, as text to its end',
    when: of('audio', ofNamed),
  },
  { path: 'moov/trak/edts', layout: null, source: '14496-12, 8.6.5' },
  { path: 'moov/trak/edts/elst', layout: 'elst', source: '14496-12, 8.6.6' },
  {
    path: 'moov/trak/tref',
    layout: null,
    source: '14496-12, 8.3.3',
    when: of('picture', ({ outcome }) => (outcome.timecode === null ? 'never' : 'once')),
  },
  { path: 'moov/trak/tref/tmcd', layout: 'reference', source: 'QTFF, "Track Reference Atom"' },
  { path: 'moov/trak/mdia', layout: null, source: '14496-12, 8.4.1' },
  { path: 'moov/trak/mdia/mdhd', layout: 'mdhd', source: '14496-12, 8.4.2' },
  { path: 'moov/trak/mdia/hdlr', layout: 'hdlr', source: '14496-12, 8.4.3' },
  { path: MINF, layout: null, source: '14496-12, 8.4.4' },
  { path: `${MINF}/vmhd`, layout: 'vmhd', source: '14496-12, 12.1.2', when: of('picture') },
  { path: `${MINF}/smhd`, layout: 'smhd', source: '14496-12, 12.2.2', when: of('audio') },
  {
    path: `${MINF}/gmhd`,
    layout: null,
    source: 'QTFF, "Base Media Information"',
    when: of('timecode', inMov),
  },
  { path: `${MINF}/gmhd/gmin`, layout: 'gmin', source: 'QTFF, "Base Media Info Atom"' },
  {
    path: `${MINF}/gmhd/text`,
    layout: 'text',
    source: 'QTFF, "Text Media Information"',
    when: () => 'maybe',
  },
  { path: `${MINF}/gmhd/tmcd`, layout: null, source: 'QTFF, "Timecode Media Information Atom"' },
  { path: `${MINF}/gmhd/tmcd/tcmi`, layout: 'tcmi', source: 'QTFF, "Timecode Media Information Atom"' },
  { path: `${MINF}/nmhd`, layout: 'nmhd', source: '14496-12, 8.4.5.2', when: of('timecode', inMp4) },
  { path: `${MINF}/hdlr`, layout: 'hdlr', source: 'QTFF, "Video Media Information"', when: inMov },
  { path: `${MINF}/dinf`, layout: null, source: '14496-12, 8.7.1' },
  { path: `${MINF}/dinf/dref`, layout: 'dref', source: '14496-12, 8.7.2' },
  { path: `${MINF}/dinf/dref/url `, layout: 'url ', source: '14496-12, 8.7.2' },
  { path: STBL, layout: null, source: '14496-12, 8.5.1' },
  { path: `${STBL}/stsd`, layout: 'stsd', source: '14496-12, 8.5.2' },
  { path: ENTRY, layout: null, source: '14496-12, 8.5.2; the four characters are those of the outcome' },
  { path: `${ENTRY}/avcC`, layout: null, source: '14496-15, 5.3.3', when: ofCodec('h264') },
  { path: `${ENTRY}/hvcC`, layout: null, source: '14496-15, 8.4.1', when: ofCodec('h265') },
  { path: `${ENTRY}/ACLR`, layout: 'ACLR', source: 'from memory', when: ofCodec('vc3') },
  { path: `${ENTRY}/ADHR`, layout: 'ADHR', source: 'from memory', when: ofCodec('vc3') },
  {
    path: `${ENTRY}/fiel`,
    layout: 'fiel',
    source: 'QTFF, "Field Handling"; ffmpeg writes it beside H.265 in MP4 too',
    when: of('picture', (place) => (isMov(place) || place.outcome.codec === 'h265' ? 'maybe' : 'never')),
  },
  {
    path: `${ENTRY}/colr`,
    layout: null,
    source: '14496-12, 12.1.5; QTFF, "Color Parameter Atoms"',
    when: of('picture', ({ outcome }) => (isTagged(outcome) ? 'once' : 'maybe')),
  },
  {
    path: `${ENTRY}/pasp`,
    layout: 'pasp',
    source: '14496-12, 12.1.4',
    when: of('picture', ({ outcome: { pixelAspect } }) =>
      pixelAspect.num === pixelAspect.den ? 'maybe' : 'once',
    ),
  },
  {
    path: `${ENTRY}/btrt`,
    layout: 'btrt',
    source: '14496-12, 8.5.2.2; of timecode by ffmpeg newer than 5.1, from memory',
    when: mayInMp4,
  },
  {
    path: `${ENTRY}/esds`,
    layout: null,
    source: '14496-14, 5.6',
    when: (place) => (isAac(place) ? inMp4(place) : 'never'),
  },
  {
    path: `${ENTRY}/wave`,
    layout: null,
    source: 'QTFF, "siDecompressionParam Atom"',
    when: of('audio', (place) => (isMov(place) ? 'maybe' : 'never')),
  },
  { path: `${ENTRY}/wave/frma`, layout: 'frma', source: 'QTFF, "Sound Sample Description Extensions"' },
  {
    path: `${ENTRY}/wave/enda`,
    layout: 'enda',
    source: 'QTFF, "Sound Sample Description Extensions"',
    when: (place) => (isAac(place) ? 'never' : 'maybe'),
  },
  {
    path: `${ENTRY}/wave/mp4a`,
    layout: 'mp4a',
    source: 'QTFF, "MPEG-4 Sound"',
    when: (place) => (isAac(place) ? 'maybe' : 'never'),
  },
  {
    path: `${ENTRY}/wave/esds`,
    layout: null,
    source: 'QTFF, "MPEG-4 Elementary Stream Descriptor Atom"',
    when: (place) => (isAac(place) ? 'once' : 'never'),
  },
  { path: `${ENTRY}/wave/\0\0\0\0`, layout: 'terminator', source: 'QTFF, "Terminator Atom"' },
  {
    path: `${ENTRY}/chan`,
    layout: 'chan',
    source: 'QTFF, "Audio Channel Layout Atom"',
    when: of('audio', (place) => (isMov(place) ? 'maybe' : 'never')),
  },
  {
    path: `${ENTRY}/name`,
    layout: 'name',
    source: 'QTFF, "Timecode Sample Description"',
    when: of('timecode', ({ outcome }) => (outcome.reel === null ? 'never' : 'once')),
  },
  { path: `${STBL}/stts`, layout: 'stts', source: '14496-12, 8.6.1.2' },
  {
    path: `${STBL}/stss`,
    layout: 'stss',
    source: '14496-12, 8.6.2; absent where every picture is a key frame',
    when: ofPredicted,
  },
  { path: `${STBL}/sdtp`, layout: 'sdtp', source: '14496-12, 8.6.4', when: ofPredicted },
  { path: `${STBL}/ctts`, layout: 'ctts', source: '14496-12, 8.6.1.3', when: ofPredicted },
  { path: `${STBL}/stsc`, layout: 'stsc', source: '14496-12, 8.7.4' },
  { path: `${STBL}/stsz`, layout: 'stsz', source: '14496-12, 8.7.3' },
  { path: `${STBL}/stco`, layout: 'stco', source: '14496-12, 8.7.5', when: () => 'maybe' },
  { path: `${STBL}/co64`, layout: 'co64', source: '14496-12, 8.7.5', when: () => 'maybe' },
  {
    path: `${STBL}/sgpd`,
    layout: 'sgpd',
    source: '14496-12, 8.9.3',
    when: (place) => (isAac(place) ? 'maybe' : 'never'),
  },
  {
    path: `${STBL}/sbgp`,
    layout: 'sbgp',
    source: '14496-12, 8.9.2',
    when: (place) => (isAac(place) ? 'maybe' : 'never'),
  },
  {
    path: 'moov/udta',
    layout: null,
    source: '14496-12, 8.10.1',
    when: ({ outcome }) => (outcome.says === null ? 'maybe' : 'once'),
  },
  {
    path: 'moov/udta/\xa9cmt',
    layout: 'userText',
    source: 'QTFF, "User Data Text Strings": comment',
    when: saying('once'),
  },
  {
    path: 'moov/udta/\xa9des',
    layout: 'userText',
    source: 'the same text once more, which ffmpeg writes besides; from memory, newer versions may not',
    when: saying('maybe'),
  },
  ...(['make', 'model', 'date'] as const).map(
    (key): Row => ({
      path: `moov/udta/${USER_TEXTS[key]}`,
      layout: `user-${key}`,
      source: `QTFF, "User Data Text Strings": ${key}`,
      when: ({ outcome }) => (outcome.texts[key] === null ? 'never' : 'once'),
    }),
  ),
  { path: 'moov/udta/meta', layout: 'meta', source: '14496-12, 8.11.1', when: mayInMp4 },
  { path: 'moov/udta/meta/hdlr', layout: 'hdlr', source: '14496-12, 8.11.1' },
  { path: 'moov/udta/meta/ilst', layout: null, source: 'QTFF, "Metadata Item List Atom"' },
];

const byPath: ReadonlyMap<string, Row> = new Map(rows.map((row) => [row.path, row]));
const STSD = `${STBL}/stsd/`;

/** As the list has paths: without numbers of tracks, and with `entry` for the sample description. */
export function listedPath(path: string): string {
  const kind = kindOfPath(path);
  if (!kind.startsWith(STSD)) return kind;
  const [, ...below] = kind.slice(STSD.length).split('/');
  return [ENTRY, ...below].join('/');
}

export const rowOf = (path: string): Row | undefined => byPath.get(listedPath(path));

/** Rows directly below a path. */
export function rowsBelow(path: string): readonly Row[] {
  const above = listedPath(path);
  return rows.filter((row) => row.path.slice(0, Math.max(0, row.path.lastIndexOf('/'))) === above);
}

/** 14496-12, 8.1.2 and 11.1; QTFF, "Free space atoms". Nobody obeys them. */
const padding: readonly string[] = ['free', 'skip', 'wide'];
/**
 * Boxes of type `uuid` that players do obey, from memory: the first spherical video description, and the three of protected files
 * (ISO/IEC 23001-7 took them up).
 */
const obeyedUuids: readonly string[] = [
  'ffcc8263f8554a938814587a02521fdd',
  'a2394f525a9b4f14a2446c427c648df4',
  'd08a4f1810f34a82b6c832d8aba183d3',
  '8974dbce7be74c5184f97148f9882554',
];
/** User data that names the film, the clip or the reel, or says a timecode (QTFF, "User Data Text Strings"): what an editor goes by. */
const naming: readonly string[] = [
  '\xa9nam',
  '\xa9TIM',
  '\xa9TSC',
  '\xa9TSZ',
  '\xa9trk',
  '\xa9alb',
  '\xa9grp',
];
const USER_DATA = /^moov(?:\/trak)?\/udta(?:\/meta\/ilst)?\/[^/]+$/;

/** Room for the sizes of boxes: what our encoders leave. */
const USUAL_PADDING = 8;

/** What is to be said of a box that is not on the list: it holds, it is noted, or it is as usual. */
export function judgeUnlisted(box: Box, uuid: string | null): 'holds' | 'note' | 'usual' {
  if (padding.includes(box.type)) return box.end - box.at === USUAL_PADDING ? 'usual' : 'note';
  if (box.type === 'uuid') return uuid === null || obeyedUuids.includes(uuid) ? 'holds' : 'note';
  return USER_DATA.test(kindOfPath(box.path)) && box.type.startsWith('\xa9') && !naming.includes(box.type)
    ? 'note'
    : 'holds';
}
