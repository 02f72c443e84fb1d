/** Edits of real deliverables: what players obey and packet readers do not show, each a single change of one field or one box. */
import { box, type MovieEditor, words } from '../../support/movie-editor.ts';

export type Kind = 'vc3' | 'rdd36' | 'h264';
export interface Edit {
  readonly title: string;
  readonly kinds: readonly Kind[];
  /** null: the file as it comes out of the editor; else bytes behind it. */
  readonly apply: (file: MovieEditor, bytes: Buffer) => Buffer;
  /** What the finding must name. */
  readonly says: RegExp;
  readonly note?: true;
}

const all: readonly Kind[] = ['vc3', 'rdd36', 'h264'];
const mov: readonly Kind[] = ['vc3', 'rdd36'];
const entryOf: Readonly<Record<Kind, string>> = { vc3: 'AVdh', rdd36: 'apco', h264: 'avc1' };

const PICTURE = 'moov/trak[1]';
const AUDIO = 'moov/trak[2]';
const SECOND_AUDIO = 'moov/trak[3]';
const stsdOf = (file: MovieEditor, track: string): string => {
  const stsd = `${track}/mdia/minf/stbl/stsd`;
  const type = [...Object.values(entryOf), 'tmcd', 'in24', 'mp4a'].find((one) => file.has(`${stsd}/${one}`));
  if (type === undefined) throw new Error(`no entry in ${stsd}`);
  return `${stsd}/${type}`;
};
const timecodeTrack = (file: MovieEditor): string =>
  [2, 3, 4, 5]
    .map((number) => `moov/trak[${number}]`)
    .find((path) => file.has(`${stsdOf(file, path)}`) && stsdOf(file, path).endsWith('/tmcd')) as string;

const u8 = (value: number): Buffer => Buffer.from([value]);
const u16 = (value: number): Buffer => Buffer.from([value >> 8, value & 255]);
const text = (value: string): Buffer => Buffer.from(value, 'latin1');

/** One field at its place in a box: places count from behind the header (ISO/IEC 14496-12, version 0). */
const field = (
  title: string,
  kinds: readonly Kind[],
  path: string | ((file: MovieEditor) => string),
  at: number,
  value: Buffer,
  says: RegExp,
): Edit => ({
  title,
  kinds,
  apply: (file) => file.write(typeof path === 'string' ? path : path(file), at, value).bytes(),
  says,
});

const colr = (type: 'nclc' | 'nclx', ...codes: readonly [number, number, number]): Buffer =>
  box('colr', text(type), ...codes.map(u16), ...(type === 'nclx' ? [u8(0)] : []));
const inEntry =
  (bytes: Buffer) =>
  (file: MovieEditor): Buffer =>
    file.insert(stsdOf(file, PICTURE), bytes).bytes();
const userData = (file: MovieEditor, ...bytes: readonly Buffer[]): Buffer =>
  (file.has('moov/udta')
    ? file.insert('moov/udta', Buffer.concat(bytes))
    : file.insert('moov', box('udta', ...bytes))
  ).bytes();

export const edits: readonly Edit[] = [
  // Colours.
  field(
    'a PQ colour box over a BT.709 stream',
    mov,
    (file) => `${stsdOf(file, PICTURE)}/colr`,
    4,
    Buffer.concat([u16(9), u16(16), u16(9)]),
    /colr at byte \d+: primaries 9/,
  ),
  field(
    'the same in H.264',
    ['h264'],
    (file) => `${stsdOf(file, PICTURE)}/colr`,
    6,
    u16(16),
    /colr at byte \d+: transfer 16/,
  ),
  field(
    'full range in the colour box',
    ['h264'],
    (file) => `${stsdOf(file, PICTURE)}/colr`,
    10,
    u8(0x80),
    /colr at byte \d+: range 128/,
  ),
  {
    title: 'the colour box taken out',
    kinds: all,
    apply: (file) => file.remove(`${stsdOf(file, PICTURE)}/colr`).bytes(),
    says: /no colr/,
  },
  {
    title: 'a second colour box that contradicts',
    kinds: mov,
    apply: inEntry(colr('nclc', 9, 16, 9)),
    says: /colr at byte \d+: number 2 of its kind/,
  },
  {
    title: 'a colour profile in the place of colour codes',
    kinds: all,
    apply: (file) => file.write(`${stsdOf(file, PICTURE)}/colr`, 0, text('prof')).bytes(),
    says: /colr at byte \d+: type/,
  },
  {
    title: 'a gamma of its own',
    kinds: mov,
    apply: inEntry(box('gama', words(0x1cccd))),
    says: /gama at byte \d+/,
  },
  {
    title: 'mastering metadata',
    kinds: all,
    apply: inEntry(box('mdcv', Buffer.alloc(24, 1))),
    says: /mdcv at byte \d+/,
  },
  {
    title: 'light levels',
    kinds: all,
    apply: inEntry(box('clli', words(0x03e80190))),
    says: /clli at byte \d+/,
  },
  field(
    'levels of VC-3 as full range',
    ['vc3'],
    (file) => `${stsdOf(file, PICTURE)}/ACLR`,
    8,
    words(2),
    /ACLR at byte \d+: levels 2/,
  ),
  field(
    'another compression class of VC-3',
    ['vc3'],
    (file) => `${stsdOf(file, PICTURE)}/ADHR`,
    4,
    words(1271),
    /ADHR at byte \d+: compression 1271/,
  ),
  // Tracks.
  field(
    'a picture track that is disabled',
    all,
    `${PICTURE}/tkhd`,
    1,
    Buffer.from([0, 0, 2]),
    /trak\[1\]\/tkhd at byte \d+: flags 2/,
  ),
  field(
    'an audio track that is disabled',
    all,
    `${AUDIO}/tkhd`,
    1,
    Buffer.from([0, 0, 2]),
    /trak\[2\]\/tkhd at byte \d+: flags 2/,
  ),
  field(
    'an audio track that is in no movie',
    all,
    `${SECOND_AUDIO}/tkhd`,
    1,
    Buffer.from([0, 0, 0]),
    /trak\[3\]\/tkhd at byte \d+: flags 0/,
  ),
  field(
    'an audio track after the first that is disabled',
    all,
    `${SECOND_AUDIO}/tkhd`,
    1,
    Buffer.from([0, 0, 2]),
    /trak\[3\]\/tkhd at byte \d+: flags 2/,
  ),
  field(
    'audio tracks of which a player plays one',
    all,
    `${SECOND_AUDIO}/tkhd`,
    34,
    u16(1),
    /trak\[3\]\/tkhd at byte \d+: alternate group 1/,
  ),
  field('audio of volume 0', all, `${AUDIO}/tkhd`, 36, u16(0), /trak\[2\]\/tkhd at byte \d+: volume 0/),
  field('balance hard left', all, `${AUDIO}/mdia/minf/smhd`, 4, u16(0xff00), /smhd at byte \d+: balance -1/),
  field('a movie of volume 0', all, 'moov/mvhd', 24, u16(0), /mvhd at byte \d+: volume 0/),
  field(
    'a track matrix that stretches',
    all,
    `${PICTURE}/tkhd`,
    40,
    words(0x20000),
    /tkhd at byte \d+: matrix "2 0 0/,
  ),
  field(
    'a track matrix that moves',
    all,
    `${PICTURE}/tkhd`,
    64,
    words(100 << 16),
    /tkhd at byte \d+: matrix/,
  ),
  field('a movie matrix that stretches', all, 'moov/mvhd', 36, words(0x20000), /mvhd at byte \d+: matrix/),
  field('a track shown wider', all, `${PICTURE}/tkhd`, 76, words(640 << 16), /tkhd at byte \d+: width 640/),
  field('a layer behind others', all, `${PICTURE}/tkhd`, 32, u16(1), /tkhd at byte \d+: layer 1/),
  field('a group of alternatives', all, `${PICTURE}/tkhd`, 34, u16(1), /tkhd at byte \d+: alternate group 1/),
  {
    title: 'tracks in another order',
    kinds: all,
    apply: (file) => file.swap(PICTURE, AUDIO).bytes(),
    says: /a track of soun/,
  },
  {
    title: 'a track more',
    kinds: all,
    apply: (file) =>
      file.insert('moov', Buffer.concat([box('trak', box('tkhd', file.content(`${PICTURE}/tkhd`)))])).bytes(),
    says: /trak\[5\] at byte/,
  },
  {
    title: 'a track less',
    kinds: all,
    apply: (file) => file.remove(SECOND_AUDIO).bytes(),
    says: /3 tracks|a track of tmcd/,
  },
  // Time.
  field('a movie at twice the rate', all, 'moov/mvhd', 20, words(0x20000), /mvhd at byte \d+: rate 2/),
  field(
    'an edit at half the rate',
    all,
    `${PICTURE}/edts/elst`,
    16,
    words(0x8000),
    /elst at byte \d+: media rate 0.5/,
  ),
  {
    title: 'half of the movie',
    kinds: all,
    apply: (file) =>
      file.write('moov/mvhd', 16, words(file.content('moov/mvhd').readUInt32BE(16) >> 1)).bytes(),
    says: /mvhd at byte \d+: duration/,
  },
  {
    title: 'half of an edit',
    kinds: all,
    apply: (file) =>
      file
        .write(`${PICTURE}/edts/elst`, 8, words(file.content(`${PICTURE}/edts/elst`).readUInt32BE(8) >> 1))
        .bytes(),
    says: /elst at byte \d+: duration/,
  },
  {
    title: 'the first frame cut off by an edit',
    kinds: mov,
    apply: (file) => file.write(`${PICTURE}/edts/elst`, 12, words(1001)).bytes(),
    says: /elst at byte \d+: media time 1001/,
  },
  {
    title: 'a pause before the picture',
    kinds: all,
    apply: (file) => {
      const elst = file.content(`${PICTURE}/edts/elst`);
      return file
        .replaceContent(
          `${PICTURE}/edts/elst`,
          Buffer.concat([words(0, 2, 1000, -1, 0x10000), elst.subarray(8)]),
        )
        .bytes();
    },
    says: /elst at byte \d+: entries 2/,
  },
  {
    title: 'audio a sample later by its edit',
    kinds: mov,
    apply: (file) => file.write(`${AUDIO}/edts/elst`, 12, words(1)).bytes(),
    says: /trak\[2\]\/edts\/elst at byte \d+: media time 1/,
  },
  {
    title: 'a picture that is longer by a tick',
    kinds: mov,
    apply: (file) => file.write(`${PICTURE}/mdia/minf/stbl/stts`, 12, words(1002)).bytes(),
    says: /mdhd at byte \d+: duration/,
  },
  {
    title: 'the length of the media halved',
    kinds: all,
    apply: (file) => file.write(`${AUDIO}/mdia/mdhd`, 16, words(1000)).bytes(),
    says: /trak\[2\]\/mdia\/mdhd at byte \d+: duration 1000/,
  },
  field(
    'audio at another rate',
    all,
    `${AUDIO}/mdia/mdhd`,
    12,
    words(44_100),
    /mdhd at byte \d+: time scale 44100/,
  ),
  field(
    'pictures in an order of presentation that is none',
    ['h264'],
    `${PICTURE}/mdia/minf/stbl/ctts`,
    20,
    words(7),
    /ctts at byte \d+: time of picture 2/,
  ),
  // Geometry.
  {
    title: 'a clean aperture',
    kinds: all,
    apply: inEntry(box('clap', words(300, 1, 160, 1, 0, 1, 0, 1))),
    says: /clap at byte \d+/,
  },
  {
    title: 'apertures of a track',
    kinds: mov,
    apply: (file) => file.insert(PICTURE, box('tapt', box('clef', words(0, 300 << 16, 160 << 16)))).bytes(),
    says: /tapt at byte \d+/,
  },
  field(
    'a description of another size',
    all,
    (file) => stsdOf(file, PICTURE),
    24,
    u16(322),
    /stsd\/\w+ at byte \d+: width 322/,
  ),
  field(
    'a depth with alpha',
    all,
    (file) => stsdOf(file, PICTURE),
    74,
    u16(32),
    /stsd\/\w+ at byte \d+: depth 32/,
  ),
  field(
    'pixels that are not square',
    all,
    (file) => `${stsdOf(file, PICTURE)}/pasp`,
    0,
    words(4, 3),
    /pasp at byte \d+: horizontal spacing 4/,
  ),
  field(
    'two fields',
    ['rdd36'],
    (file) => `${stsdOf(file, PICTURE)}/fiel`,
    0,
    Buffer.from([2, 1]),
    /fiel at byte \d+: fields 2/,
  ),
  // Timecode.
  {
    title: 'no reference from the picture to its timecode',
    kinds: all,
    apply: (file) => file.remove(`${PICTURE}/tref`).bytes(),
    says: /trak\[1\] at byte \d+: no tref/,
  },
  field(
    'a reference to the audio instead',
    all,
    `${PICTURE}/tref/tmcd`,
    0,
    words(2),
    /tref\/tmcd at byte \d+: track 2/,
  ),
  {
    title: 'timecode a second later by its edit list',
    kinds: all,
    apply: (file) => {
      const path = `${timecodeTrack(file)}/edts/elst`;
      return file
        .replaceContent(path, Buffer.concat([words(0, 2, 1000, -1, 0x10000), file.content(path).subarray(8)]))
        .bytes();
    },
    says: /elst at byte \d+: entries 2/,
  },
  {
    title: 'timecode half as long',
    kinds: all,
    apply: (file) => file.write(`${timecodeTrack(file)}/tkhd`, 20, words(200)).bytes(),
    says: /tkhd at byte \d+: duration 200/,
  },
  {
    title: 'its one sample half as long',
    kinds: all,
    apply: (file) => file.write(`${timecodeTrack(file)}/mdia/minf/stbl/stts`, 12, words(5005)).bytes(),
    says: /trak\[4\]\/mdia\/mdhd at byte \d+: duration/,
  },
  field(
    'timecode that may be negative',
    all,
    (file) => stsdOf(file, timecodeTrack(file)),
    12,
    words(4),
    /stsd\/tmcd at byte \d+: flags 4/,
  ),
  field(
    'timecode that drops',
    all,
    (file) => stsdOf(file, timecodeTrack(file)),
    12,
    words(1),
    /stsd\/tmcd at byte \d+: flags 1/,
  ),
  field(
    'timecode of another base',
    all,
    (file) => stsdOf(file, timecodeTrack(file)),
    24,
    u8(30),
    /stsd\/tmcd at byte \d+: base 30/,
  ),
  field(
    'timecode of another rate',
    all,
    (file) => stsdOf(file, timecodeTrack(file)),
    20,
    words(1000),
    /stsd\/tmcd at byte \d+: frame duration 1000/,
  ),
  {
    title: 'another reel',
    kinds: mov,
    apply: (file) => file.write(`${stsdOf(file, timecodeTrack(file))}/name`, 4, text('B')).bytes(),
    says: /tmcd\/name at byte \d+: name "B001"/,
  },
  // What names the clip.
  {
    title: 'a foreign name in the user data',
    kinds: all,
    apply: (file) => userData(file, box('\xa9nam', u16(5), u16(0), text('Other'))),
    says: /udta\/.nam at byte \d+/,
  },
  {
    title: 'a foreign timecode in the user data',
    kinds: all,
    apply: (file) => userData(file, box('\xa9TIM', u16(11), u16(0), text('09:00:00:00'))),
    says: /udta\/.TIM at byte \d+/,
  },
  {
    title: 'user data of a track',
    kinds: all,
    apply: (file) => file.insert(PICTURE, box('udta', box('name', text('Other')))).bytes(),
    says: /trak\[1\]\/udta at byte|udta/,
  },
  {
    title: 'a looping movie',
    kinds: all,
    apply: (file) => userData(file, box('LOOP', words(0))),
    says: /udta\/LOOP at byte \d+/,
  },
  {
    title: 'a handler of another name',
    kinds: all,
    apply: (file) => file.write(`${PICTURE}/mdia/hdlr`, 21, text('Other')).bytes(),
    says: /mdia\/hdlr at byte \d+: name/,
  },
  field('French audio', mov, `${AUDIO}/mdia/mdhd`, 20, u16(1), /mdhd at byte \d+: language 1/),
  field(
    'French audio in MP4',
    ['h264'],
    `${AUDIO}/mdia/mdhd`,
    20,
    u16(0x1a41),
    /mdhd at byte \d+: language 6721/,
  ),
  field(
    'a date of the movie',
    all,
    'moov/mvhd',
    4,
    words(0x60000000),
    /mvhd at byte \d+: creation time 1610612736/,
  ),
  field('a date of a track', all, `${AUDIO}/tkhd`, 8, words(1), /tkhd at byte \d+: modification time 1/),
  field('a brand of others', ['h264'], 'ftyp', 8, text('mp71'), /ftyp at byte \d+: compatible brands/),
  // The file.
  {
    title: 'a whole second movie behind the file',
    kinds: all,
    apply: (file, bytes) => file.bytes(bytes.subarray(bytes.indexOf('moov') - 4)),
    says: /moov at byte \d+: number 2 of its kind/,
  },
  {
    title: 'media data behind the file',
    kinds: all,
    apply: (file) => file.bytes(box('mdat', Buffer.alloc(64))),
    says: /mdat at byte \d+: number 2 of its kind/,
  },
  {
    title: 'an unknown box behind the file',
    kinds: all,
    apply: (file) => file.bytes(box('moof', words(0))),
    says: /moof at byte \d+/,
  },
  {
    title: 'fragments announced',
    kinds: all,
    apply: (file) => file.insert('moov', box('mvex', box('trex', words(0, 1, 1, 0, 0, 0)))).bytes(),
    says: /mvex at byte \d+/,
  },
  {
    title: 'bytes of media data that belong to no sample',
    kinds: ['vc3', 'rdd36'],
    apply: (file) => {
      const mdat = file.content('mdat');
      return file.replaceContent('mdat', Buffer.concat([mdat, Buffer.alloc(5)])).bytes();
    },
    says: /mdat at byte \d+: 5 bytes that belong to no sample/,
  },
  {
    title: 'a chunk in the place of another',
    kinds: all,
    apply: (file) => {
      const path = `${PICTURE}/mdia/minf/stbl/stco`;
      return file.write(path, 12, file.content(path).subarray(8, 12)).bytes();
    },
    says: /samples from byte|belong to no sample/,
  },
  {
    title: 'a chunk outside of the media data',
    kinds: all,
    apply: (file) => file.write(`${PICTURE}/mdia/minf/stbl/stco`, 8, words(0)).bytes(),
    says: /stco at byte \d+: samples in bytes 0 to/,
  },
  {
    title: 'media elsewhere',
    kinds: all,
    apply: (file) =>
      file
        .replaceContent(`${PICTURE}/mdia/minf/dinf/dref/url `, Buffer.concat([words(0), text('file:///x\0')]))
        .bytes(),
    says: /url {2}at byte \d+: flags 0/,
  },
  {
    title: 'a movie that may be edited no more',
    kinds: all,
    apply: (file) => file.insert('moov', box('ctab', words(0, 0))).bytes(),
    says: /ctab at byte \d+/,
  },
  {
    title: 'a second list of places, in 64 bits',
    kinds: all,
    apply: (file) => {
      const table = `${PICTURE}/mdia/minf/stbl`;
      const short = file.content(`${table}/stco`);
      const long = Array.from({ length: short.readUInt32BE(4) }, (_, index) => [
        0,
        short.readUInt32BE(8 + 4 * index),
      ]).flat();
      return file.insert(table, box('co64', words(0, short.readUInt32BE(4), ...long))).bytes();
    },
    says: /stbl at byte \d+: 2 lists of chunk offsets/,
  },
  // Pictures and audio.
  {
    title: 'all pictures called key frames',
    kinds: ['h264'],
    apply: (file) => {
      const frames = file.content(`${PICTURE}/mdia/minf/stbl/stsz`).readUInt32BE(8);
      return file
        .replaceContent(
          `${PICTURE}/mdia/minf/stbl/stss`,
          words(0, frames, ...Array.from({ length: frames }, (_, index) => index + 1)),
        )
        .bytes();
    },
    says: /stss at byte \d+: key frames that the pictures are not: number 2/,
  },
  {
    title: 'no list of key frames, as if all were',
    kinds: ['h264'],
    apply: (file) => file.remove(`${PICTURE}/mdia/minf/stbl/stss`).bytes(),
    says: /key frames that the pictures are not/,
  },
  {
    title: 'a list of key frames where every picture is one',
    kinds: mov,
    apply: (file) => file.insert(`${PICTURE}/mdia/minf/stbl`, box('stss', words(0, 1, 1))).bytes(),
    says: /stss at byte \d+/,
  },
  field(
    'another profile of H.264',
    ['h264'],
    (file) => `${stsdOf(file, PICTURE)}/avcC`,
    1,
    u8(77),
    /avcC at byte \d+: profile 77/,
  ),
  field(
    'a level beyond the players',
    ['h264'],
    (file) => `${stsdOf(file, PICTURE)}/avcC`,
    3,
    u8(62),
    /avcC at byte \d+: level 62/,
  ),
  field(
    'audio asked for at a fifth of the rate',
    ['h264'],
    (file) => `${stsdOf(file, AUDIO)}/esds`,
    22,
    words(64_000),
    /esds at byte \d+: most bits a second 64000/,
  ),
  field(
    'audio of another mean rate',
    ['h264'],
    (file) => `${stsdOf(file, AUDIO)}/esds`,
    26,
    words(64_000),
    /esds at byte \d+: mean bits a second 64000/,
  ),
  field(
    'audio of four channels by its description',
    mov,
    (file) => stsdOf(file, AUDIO),
    16,
    u16(4),
    /in24 at byte \d+: channels 4/,
  ),
  field(
    'channels that lie elsewhere',
    mov,
    (file) => `${stsdOf(file, AUDIO)}/chan`,
    4,
    words(0x6a0002),
    /chan at byte \d+: layout/,
  ),
  field(
    'samples with the high byte first',
    mov,
    (file) => `${stsdOf(file, AUDIO)}/wave/enda`,
    0,
    u16(0),
    /enda at byte \d+: little-endian 0/,
  ),
  // Reserved.
  field('reserved bytes of the movie', all, 'moov/mvhd', 26, u8(1), /mvhd at byte \d+: reserved "01/),
  field(
    'reserved bytes of a track',
    all,
    `${PICTURE}/tkhd`,
    24,
    u8(1),
    /tkhd at byte \d+: reserved before the layer/,
  ),
  field(
    'a graphics mode',
    all,
    `${PICTURE}/mdia/minf/vmhd`,
    4,
    u16(0x24),
    /vmhd at byte \d+: graphics mode 36/,
  ),
  field('a preview', all, 'moov/mvhd', 72, words(1), /mvhd at byte \d+: preview/),
  // What only informs.
  {
    title: 'another encoder',
    kinds: all,
    apply: (file) => file.write(stsdOf(file, PICTURE), 43, text('Bell')).bytes(),
    says: /compressor name "Bell/,
    note: true,
  },
  {
    title: 'free space',
    kinds: mov,
    apply: (file) => file.insert('moov', box('free', Buffer.alloc(100))).bytes(),
    says: /free at byte \d+: 108 bytes/,
    note: true,
  },
  {
    title: 'free space behind the file',
    kinds: all,
    apply: (file) => file.bytes(box('skip', Buffer.alloc(10))),
    says: /skip at byte \d+/,
    note: true,
  },
  {
    title: 'a box of somebody',
    kinds: all,
    apply: (file) => file.bytes(box('uuid', Buffer.alloc(16, 7))),
    says: /uuid at byte \d+/,
    note: true,
  },
  {
    title: 'a text that names nothing',
    kinds: all,
    apply: (file) => userData(file, box('\xa9cmt', u16(4), u16(0), text('Good'))),
    says: /cmt at byte \d+/,
    note: true,
  },
];
