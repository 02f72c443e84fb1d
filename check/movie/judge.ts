/**
 * Whether a deliverable's file says what was decided and nothing else: every box is on the list, every field is what it must be, the sample
 * tables agree with each other, with the packets that were counted and with every byte of the media data. Pure.
 */
import { printable } from '../../files/names.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Fault, Judged } from '../container-verdict.ts';
import { type Box, place } from './boxes.ts';
import {
  bitsRule,
  bytesOfSample,
  codePoint,
  ENCODER_NAME,
  entryTypes,
  expectations,
  meanRule,
  mediaTime,
  type Rule,
  type Situation,
  type Wanted,
} from './expected.ts';
import type { Fields } from './fields.ts';
import { differs } from './differs.ts';
import { pixelAspectText } from './pixel-aspect.ts';
import { judgeHevc } from './judge-h265.ts';
import { isRoomy, reordered } from './order.ts';
import { judgeUnlisted, listedPath, type Presence, type Role, rolesOf, rowOf, rowsBelow } from './known.ts';
import { judgeMediaData } from './media-data.ts';
import { below, entryOf, type Movie, type MovieTrack } from './read.ts';
import type { SampleTables } from './samples.ts';

const isRule = (wanted: Wanted): wanted is Rule => typeof wanted === 'object' && 'holds' in wanted;

function holds(wanted: Wanted, value: number | string): boolean {
  if (isRule(wanted)) return wanted.holds(value);
  return typeof wanted === 'object' ? wanted.includes(value) : wanted === value;
}

const shown = (value: number | string): string =>
  typeof value === 'number' ? String(value) : `"${printable(value)}"`;
function inWords(wanted: Wanted): string {
  if (isRule(wanted)) return wanted.words;
  return typeof wanted === 'object' ? [...new Set(wanted)].map(shown).join(' or ') : shown(wanted);
}

interface Around {
  readonly movie: Movie;
  readonly outcome: Outcome;
  readonly track: MovieTrack | null;
  readonly role: Role | null;
  readonly number: number;
}

const TRACK = 'moov/trak';

class Judge {
  readonly faults: Fault[] = [];
  readonly notes: Fault[] = [];
  parts = 0;
  fields = 0;

  /** Boxes directly below `parent`, and what lies in them. */
  children(parentPath: string, parentAt: number, boxes: readonly Box[], around: Around): void {
    const counted = new Map<string, number>();
    for (const box of boxes) {
      const path = listedPath(box.path);
      counted.set(path, (counted.get(path) ?? 0) + 1);
      this.box(box, around, counted.get(path) as number);
    }
    for (const row of rowsBelow(parentPath)) {
      if (row.path === TRACK || row.path.endsWith('/stsd/entry')) continue;
      const presence: Presence = row.when?.(around) ?? 'once';
      if (presence === 'once' && !counted.has(row.path))
        this.faults.push({
          code: 'container-part-absent',
          found: `${place(parentPath === '' ? 'file' : parentPath, parentAt)}: no ${printable(row.path.split('/').at(-1) as string)}`,
          expected: `${printable(row.path)} (${row.source})`,
        });
    }
  }

  box(box: Box, around: Around, nth: number): void {
    this.parts += 1;
    const row = rowOf(box.path);
    const presence = row === undefined ? 'never' : (row.when?.(around) ?? 'once');
    const isEntry = row?.path.endsWith('/stsd/entry') === true;
    if (row === undefined || presence === 'never' || (isEntry && !isWantedEntry(box, around))) {
      this.unlisted(box, around);
      return;
    }
    if (nth > 1 && row.path !== TRACK) {
      this.faults.push({
        code: 'container-part-unknown',
        found: `${place(box.path, box.at)}: number ${nth} of its kind`,
        expected: 'one',
      });
      return;
    }
    if (box.openEnded || (box.start - box.at > 8 && box.type !== 'mdat'))
      this.faults.push(
        differs(
          { path: box.path, at: box.at },
          'size',
          box.openEnded ? 'up to the end of the file' : 'in 64 bits',
          'in 32 bits',
        ),
      );
    const fields = around.movie.fields.get(box);
    if (fields !== undefined) this.values(box, fields, around);
    else if (box.type === 'colr')
      this.faults.push(
        differs(
          { path: box.path, at: box.start },
          'type',
          'that is none of ours',
          around.outcome.container === 'mov' ? '"nclc"' : '"nclx"',
        ),
      );
    if (fields === undefined && judgeUnlisted(box, null) === 'note') this.note(box);
    this.tail(box);
    // Tracks are walked by their roles.
    if (row.path !== TRACK && (box.children.length > 0 || rowsBelow(box.path).length > 0))
      this.children(box.path, box.at, box.children, around);
  }

  unlisted(box: Box, { movie }: Around): void {
    const verdict = judgeUnlisted(box, movie.uuids.get(box) ?? null);
    if (verdict === 'note') this.note(box);
    if (verdict === 'holds')
      this.faults.push({
        code: 'container-part-unknown',
        found: `${place(box.path, box.at)}: ${box.end - box.at} bytes`,
        expected: 'no such box here',
      });
  }

  note(box: Box): void {
    this.notes.push({
      code: 'container-part-informative',
      found: `${place(box.path, box.at)}: ${box.end - box.at} bytes`,
      expected: 'nothing, or what players do not obey',
    });
  }

  values(box: Box, fields: Fields, around: Around): void {
    const situation: Situation = { ...around, box, fields };
    const wanted: Readonly<Record<string, Wanted>> = expectations[fields.layout](situation);
    for (const [name, { at, value }] of fields.values) {
      this.fields += 1;
      const expected = wanted[name] as Wanted;
      if (!holds(expected, value))
        this.faults.push(differs({ path: box.path, at }, name, shown(value), inWords(expected)));
      if (name === 'compressor name' && !ENCODER_NAME.test(String(value)))
        this.notes.push({
          code: 'container-part-informative',
          found: `${place(box.path, at)}: ${name} ${shown(value)}`,
          expected: 'the name of the encoder',
        });
    }
    if (box.children.length === 0 && !listsEntries(fields) && fields.end !== box.end - box.tail)
      this.faults.push(
        differs(
          { path: box.path, at: fields.end },
          'end',
          `${box.end - fields.end} bytes behind its fields`,
          'of the box',
        ),
      );
  }

  tail(box: Box): void {
    const allowed = listedPath(box.path).endsWith('/stsd/entry')
      ? box.handler === 'tmcd'
        ? [0, 2, 4]
        : [0, 4]
      : box.type === 'udta'
        ? [0, 4]
        : [0];
    if (!allowed.includes(box.tail))
      this.faults.push(
        differs({ path: box.path, at: box.end - box.tail }, 'end', `${box.tail} zero bytes`, 'of the box'),
      );
  }
}

/** Tables whose entries follow their fields, which samples.ts holds to their number. */
const listsEntries = ({ layout }: Fields): boolean =>
  ['stts', 'stss', 'ctts', 'stsc', 'stsz', 'stco', 'co64', 'sdtp', 'dref', 'stsd', 'meta'].includes(layout);

const isWantedEntry = (box: Box, { outcome, role }: Around): boolean =>
  role !== null && entryTypes(outcome, role).includes(box.type);

/** One time for all, in ticks; and each picture once, from the first that is shown on. */
function* judgeTimes(samples: SampleTables, { movie, track, outcome, role }: Around): Generator<Fault> {
  const { times, composition, sizes } = samples;
  const where = times.fields.box;
  if (samples.timed !== sizes.count)
    yield differs(
      { path: where.path, at: where.at },
      'samples',
      `${samples.timed}`,
      `${sizes.count}, as there are sizes`,
    );
  if (samples.composed !== null && samples.composed !== sizes.count && composition !== null)
    yield differs(
      { path: composition.fields.box.path, at: composition.fields.box.at },
      'samples',
      `${samples.composed}`,
      `${sizes.count}, as there are sizes`,
    );
  if (
    role?.kind !== 'picture' ||
    track === null ||
    sizes.count !== outcome.frames ||
    samples.timed !== sizes.count
  )
    return;
  if (times.rows !== 1) {
    yield differs(
      { path: where.path, at: where.at },
      'lengths of pictures',
      `${times.rows}`,
      'one, of all pictures',
    );
    return;
  }
  const step = times.value(0, 1);
  if (composition === null || samples.composed !== sizes.count) return;
  const seen = new Uint8Array(sizes.count);
  let [sample, first] = [0, mediaTime(movie, track)];
  if (!Number.isSafeInteger(first)) first = 0;
  for (let row = 0; row < composition.rows; row += 1)
    for (let index = 0; index < composition.value(row, 0); index += 1, sample += 1) {
      const at = (sample * step + composition.value(row, 1) - first) / step;
      if (!Number.isSafeInteger(at) || at < 0 || at >= sizes.count || seen[at] === 1) {
        yield differs(
          { path: composition.fields.box.path, at: composition.at(row) },
          `time of picture ${sample + 1}`,
          `${at} frames`,
          'each frame once, from 0 on',
        );
        return;
      }
      seen[at] = 1;
    }
}

/** 14496-12, 8.7.4: every run is of the one description. */
function* judgeRuns({ runs }: SampleTables): Generator<Fault> {
  for (let row = 0; row < runs.rows; row += 1)
    if (runs.value(row, 2) !== 1) {
      yield differs(
        { path: runs.fields.box.path, at: runs.at(row) + 8 },
        'description',
        String(runs.value(row, 2)),
        '1',
      );
      return;
    }
}

/** As many samples, of the bytes and the form that were decided; what ffprobe counted is the same. */
function* judgeCounts(
  samples: SampleTables,
  { outcome, role, movie, track }: Around,
  facts: ClipFacts | null,
): Generator<Fault> {
  const { sizes } = samples;
  const { path, at } = sizes.fields.box;
  const line = (what: string, found: number, expected: number): Fault | null =>
    found === expected ? null : differs({ path, at }, what, String(found), String(expected));
  const lines: (Fault | null)[] = [];
  if (role?.kind === 'picture') {
    lines.push(line('samples', sizes.count, outcome.frames));
    if (facts !== null) {
      const { frames, bytes, smallestPacket, largestPacket } = facts.video;
      lines.push(line('samples, beside packets that were counted:', sizes.count, frames));
      lines.push(line('bytes, beside packets that were counted:', samples.bytes, bytes));
      if (sizes.count === frames && sizes.count > 0) {
        let [least, most] = [Number.POSITIVE_INFINITY, 0];
        for (let sample = 0; sample < sizes.count; sample += 1) {
          const size = sizes.of(sample);
          least = Math.min(least, size);
          most = Math.max(most, size);
          if (sizes.all !== null) break;
        }
        lines.push(
          line('bytes of the smallest', least, smallestPacket),
          line('bytes of the largest', most, largestPacket),
        );
      }
    }
    if (outcome.packetBytes !== null)
      lines.push(line('bytes of each', sizes.all ?? Number.NaN, outcome.packetBytes));
  }
  if (role?.kind === 'timecode') lines.push(line('samples', sizes.count, 1), line('bytes', samples.bytes, 4));
  if (role?.kind === 'audio') {
    const { codec, channels, samples: wanted, tolerance } = role.track;
    const bytes = bytesOfSample(codec);
    if (bytes !== null)
      lines.push(
        line('samples', sizes.count, wanted),
        line('bytes of each', sizes.all ?? Number.NaN, bytes * channels),
      );
    else if (track !== null) {
      const heard = samples.ticks - mediaTime(movie, track);
      if (!(heard >= wanted && heard <= wanted + tolerance))
        yield differs(
          { path: samples.times.fields.box.path, at: samples.times.fields.box.at },
          'samples heard',
          `${heard}`,
          `${wanted} to ${wanted + tolerance}`,
        );
      yield* judgeBlocks(samples);
    }
    const counted = facts?.audio[role.index];
    if (counted !== undefined && bytes !== null)
      lines.push(line('samples, beside packets that were counted:', sizes.count, counted.samples));
  }
  for (const fault of lines) if (fault !== null) yield fault;
}

/** 14496-3, 4.5.2.1: blocks of 1024 samples; the last one may be shown shorter. */
const BLOCK = 1024;
function* judgeBlocks({ times }: SampleTables): Generator<Fault> {
  for (let row = 0; row < times.rows; row += 1) {
    const [count, length] = [times.value(row, 0), times.value(row, 1)];
    const last = row === times.rows - 1 && count === 1;
    if (length !== BLOCK && !(last && length > 0 && length < BLOCK))
      yield differs(
        { path: times.fields.box.path, at: times.at(row) },
        'samples of a block',
        `${length}`,
        `${BLOCK}, fewer in the last`,
      );
  }
}

/** Which pictures are called key frames, against the heads of the pictures themselves, and how far they are apart. */
function* judgeKeyFrames(samples: SampleTables, { track, outcome, role }: Around): Generator<Fault> {
  if (
    role?.kind !== 'picture' ||
    (outcome.codec !== 'h264' && outcome.codec !== 'h265') ||
    track?.refreshes === null ||
    track?.refreshes === undefined
  )
    return;
  const { refreshes, box } = track;
  const { sync } = samples;
  const where = sync?.fields.box ?? box;
  const called = new Set<number>();
  if (sync !== null)
    for (let row = 0; row < sync.rows; row += 1) {
      const picture = sync.value(row, 0) - 1;
      if (called.has(picture) || (row > 0 && picture < sync.value(row - 1, 0))) {
        yield differs(
          { path: where.path, at: sync.at(row) },
          'key frame',
          String(picture + 1),
          'each once, in order',
        );
        return;
      }
      called.add(picture);
    }
  const wrong = refreshes.findIndex((refresh, picture) => refresh !== (sync === null || called.has(picture)));
  if (wrong >= 0 || [...called].some((picture) => picture >= refreshes.length)) {
    const row = sync === null || wrong < 0 ? 0 : Math.min(sync.rows - 1, rowFrom(sync, wrong + 1));
    yield differs(
      { path: where.path, at: sync === null || sync.rows === 0 ? where.at : sync.at(row) },
      'key frames',
      `that the pictures are not: number ${wrong + 1}`,
      `those that begin afresh, ${refreshes.filter((one) => one === true).length} of ${refreshes.length}`,
    );
  }
  const most = outcome.keyFrameDistance;
  if (most === null) return;
  let last = 0;
  for (const [picture, refresh] of [...refreshes, true].entries()) {
    if (refresh !== true && !(picture === 0)) continue;
    if (picture - last > most) {
      yield {
        code: 'key-frames-differ',
        found: `${picture - last} pictures from key frame ${last + 1} to ${picture === refreshes.length ? 'the end' : `key frame ${picture + 1}`}`,
        expected: `at most ${most}`,
      };
      return;
    }
    last = picture;
  }
}

function rowFrom(sync: NonNullable<SampleTables['sync']>, picture: number): number {
  for (let row = 0; row < sync.rows; row += 1) if (sync.value(row, 0) >= picture) return row;
  return sync.rows - 1;
}

/** The configuration of H.264 and its sequence parameter set (ITU-T H.264, A.2.4: High; A.3). */
function* judgeAvc({ track, outcome }: Around): Generator<Fault> {
  if (outcome.codec !== 'h264' || track === null || track.avc === null) return;
  const { avc } = track;
  const { sequence, box } = avc;
  const { colour, rate, pixelAspect } = outcome;
  const lines: readonly (readonly [what: string, found: number | string, expected: number | string])[] = [
    ['version', avc.version, 1],
    ['profile', avc.profile, 100],
    ['constraints', avc.constraints, 0],
    [
      'level',
      outcome.maxLevel !== null && avc.level > outcome.maxLevel ? avc.level : 'in its bounds',
      'in its bounds',
    ],
    ['bytes of a length', avc.lengthBytes, 4],
    ['sequence parameter sets', avc.sequenceSets, 1],
    ['picture parameter sets', avc.pictureSets, 1],
    ['record', avc.exact ? 'whole' : 'with other bits, or bytes behind it', 'whole'],
    ['profile of the stream', sequence.profile, 100],
    ['constraints of the stream', sequence.constraints, avc.constraints],
    ['level of the stream', sequence.level, avc.level],
    ['chroma', sequence.chromaFormat, 1],
    ['bits', sequence.bits.join(' and '), '8 and 8'],
    ['size in the stream', `${sequence.width}x${sequence.height}`, `${outcome.width}x${outcome.height}`],
    ['pictures', sequence.framesOnly ? 'whole frames' : 'fields', 'whole frames'],
    ['pixel aspect in the stream', pixelAspectText(sequence.pixelAspect, pixelAspect), 'as decided'],
    ['range in the stream', (sequence.fullRange ?? false) ? 'full' : 'limited', colour.range ?? 'limited'],
    [
      'colours in the stream',
      (sequence.colours ?? [2, 2, 2]).join(', '),
      [
        codePoint('primaries', colour.primaries),
        codePoint('transfer', colour.transfer),
        codePoint('matrix', colour.matrix),
      ].join(', '),
    ],
    [
      'pictures out of order in the stream',
      isRoomy(sequence.reordering, reordered(track.samples))
        ? 'as many as there are'
        : (sequence.reordering ?? []).join(' of '),
      'as many as there are',
    ],
    // E.2.1: ticks of a field.
    [
      'rate in the stream',
      sequence.timing === null ||
      2n * BigInt(sequence.timing[0]) * BigInt(rate.num) === BigInt(sequence.timing[1]) * BigInt(rate.den)
        ? 'as decided'
        : `${sequence.timing[1]}/${2 * sequence.timing[0]}`,
      'as decided',
    ],
  ];
  for (const [what, found, expected] of lines)
    if (found !== expected)
      yield differs({ path: box.path, at: box.at }, what, String(found), String(expected));
}

/** The descriptor of AAC (14496-1, 14496-3): low complexity, as many channels, at the rate and in the bits that were asked for. */
function* judgeStream(around: Around): Generator<Fault> {
  const { track, role, number } = around;
  if (role?.kind !== 'audio' || track === null || track.stream === null) return;
  const { stream } = track;
  const { box } = stream;
  const lines: readonly (readonly [what: string, found: number | string, expected: number | string])[] = [
    ['version and flags', stream.version, 0],
    // 14496-14, 3.1.2: zero, or the low bits of the track's number.
    ['stream', stream.id === 0 ? number : stream.id, number],
    ['flags of the stream', stream.flags, 0],
    ['type of object', stream.objectType, 0x40],
    ['type of stream', stream.streamType, 0x15],
    ['buffer', stream.buffer, 0],
    ['object of the audio', stream.audioObject, 2],
    ['configuration', stream.plain ? 'plain' : 'with an extension', 'plain'],
    ['sample rate', stream.sampleRate, role.track.sampleRate],
    ['channels', stream.channels === 0 ? role.track.channels : stream.channels, role.track.channels],
    ['descriptor', stream.exact ? 'whole' : 'with parts that are not ours', 'whole'],
  ];
  for (const [what, found, expected] of lines)
    if (found !== expected)
      yield differs({ path: box.path, at: box.at }, what, String(found), String(expected));
  const fields: Fields = { box, layout: 'btrt', values: new Map(), end: box.end };
  const situation: Situation = { ...around, box, fields };
  for (const [what, found, wanted] of [
    ['most bits a second', stream.mostBits, bitsRule(situation)],
    ['mean bits a second', stream.meanBits, meanRule(situation)],
  ] as const)
    if (!holds(wanted, found))
      yield {
        code: 'bit-rate-differs',
        found: `${place(box.path, box.at)}: ${what} ${found}`,
        expected: `${what} ${inWords(wanted)}`,
      };
}

/** 14496-12, 4.3 and the order of ours: what a player needs first stands first in MP4. */
function* judgeOrder({ file }: Movie, { container }: Outcome): Generator<Fault> {
  const first = (type: string): Box | undefined => file.boxes.find((box) => box.type === type);
  const [type, index, data] = [first('ftyp'), first('moov'), first('mdat')];
  if (type !== undefined && type.at !== 0)
    yield differs(
      { path: type.path, at: type.at },
      'place',
      'behind other boxes',
      'at the beginning of the file',
    );
  if (container === 'mp4' && index !== undefined && data !== undefined && index.at > data.at)
    yield differs(
      { path: index.path, at: index.at },
      'place',
      'behind the media data',
      'before it, so that a player can begin at once',
    );
}

/** `facts`: what ffprobe counted; null: it could not. */
export function judgeMovie(movie: Movie, outcome: Outcome, facts: ClipFacts | null): Judged {
  const judge = new Judge();
  const whole: Around = { movie, outcome, track: null, role: null, number: 0 };
  judge.children('', 0, movie.file.boxes, whole);
  judge.faults.push(...judgeOrder(movie, outcome));
  const roles = rolesOf(outcome);
  for (const [index, track] of movie.tracks.entries()) {
    const role = roles[index] ?? null;
    const around: Around = { movie, outcome, track, role, number: index + 1 };
    if (role === null || track.handler !== role.handler) {
      judge.faults.push({
        code: 'container-part-unknown',
        found: `${place(track.box.path, track.box.at)}: a track of ${printable(track.handler ?? 'nothing')}`,
        expected: role === null ? `${roles.length} tracks` : `a track of ${role.handler}`,
      });
      continue;
    }
    judge.children(track.box.path, track.box.at, track.box.children, around);
    if (entryOf(track.box) === undefined || track.samples === null)
      judge.faults.push({
        code: 'container-part-absent',
        found: `${place(track.box.path, track.box.at)}: no sample description, or no samples`,
        expected: 'one description, and samples',
      });
    // 14496-12, 8.7.5: exactly one of the two forms.
    const table = below(track.box, 'mdia', 'minf', 'stbl');
    const offsets = table?.children.filter(({ type }) => type === 'stco' || type === 'co64') ?? [];
    if (offsets.length > 1 && table !== undefined)
      judge.faults.push({
        code: 'container-part-unknown',
        found: `${place(table.path, table.at)}: ${offsets.length} lists of chunk offsets`,
        expected: 'one',
      });
    if (track.samples === null) continue;
    judge.faults.push(
      ...judgeRuns(track.samples),
      ...judgeTimes(track.samples, around),
      ...judgeCounts(track.samples, around, facts),
      ...judgeKeyFrames(track.samples, around),
      ...judgeAvc(around),
      ...judgeHevc(around),
      ...judgeStream(around),
    );
  }
  if (movie.tracks.length < roles.length)
    judge.faults.push({
      code: 'container-part-absent',
      found: `${place(movie.index.path, movie.index.at)}: ${movie.tracks.length} tracks`,
      expected: `${roles.length} tracks`,
    });
  judge.faults.push(...judgeMediaData(movie));
  const { faults, notes, parts, fields } = judge;
  return { faults, notes, parts, fields };
}
