/**
 * Whether a Matroska deliverable says what was decided and nothing else: the table below is the written list of values, by the place of an
 * element. Sources: RFC 8794, RFC 9559, 5.1; RFC 9043, 4.3.3 for the codec's private data. What ffmpeg writes is marked so. Pure.
 */
import type { ClipFacts } from '../media/facts.ts';
import { printable } from '../files/names.ts';
import { formatTimecode } from '../media/time/timecode.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { MatroskaPart } from './matroska.ts';
import type { SaidElement } from './matroska-elements.ts';
import type { MeasuredMatroska } from './measured.ts';
import { codePoint } from './movie/expected.ts';
import type { Fault, Judged } from './container-verdict.ts';

type Value = number | string;
/** null: whatever it is. */
type Wanted = null | Value | readonly Value[] | ((value: Value) => boolean);

interface Situation {
  readonly outcome: Outcome;
  readonly matroska: MeasuredMatroska;
  /** Of the element's track, from 1 on; 0 outside. */
  readonly track: number;
}

const SEGMENT_PARTS = {
  cluster: 0x1f43b675,
  void: 0xec,
  seekHead: 0x114d9b74,
  info: 0x1549a966,
  tracks: 0x1654ae6b,
  tags: 0x1254c367,
  cues: 0x1c53bb6b,
} as const;

const isPicture = ({ track }: Situation): boolean => track === 1;
const audioOf = ({ outcome, track }: Situation): Outcome['audio'][number] | undefined =>
  outcome.audio[track - 2];

/** Uncompressed audio by ffmpeg's names: RFC 9559 codec mappings, `A_PCM`. */
function pcmOf(codec: string): { id: string; bits: number } {
  const [, kind, bits] = /^pcm_([usf])(\d+)/.exec(codec) ?? [];
  return { id: kind === 'f' ? 'A_PCM/FLOAT/IEEE' : 'A_PCM/INT/LIT', bits: Number(bits) };
}

/** Milliseconds: the file's clock is one of whole ones. */
const NEAR_MILLISECONDS = 2;
function longest({ frames, rate, audio }: Outcome): number {
  return Math.max(
    (1000 * frames * rate.den) / rate.num,
    ...audio.map(({ samples, sampleRate }) => (1000 * samples) / sampleRate),
  );
}

/** RFC 9559, 5.1.4.1.28.9: 1 top field first, 6 bottom; 9 and 14 say besides that the fields are woven, and in which order. */
const fieldOrders: Readonly<Record<string, readonly number[]>> = {
  'top-first': [1, 9],
  'bottom-first': [6, 14],
};
/** 5.1.4.1.28.14: pixels, and the shape of the picture. */
const [PIXELS, SHAPE] = [0, 3];

function displayed(what: 'DisplayWidth' | 'DisplayHeight', situation: Situation): Wanted {
  const { outcome, matroska } = situation;
  const find = (name: string): number | undefined =>
    matroska.file.elements.find(({ path }) => path === `Tracks/TrackEntry[1]/Video/${name}`)?.value as
      | number
      | undefined;
  const { num, den } = outcome.pixelAspect;
  const [width, height, unit] = [find('DisplayWidth'), find('DisplayHeight'), find('DisplayUnit') ?? PIXELS];
  if (width === undefined || height === undefined)
    return what === 'DisplayWidth' ? outcome.width : outcome.height;
  return () =>
    unit === SHAPE
      ? BigInt(width) * BigInt(outcome.height) * BigInt(den) ===
        BigInt(height) * BigInt(outcome.width) * BigInt(num)
      : height === outcome.height && Math.abs(width - (outcome.width * num) / den) < 1;
}

/** The picture's private data: a BITMAPINFOHEADER before the record, or the record alone. */
function isPrivate({ outcome, matroska }: Situation, digits: Value): boolean {
  const bytes = Buffer.from(String(digits), 'hex');
  if (matroska.file.tracks[0]?.codecId === 'V_FFV1') return true;
  return (
    bytes.length > 40 &&
    bytes.readInt32LE(4) === outcome.width &&
    Math.abs(bytes.readInt32LE(8)) === outcome.height &&
    [bytes.length, bytes.length - 1, 40].includes(bytes.readUInt32LE(0)) &&
    bytes.readUInt16LE(12) === 1 &&
    // Of what is coded it says nothing: 24 bits, and a picture of three bytes a pixel.
    bytes.readUInt16LE(14) === 24 &&
    [0, 3 * outcome.width * outcome.height].includes(bytes.readUInt32LE(20)) &&
    bytes.toString('latin1', 16, 20) === 'FFV1' &&
    bytes.subarray(24, 40).every((byte) => byte === 0)
  );
}

const WRITER = /^(?:Lavf[\d.]*|Lavc[\d.]*(?: [a-z0-9_]+)?)$/;
const colours =
  (tag: 'primaries' | 'transfer' | 'matrix') =>
  ({ outcome }: Situation): Wanted =>
    codePoint(tag, outcome.colour[tag]);

/** By path without numbers. */
const wanted: Readonly<Record<string, (situation: Situation) => Wanted>> = {
  'EBML/EBMLVersion': () => 1,
  'EBML/EBMLReadVersion': () => 1,
  'EBML/EBMLMaxIDLength': () => 4,
  'EBML/EBMLMaxSizeLength': () => 8,
  'EBML/DocType': () => 'matroska',
  'EBML/DocTypeVersion': () => [2, 3, 4],
  'EBML/DocTypeReadVersion': () => [1, 2, 3, 4],
  'Info/TimestampScale': () => 1_000_000,
  'Info/MuxingApp': () => null,
  'Info/WritingApp': () => null,
  'Info/SegmentUUID': () => null,
  'Info/Duration':
    ({ outcome }) =>
    (value) =>
      Math.abs(Number(value) - longest(outcome)) <= NEAR_MILLISECONDS,
  'Tracks/TrackEntry/TrackNumber': ({ track }) => track,
  'Tracks/TrackEntry/TrackUID': () => (value) => value !== '0',
  'Tracks/TrackEntry/TrackType': (situation) => (isPicture(situation) ? 1 : 2),
  // Nothing is laced.
  'Tracks/TrackEntry/FlagLacing': () => 0,
  // ffmpeg says it of one track of a kind, or of none.
  'Tracks/TrackEntry/FlagDefault': () => [0, 1],
  'Tracks/TrackEntry/Language': () => 'und',
  // Held to the rate with the codec (checks/codec.ts), for rounding.
  'Tracks/TrackEntry/DefaultDuration': (situation) => (isPicture(situation) ? null : []),
  'Tracks/TrackEntry/CodecID': (situation) =>
    isPicture(situation) ? ['V_MS/VFW/FOURCC', 'V_FFV1'] : pcmOf(audioOf(situation)?.codec ?? '').id,
  'Tracks/TrackEntry/CodecPrivate': (situation) =>
    isPicture(situation) ? (value) => isPrivate(situation, value) : [],
  'Tracks/TrackEntry/Video/PixelWidth': ({ outcome }) => outcome.width,
  'Tracks/TrackEntry/Video/PixelHeight': ({ outcome }) => outcome.height,
  // 0 not said, 1 fields, 2 whole frames.
  'Tracks/TrackEntry/Video/FlagInterlaced': ({ outcome: { fieldOrder } }) =>
    fieldOrder === 'progressive' ? [0, 2] : 1,
  'Tracks/TrackEntry/Video/FieldOrder': ({ outcome: { fieldOrder } }) => fieldOrders[fieldOrder] ?? [0, 2],
  'Tracks/TrackEntry/Video/DisplayWidth': (situation) => displayed('DisplayWidth', situation),
  'Tracks/TrackEntry/Video/DisplayHeight': (situation) => displayed('DisplayHeight', situation),
  'Tracks/TrackEntry/Video/DisplayUnit': () => [PIXELS, SHAPE],
  'Tracks/TrackEntry/Video/Colour/Primaries': colours('primaries'),
  'Tracks/TrackEntry/Video/Colour/TransferCharacteristics': colours('transfer'),
  'Tracks/TrackEntry/Video/Colour/MatrixCoefficients': colours('matrix'),
  'Tracks/TrackEntry/Video/Colour/Range': ({ outcome: { colour } }) =>
    colour.range === 'full' ? 2 : colour.range === 'limited' ? 1 : 0,
  // Where chroma lies is no part of the outcome: as the source has it.
  'Tracks/TrackEntry/Video/Colour/ChromaSitingHorz': () => [0, 1, 2],
  'Tracks/TrackEntry/Video/Colour/ChromaSitingVert': () => [0, 1, 2],
  'Tracks/TrackEntry/Audio/Channels': (situation) => audioOf(situation)?.channels ?? [],
  'Tracks/TrackEntry/Audio/SamplingFrequency': (situation) => audioOf(situation)?.sampleRate ?? [],
  'Tracks/TrackEntry/Audio/BitDepth': (situation) => pcmOf(audioOf(situation)?.codec ?? '').bits,
  'Tags/Tag/Targets/TargetTypeValue': () => null,
  'Tags/Tag/Targets/TagTrackUID':
    ({ matroska }) =>
    (value) =>
      value === '0' || matroska.file.tracks.some(({ uid }) => uid === value),
  'Tags/Tag/SimpleTag/TagName': () => null,
  'Tags/Tag/SimpleTag/TagString': () => null,
  'Tags/Tag/SimpleTag/TagLanguage': () => 'und',
  'Tags/Tag/SimpleTag/TagDefault': () => 1,
};
/** Held against the parts themselves. */
const pointing = /^(?:SeekHead|Cues)\//;

const holds = (expected: Exclude<Wanted, null>, value: Value): boolean =>
  typeof expected === 'function'
    ? expected(value)
    : typeof expected === 'object'
      ? expected.includes(value)
      : expected === value;
const shown = (value: Value): string =>
  typeof value === 'number' ? String(value) : `"${printable(value.slice(0, 80))}"`;
const inWords = (expected: Exclude<Wanted, null>): string =>
  typeof expected === 'function'
    ? 'as the outcome has it'
    : typeof expected === 'object'
      ? expected.length === 0
        ? 'none here'
        : expected.map(shown).join(' or ')
      : shown(expected);

const at = (path: string, byte: number): string => `${printable(path)} at byte ${byte}`;
const differs = (where: string, found: string, expected: string): Fault => ({
  code: 'container-differs',
  found: `${where}: ${found}`,
  expected,
});

function judgeElement(said: SaidElement, situation: Situation): Fault | null {
  const where = at(said.path, said.at);
  if (!said.listed)
    return {
      code: 'container-part-unknown',
      found: `${where}: ${said.value === null ? `${said.bytes} bytes` : said.value}`,
      expected: 'no such element here',
    };
  if (said.value === null || pointing.test(said.path)) return null;
  const kind = said.path.replace(/\[\d+\]/g, '');
  const expectedOf = wanted[kind];
  const expected = expectedOf?.(situation);
  if (expected === undefined)
    return { code: 'container-part-unknown', found: where, expected: 'no such element here' };
  return expected === null || holds(expected, said.value)
    ? null
    : differs(where, shown(said.value), inWords(expected));
}

/** What an editor goes by, and what names the clip: none of them but our own. */
const NAMING = /^(?:TITLE|SUBTITLE|TIMECODE|REEL|REEL_NAME|PART_NUMBER|DATE_.*|LAW_RATING|.*_NUMBER)$/;

/** RFC 9559, 5.1.8, and the names of the Matroska tag registry: time, reel, and what the encoder calls itself. */
function judgeTags({ file }: MeasuredMatroska, outcome: Outcome): { faults: Fault[]; notes: Fault[] } {
  const [faults, notes]: [Fault[], Fault[]] = [[], []];
  const named = file.elements.filter(({ path }) => /\/SimpleTag\[\d+\]\/TagName$/.test(path));
  const seen = new Set<string>();
  for (const [index, { name, track, value }] of file.tags.entries()) {
    const element = named[index];
    const where = element === undefined ? name : at(element.path, element.at);
    const kind =
      track === null ? 'file' : file.tracks.findIndex(({ uid }) => uid === track) === 0 ? 'picture' : 'audio';
    const key = `${track}/${name}`;
    if (seen.has(key)) faults.push(differs(where, `${shown(name)} twice`, 'each once'));
    seen.add(key);
    const expected =
      name === 'TIMECODE'
        ? outcome.timecode === null || kind === 'audio'
          ? null
          : formatTimecode(outcome.timecode)
        : name === 'REEL_NAME'
          ? kind === 'picture'
            ? outcome.reel
            : null
          : undefined;
    if (expected === null) faults.push(differs(where, `${shown(name)} ${shown(value)}`, 'no such tag here'));
    else if (expected !== undefined) {
      if (value !== expected) faults.push(differs(where, `${shown(name)} ${shown(value)}`, shown(expected)));
    } else if (name === 'ENCODER') {
      if (!WRITER.test(value))
        notes.push({
          code: 'container-part-informative',
          found: `${where}: ${shown(value)}`,
          expected: 'the name of the encoder',
        });
    } else if (name === 'DURATION') {
      if (
        !isLength(
          value,
          file.tracks.findIndex(({ uid }) => uid === track),
          outcome,
        )
      )
        faults.push(differs(where, shown(value), 'the length of the track'));
    } else if (NAMING.test(name))
      faults.push(differs(where, `${shown(name)} ${shown(value)}`, 'no such tag here'));
    else
      notes.push({
        code: 'container-part-informative',
        found: `${where}: ${shown(name)} ${shown(value)}`,
        expected: 'nothing',
      });
  }
  return { faults, notes };
}

function isLength(value: string, track: number, outcome: Outcome): boolean {
  const [, hours, minutes, seconds] = /^(\d+):(\d\d):(\d\d\.\d+)$/.exec(value) ?? [];
  const said = 1000 * (3600 * Number(hours) + 60 * Number(minutes) + Number(seconds));
  const audio = outcome.audio[track - 1];
  const wantedMilliseconds =
    track === 0
      ? (1000 * outcome.frames * outcome.rate.den) / outcome.rate.num
      : audio === undefined
        ? Number.NaN
        : (1000 * audio.samples) / audio.sampleRate;
  return Math.abs(said - wantedMilliseconds) <= NEAR_MILLISECONDS;
}

/** RFC 9559, 6: what a seek head and cues point at is there. */
function* judgePointers({ file }: MeasuredMatroska): Generator<Fault> {
  const places = new Map(file.parts.map((part): [number, MatroskaPart] => [part.position, part]));
  const of = (path: string): SaidElement | undefined => file.elements.find((said) => said.path === path);
  for (const { path } of file.elements.filter((said) => /^SeekHead\/Seek\[\d+\]$/.test(said.path))) {
    const [id, position] = [of(`${path}/SeekID`), of(`${path}/SeekPosition`)];
    const part = places.get(Number(position?.value ?? -1));
    if (id === undefined || position === undefined || part === undefined || part.id.toString(16) !== id.value)
      yield differs(
        at(path, position?.at ?? 0),
        `0x${id?.value ?? ''} at ${position?.value ?? 'no place'}`,
        'the place of that part',
      );
  }
  const blocks = new Set(
    file.pictureBlocks.map(({ track, time, cluster, relative }) => `${track}/${time}/${cluster}/${relative}`),
  );
  // One pass: there is a point for every picture.
  const point = new Map<string, Map<string, SaidElement>>();
  for (const said of file.elements) {
    const [, number, name] =
      /^Cues\/CuePoint\[(\d+)\]\/(?:CueTrackPositions\/)?(Cue[A-Za-z]+)$/.exec(said.path) ?? [];
    if (number === undefined || name === undefined || name === 'CueTrackPositions') continue;
    const fields = point.get(number) ?? new Map<string, SaidElement>();
    point.set(number, fields.set(name, said));
  }
  for (const [number, fields] of point) {
    const value = (name: string): Value => fields.get(name)?.value ?? -1;
    const key = `${value('CueTrack')}/${value('CueTime')}/${value('CueClusterPosition')}/${value('CueRelativePosition')}`;
    if (!blocks.has(key)) {
      yield differs(
        at(`Cues/CuePoint[${number}]`, fields.get('CueTime')?.at ?? 0),
        `track ${value('CueTrack')} at ${value('CueTime')} ms, in byte ${value('CueRelativePosition')} of the cluster at ${value('CueClusterPosition')}`,
        'a picture of that time in that place',
      );
      return;
    }
  }
}

/** RFC 8794, 11.3.1: every part but padding has its checksum, as ffmpeg writes them since version 3 of its Matroska. */
function* judgeParts({ file }: MeasuredMatroska): Generator<Fault> {
  const once: readonly number[] = [
    SEGMENT_PARTS.seekHead,
    SEGMENT_PARTS.info,
    SEGMENT_PARTS.tracks,
    SEGMENT_PARTS.tags,
    SEGMENT_PARTS.cues,
  ];
  for (const [index, { id, at: byte, checksum }] of file.parts.entries()) {
    const name =
      Object.entries(SEGMENT_PARTS).find(([, value]) => value === id)?.[0] ?? `0x${id.toString(16)}`;
    if (id !== SEGMENT_PARTS.void && !checksum) yield differs(at(name, byte), 'no checksum', 'a checksum');
    if (once.includes(id) && file.parts.findIndex((part) => part.id === id) !== index)
      yield differs(at(name, byte), 'a second one', 'one');
  }
  for (const id of once)
    if (!file.parts.some((part) => part.id === id))
      yield {
        code: 'container-part-absent',
        found: `no element 0x${id.toString(16)} in the segment`,
        expected: 'one',
      };
}

/** Of the picture: what must be there, and not only right where it is. */
const needed = [
  'Video/PixelWidth',
  'Video/PixelHeight',
  'CodecID',
  'CodecPrivate',
  'DefaultDuration',
  'TrackNumber',
  'TrackUID',
  'TrackType',
] as const;
function* judgeAbsent({ file }: MeasuredMatroska, outcome: Outcome): Generator<Fault> {
  const paths = new Set(file.elements.map(({ path }) => path));
  const { primaries, transfer, matrix, range } = outcome.colour;
  const wantedHere = [
    ...needed,
    ...(primaries === null ? [] : ['Video/Colour/Primaries']),
    ...(transfer === null ? [] : ['Video/Colour/TransferCharacteristics']),
    ...(matrix === null ? [] : ['Video/Colour/MatrixCoefficients']),
    ...(range === null ? [] : ['Video/Colour/Range']),
    ...(outcome.fieldOrder === 'top-first' || outcome.fieldOrder === 'bottom-first'
      ? ['Video/FieldOrder']
      : []),
  ].map((name) => `Tracks/TrackEntry[1]/${name}`);
  const audio = outcome.audio.flatMap((_, index) =>
    ['Audio/Channels', 'Audio/SamplingFrequency', 'Audio/BitDepth', 'CodecID'].map(
      (name) => `Tracks/TrackEntry[${index + 2}]/${name}`,
    ),
  );
  for (const path of ['Info/TimestampScale', 'Info/Duration', ...wantedHere, ...audio])
    if (!paths.has(path)) yield { code: 'container-part-absent', found: `no ${path}`, expected: path };
}

/** Each block where its pictures or samples lie, to the file's whole milliseconds; and as many samples as were decided. */
function* judgeBlocks({ file }: MeasuredMatroska, outcome: Outcome): Generator<Fault> {
  for (const [index, { times, sizes }] of file.tracks.entries()) {
    const audio = outcome.audio[index - 1];
    const bytes = audio === undefined ? 0 : (audio.channels * pcmOf(audio.codec).bits) / 8;
    let samples = 0;
    for (const [block, time] of times.entries()) {
      const exact =
        index === 0 || audio === undefined
          ? (1000 * block * outcome.rate.den) / outcome.rate.num
          : (1000 * samples) / audio.sampleRate;
      if (Math.abs(time - exact) > 1) {
        yield {
          code: 'samples-not-in-place',
          found: `track ${index + 1}, block ${block + 1} at ${time} ms`,
          expected: `at ${exact.toFixed(2)} ms`,
        };
        break;
      }
      if (audio !== undefined) samples += (sizes[block] as number) / bytes;
    }
    const whole = sizes.reduce((sum, size) => sum + size, 0) / bytes;
    if (audio !== undefined && whole !== audio.samples)
      yield {
        code: 'samples-not-in-place',
        found: `track ${index + 1}: ${whole} samples in its blocks`,
        expected: `${audio.samples}`,
      };
  }
}

/** Room behind the seek head, for a longer one: what our encoder leaves. */
const USUAL_VOID = 128;

export function judgeMatroska(matroska: MeasuredMatroska, outcome: Outcome, facts: ClipFacts | null): Judged {
  const { file } = matroska;
  const faults: Fault[] = [];
  const notes: Fault[] = [];
  for (const said of file.elements) {
    const track = Number(/^Tracks\/TrackEntry\[(\d+)\]/.exec(said.path)?.[1] ?? 0);
    if (said.path.endsWith('/Void')) {
      notes.push({
        code: 'container-part-informative',
        found: `${at(said.path, said.at)}: ${said.bytes} bytes`,
        expected: 'nothing',
      });
      continue;
    }
    const fault = judgeElement(said, { outcome, matroska, track });
    if (fault !== null) faults.push(fault);
    if (/^Info\/(?:Muxing|Writing)App$/.test(said.path) && !WRITER.test(String(said.value)))
      notes.push({
        code: 'container-part-informative',
        found: `${at(said.path, said.at)}: ${shown(said.value ?? '')}`,
        expected: 'the name of the encoder',
      });
  }
  for (const part of file.parts)
    if (part.id === SEGMENT_PARTS.void && part.bytes > USUAL_VOID)
      notes.push({
        code: 'container-part-informative',
        found: `${at('Void', part.at)}: ${part.bytes} bytes`,
        expected: 'nothing',
      });
  const tags = judgeTags(matroska, outcome);
  faults.push(
    ...judgeAbsent(matroska, outcome),
    ...judgeParts(matroska),
    ...judgePointers(matroska),
    ...judgeBlocks(matroska, outcome),
    ...tags.faults,
  );
  notes.push(...tags.notes);
  const picture = file.tracks[0];
  if (facts !== null && picture?.times.length !== facts.video.frames)
    faults.push({
      code: 'samples-not-in-place',
      found: `${picture?.times.length ?? 0} blocks of the picture`,
      expected: `${facts.video.frames}, as packets were counted`,
    });
  if (file.tracks.length !== 1 + outcome.audio.length)
    faults.push({
      code: 'container-part-unknown',
      found: `${file.tracks.length} tracks`,
      expected: `${1 + outcome.audio.length}`,
    });
  return { faults, notes, parts: file.parts.length, fields: file.elements.length };
}
