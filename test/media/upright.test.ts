/**
 * Pictures that lie otherwise than they are to be seen: ISO/IEC 14496-12, 6.2.2; Exif 3.0, 4.6.5.1.6 (Orientation: where row 0 and column 0 are seen; from memory);
 * ITU-T H.273, figure 10.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { codedPlace, type Orientation, orientationIn, uprightCells } from '../../check/orientation.ts';
import {
  isUpright,
  type Turn,
  turnedSiting,
  turnOf,
  turnOfMatrix,
  turnOfOrientation,
  uprightChains,
  uprightVideo,
  whyNotUpright,
} from '../../media/upright.ts';
import { readDpx } from '../../media/formats/dpx/reader.ts';
import { lyingFindings } from '../../media/sequence/judge.ts';
import { modelOf } from '../../proof/encoder-input/model.ts';
import { layoutOf } from '../../proof/encoder-input/samples.ts';
import { freshFolder } from '../support/folder.ts';
import { videoFacts } from '../support/facts.ts';
import { ffmpeg } from '../support/media.ts';

/** EXIF's number; matrix a, b, c, d; what is done; where the first sample of a picture of 2 x 3 is seen, and the second one of its first line. */
const EIGHT: readonly (readonly [
  number,
  Orientation,
  Turn,
  readonly [number, number],
  readonly [number, number],
])[] = [
  [1, [1, 0, 0, 1], { rotation: 0, mirrored: false }, [0, 0], [1, 0]],
  [2, [-1, 0, 0, 1], { rotation: 0, mirrored: true }, [1, 0], [0, 0]],
  [3, [-1, 0, 0, -1], { rotation: 180, mirrored: false }, [1, 2], [0, 2]],
  [4, [1, 0, 0, -1], { rotation: 180, mirrored: true }, [0, 2], [1, 2]],
  [5, [0, 1, 1, 0], { rotation: 270, mirrored: true }, [0, 0], [0, 1]],
  [6, [0, 1, -1, 0], { rotation: 90, mirrored: false }, [2, 0], [2, 1]],
  [7, [0, -1, -1, 0], { rotation: 90, mirrored: true }, [2, 1], [2, 0]],
  [8, [0, -1, 1, 0], { rotation: 270, mirrored: false }, [0, 1], [0, 0]],
];

const box = (type: string, ...parts: readonly Buffer[]): Buffer => {
  const body = Buffer.concat(parts);
  const head = Buffer.alloc(8);
  head.writeUInt32BE(8 + body.length, 0);
  head.write(type, 4, 'latin1');
  return Buffer.concat([head, body]);
};
const matrix = ([a, b, c, d]: Orientation): Buffer => {
  const bytes = Buffer.alloc(36);
  for (const [at, value] of [a, b, 0, c, d, 0, 0, 0].entries()) bytes.writeInt32BE(65_536 * value, 4 * at);
  bytes.writeInt32BE(2 ** 30, 32);
  return bytes;
};
const handler = (type: string): Buffer =>
  box('mdia', box('hdlr', Buffer.from(`\0\0\0\0\0\0\0\0${type}`, 'latin1')));
const track = (type: string, of: Orientation): Buffer =>
  box('trak', box('tkhd', Buffer.alloc(40), matrix(of), Buffer.alloc(8)), handler(type));
const movie = (of: Orientation, ...tracks: readonly Buffer[]): Buffer =>
  Buffer.concat([box('mvhd', Buffer.alloc(36), matrix(of), Buffer.alloc(28)), ...tracks]);

test.each(EIGHT)(
  'orientation %i is one thing to whoever turns and to whoever checks',
  (number, [a, b, c, d], turn, first, second) => {
    expect(turnOfOrientation(number)).toEqual(turn);
    expect(turnOfMatrix(a, b, c, d)).toEqual(turn);
    expect(
      orientationIn(movie([1, 0, 0, 1], track('soun', [1, 0, 0, 1]), track('vide', [a, b, c, d])), 1),
    ).toEqual([a, b, c, d]);
    const coded = { width: 2, height: 3 };
    expect(codedPlace([a, b, c, d], coded, { x: first[0], y: first[1] })).toEqual({ x: 0, y: 0 });
    expect(codedPlace([a, b, c, d], coded, { x: second[0], y: second[1] })).toEqual({ x: 1, y: 0 });
  },
);

test('what is no quarter is none of them; a turn of the movie comes behind that of its track', () => {
  expect(turnOfMatrix(1, 1, -1, 1)).toBeNull();
  expect(turnOfOrientation(9)).toBeNull();
  const aslant = matrix([1, 0, 0, 1]);
  aslant.writeInt32BE(30_000, 4);
  expect(
    orientationIn(
      Buffer.concat([box('trak', box('tkhd', Buffer.alloc(40), aslant, Buffer.alloc(8)), handler('vide'))]),
      0,
    ),
  ).toBe('other');
  // Mirrored, and then turned by 90 degrees: what Exif calls 7.
  expect(orientationIn(movie([0, 1, -1, 0], track('vide', [-1, 0, 0, 1])), 0)).toEqual([0, -1, -1, 0]);
  expect(orientationIn(movie([1, 0, 0, 1], track('soun', [1, 0, 0, 1])), 0)).toBeNull();
});

test('filters put every sample where the checker looks for it, of all eight, 4:2:2 on its side included', async () => {
  const side = 8;
  const turned = EIGHT.map(([, , turn]) => ({
    ...videoFacts(),
    ...turn,
    width: side,
    height: side,
    pixelFormat: 'yuv422p',
  }));
  const chains = [
    `nullsrc=s=${side}x${side}:d=0.04:r=25,format=yuv422p,geq=lum='10*Y+X':cb='100+10*Y+X':cr='17*Y+3*X'[one];[one]split=8${turned.map((_, at) => `[in${at}]`).join('')}`,
    ...turned.flatMap((video, at) => [
      ...uprightChains(video, `in${at}`, `on${at}`, String(at)),
      `[on${at}]extractplanes=y+u${`[y${at}][u${at}]`}`,
    ]),
    `${turned.map((_, at) => `[y${at}]`).join('')}vstack=inputs=8[y]`,
  ];
  const unused = turned.map((_, at) => `[u${at}]nullsink`);
  const path = join(freshFolder('upright'), 'all.raw');
  await ffmpeg(
    '-filter_complex',
    [...chains, ...unused].join(';'),
    '-map',
    '[y]',
    '-frames:v',
    '1',
    '-f',
    'rawvideo',
    path,
  );
  const out = readFileSync(path);
  for (const [at, [, orientation]] of EIGHT.entries())
    for (let y = 0; y < side; y += 1)
      for (let x = 0; x < side; x += 1) {
        const coded = codedPlace(orientation, { width: side, height: side }, { x, y });
        expect(out[at * side * side + y * side + x], `${at}: ${x}, ${y}`).toBe(10 * coded.y + coded.x);
      }
});

test('cells of a picture on its side come out in the order of the upright one', () => {
  // Two across and three down as it is coded, turned by 90 degrees: its first column, from below, is the first line.
  expect([...uprightCells([0, 1, -1, 0], Uint16Array.of(1, 2, 3, 4, 5, 6), { width: 3, height: 2 })]).toEqual(
    [5, 3, 1, 6, 4, 2],
  );
  expect([
    ...uprightCells([1, 0, 0, -1], Uint16Array.of(1, 2, 3, 4, 5, 6, 7, 8), { width: 2, height: 2 }),
  ]).toEqual([3, 4, 1, 2, 7, 8, 5, 6]);
});

test.each<[string, Turn['rotation'], boolean, string]>([
  ['left', 0, false, 'left'],
  ['left', 90, false, 'top'],
  ['left', 180, false, 'right'],
  ['left', 270, false, 'bottom'],
  ['topleft', 270, false, 'bottomleft'],
  ['topleft', 90, false, 'topright'],
  ['bottomleft', 90, false, 'topleft'],
  ['center', 180, false, 'center'],
  ['left', 0, true, 'right'],
  ['top', 0, true, 'top'],
  ['topleft', 180, true, 'bottomleft'],
  ['left', 270, true, 'top'],
])(
  'chroma at %s, turned by %i degrees clockwise (mirrored: %s), lies at %s',
  (siting, rotation, mirrored, expected) => {
    expect(turnedSiting(siting, { rotation, mirrored })).toBe(expected);
  },
);

test('the proof finds chroma of a turned picture where the named siting of the upright one has it', () => {
  const layout = layoutOf('yuv420p');
  if (layout === null) throw new RangeError('yuv420p');
  const ramp = { width: 16, height: 16 };
  const plane = (side: number, of: (x: number, y: number) => number) => ({
    width: side,
    height: side,
    values: Float64Array.from({ length: side * side }, (_, at) => of(at % side, Math.floor(at / side))),
  });
  const samples = [
    plane(16, () => 100),
    plane(8, (x, y) => 60 + 10 * x + 3 * y),
    plane(8, (x, y) => 90 + 4 * x + 9 * y),
  ];
  const expected = (siting: 'left' | 'top' | 'right', turn?: Turn) =>
    modelOf({
      from: layout,
      to: layout,
      source: { matrix: 'bt709', range: 'limited' },
      output: { matrix: 'bt709', range: 'limited' },
      siting,
      ...(turn === undefined ? {} : { turn }),
      size: ramp,
      scaled: ramp,
    })
      .expected(samples, { source: { x: 0, y: 0 }, made: { x: 0, y: 0 } }, ramp)
      .map(({ values }) => [...values]);
  expect(expected('left', { rotation: 90, mirrored: false })).toEqual(expected('top'));
  expect(expected('left', { rotation: 0, mirrored: true })).toEqual(expected('right'));
  expect(expected('left', { rotation: 0, mirrored: true })).not.toEqual(expected('left'));
});

test('a clip that lies on its side is one of other sides, pixels and fields; what cannot be moved is refused', () => {
  const lying = {
    ...videoFacts(),
    width: 1920,
    height: 1080,
    pixelAspect: { num: 4, den: 3 },
    pixelFormat: 'yuv422p10le',
    rotation: 90 as const,
    fieldOrder: 'progressive' as const,
  };
  expect(uprightVideo(lying)).toMatchObject({
    width: 1080,
    height: 1920,
    pixelAspect: { num: 3, den: 4 },
    pixelFormat: 'yuv440p10le',
    chromaSiting: 'top',
    rotation: 0,
  });
  expect(uprightVideo({ ...lying, rotation: 180, fieldOrder: 'top-first' }).fieldOrder).toBe('bottom-first');
  expect(uprightVideo({ ...lying, rotation: 0, mirrored: true, fieldOrder: 'top-first' }).fieldOrder).toBe(
    'top-first',
  );
  expect(isUpright(turnOf(uprightVideo({ ...lying, mirrored: true })))).toBe(true);
  expect(whyNotUpright({ ...lying, fieldOrder: 'top-first' })).toMatch(/across/);
  expect(whyNotUpright({ ...lying, rotation: 180, fieldOrder: 'top-first', height: 1082 })).toMatch(
    /1082 lines/,
  );
  expect(whyNotUpright({ ...lying, rotation: 180, width: 1919 })).toMatch(/half a place/);
  expect(whyNotUpright({ ...lying, pixelFormat: 'uyvy422' })).toMatch(/uyvy422/);
  expect(whyNotUpright({ ...lying, pixelFormat: 'yuv422p16le' })).toMatch(/on its side/);
  expect(whyNotUpright({ ...lying, rotation: 0, pixelFormat: 'uyvy422' })).toBeNull();
});

test('numbered frames that say that they lie otherwise are named', async () => {
  const folder = freshFolder('lying');
  const headers = await Promise.all(
    [0, 0xffff, 8].map(async (orientation, index) => {
      // SMPTE ST 268-1, tables 1 and 2: two by two pixels of R, G, B.
      const bytes = Buffer.alloc(2048 + 16);
      bytes.write('SDPX', 0, 'latin1');
      for (const [at, value] of [
        [4, 2048],
        [772, 2],
        [776, 2],
      ] as const)
        bytes.writeUInt32BE(value, at);
      bytes.writeUInt16BE(orientation, 768);
      bytes.writeUInt16BE(1, 770);
      bytes.writeUInt8(50, 800);
      bytes.writeUInt8(10, 803);
      const path = join(folder, `${index}.dpx`);
      writeFileSync(path, bytes);
      const handle = await open(path, 'r');
      try {
        return (await readDpx(handle)).header;
      } finally {
        await handle.close();
      }
    }),
  );
  const place = {
    kind: 'sequence',
    folder: '',
    prefix: '',
    suffix: '.dpx',
    padding: 4,
    first: 7,
    count: 3,
    statedRate: null,
  } as const;
  expect(lyingFindings(place, headers, {}).map(({ code, found }) => [code, found])).toEqual([
    ['clip-rotation-unsupported', 'frame 9: image orientation 8'],
  ]);
  expect(lyingFindings(place, headers.slice(0, 2), {})).toEqual([]);
});
