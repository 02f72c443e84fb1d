/** What is damaged: one or a few whole, small files of every form, of our own making, of ffmpeg's, and of others (test/fixtures). */
import { mkdir, readdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { inflateSync } from 'node:zlib';
import { pictureStream } from '../../check/ffv1.ts';
import { readMatroska } from '../../check/matroska.ts';
import { packageFolder } from '../../files/installation.ts';
import { dpxBytes, dpxHeader } from '../../media/formats/dpx/header.ts';
import { ratio } from '../../media/time/rate.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { runTool } from '../../process/run.ts';
import { sampleFile } from '../../proof/pixel-sample-file.ts';
import { POINTS } from '../../proof/pixel-samples.ts';
import { AudioCollector } from '../../proof/audio-collector.ts';
import { CELLS, COLOUR_CELLS } from '../../proof/form.ts';
import { sketchFile } from '../../proof/sketch/file.ts';
import { sketchNumbers } from '../../proof/sketch/form.ts';
import { fingerprintFile } from '../../proof/source-fingerprints.ts';
import { encoded, grainy } from '../formats/exr/encoded.ts';
import { ascii, buildDng, testSamples } from '../support/dng.ts';
import { exrSeed } from './exr-seeds.ts';

const fixture = (path: string): Promise<Buffer> => readFile(join(packageFolder, 'test', 'fixtures', path));

/** The same bytes from the same ffmpeg. */
async function byFfmpeg(folder: string, extension: string, ...options: string[]): Promise<Buffer> {
  const path = join(folder, `made.${extension}`);
  const result = await runTool('ffmpeg', [
    ...['-hide_banner', '-loglevel', 'error', '-nostdin', '-y'],
    ...['-f', 'lavfi', '-i', 'testsrc2=s=32x24:r=24000/1001:d=0.2'],
    ...['-f', 'lavfi', '-i', 'sine=r=8000:d=0.2'],
    ...['-frames:v', '3', '-fflags', '+bitexact', '-flags', '+bitexact', '-threads', '1', ...options, path],
  ]);
  if (result.exitCode !== 0) throw new Error(`seed ${extension}: ${result.startError ?? result.stderr}`);
  return await readFile(path);
}

/** Pictures that their windows place: data inside of the display window, beyond it, beside it. */
function placed(): Buffer[] {
  const display = { xMin: 0, yMin: 0, xMax: 7, yMax: 19 };
  return [
    exrSeed({
      compression: 'none',
      pixelType: 'half',
      data: { xMin: 2, yMin: 3, xMax: 6, yMax: 9 },
      display,
    }),
    exrSeed({
      compression: 'rle',
      pixelType: 'float',
      data: { xMin: -3, yMin: -2, xMax: 11, yMax: 21 },
      display,
      channels: ['A', 'B', 'G', 'R'],
    }),
    exrSeed({
      compression: 'zip',
      pixelType: 'half',
      data: { xMin: -3, yMin: 4, xMax: 5, yMax: 39 },
      display: { xMin: 1, yMin: 2, xMax: 8, yMax: 21 },
    }),
    exrSeed({
      compression: 'zips',
      pixelType: 'float',
      data: { xMin: 30, yMin: 4, xMax: 35, yMax: 12 },
      display,
      channels: ['Y', 'Z'],
    }),
  ];
}

async function exr(): Promise<Buffer[]> {
  const own = async (compression: 'none' | 'zip', container: 'exr' | 'aces'): Promise<Buffer> =>
    (
      await encoded({ width: 12, height: 20, compression, container }, grainy(12, 20), {
        owner: 'The bell foundry',
        reelName: 'A001',
        framesPerSecond: ratio(24000, 1001),
      })
    ).bytes;
  return [
    await own('none', 'exr'),
    await own('zip', 'exr'),
    await own('none', 'aces'),
    exrSeed({ compression: 'rle', pixelType: 'half' }),
    exrSeed({ compression: 'zips', pixelType: 'half' }),
    exrSeed({ compression: 'zips', pixelType: 'float' }),
    exrSeed({ compression: 'rle', pixelType: 'uint' }),
    ...placed(),
    await fixture('exr/aces-timecode-64x64.exr'),
    await fixture('damaged/openexr_comp_early_eof_piz.exr'),
  ];
}

async function dpx(folder: string): Promise<Buffer[]> {
  const form = { width: 10, height: 6, bits: 10 } as const;
  const rate = ratio(24);
  const head = dpxHeader(form, {
    fileName: 'A001.0001.dpx',
    encoding: 'ACEScct',
    rate,
    timecode: parseTimecode('01:02:03:04', rate),
    pixelAspect: ratio(1),
    position: 0,
    frames: 2,
    sourceFile: 'A001C001.mov',
  });
  const one = ['-map', '0:v', '-frames:v', '1', '-update', '1'];
  return [
    Buffer.concat([head, Buffer.alloc(dpxBytes(form) - head.length, 0x44)]),
    await byFfmpeg(folder, 'dpx', ...one, '-pix_fmt', 'gbrp10le'),
    await byFfmpeg(folder, 'dpx', ...one, '-pix_fmt', 'rgb48be'),
  ];
}

function dng(): Buffer[] {
  const [width, height] = [20, 14];
  const about = {
    width,
    height,
    rate: [24000, 1001] as const,
    timecode: '01:02:03:04',
    exif: [{ tag: 34_855, type: 'short', values: [800] } as const, ascii(36_867, '2026:11:25 19:06:17')],
  };
  const of = (bits: number): Uint16Array => testSamples(width, height, bits);
  return [
    buildDng({ ...about, samples: of(16), littleEndian: false }),
    buildDng({ ...about, samples: of(12), bits: 12, rowsPerStrip: 5 }),
    buildDng({ ...about, samples: of(10), bits: 10, lowBitFirst: true, below: true }),
    buildDng({ ...about, samples: of(12), bits: 12, jpeg: { components: 2, predictor: 1, restartLines: 3 } }),
    buildDng({
      ...about,
      samples: of(14),
      bits: 14,
      below: true,
      tile: { width: 8, height: 8 },
      jpeg: { predictor: 6, ownTables: true, components: 2 },
    }),
    buildDng({
      ...about,
      samples: of(8),
      bits: 8,
      tags: [
        { tag: 50_712, type: 'short', values: Array.from({ length: 256 }, (_, index) => index * 4) },
        { tag: 50_829, type: 'long', values: [1, 2, 13, 18] },
        { tag: 51_009, type: 'undefined', values: [0, 0, 0, 1, ...Array.from({ length: 16 }, () => 1)] },
      ],
    }),
  ];
}

async function tiff(folder: string): Promise<Buffer[]> {
  const one = ['-map', '0:v', '-frames:v', '1', '-update', '1'];
  return [
    await byFfmpeg(folder, 'tif', ...one, '-pix_fmt', 'rgb48le'),
    await byFfmpeg(folder, 'tif', ...one, '-pix_fmt', 'rgb24', '-compression_algo', 'lzw'),
    ...dng().slice(0, 3),
  ];
}

const timecoded = ['-timecode', '01:00:00:00', '-metadata', 'reel_name=A001'];
const matroska = (folder: string, checksums: '0' | '1', ...options: string[]): Promise<Buffer> =>
  byFfmpeg(
    folder,
    'mkv',
    ...['-c:v', 'ffv1', '-level', '3', '-g', '1', '-slices', '4', '-slicecrc', '1', '-c:a', 'pcm_s16le'],
    ...['-write_crc32', checksums, ...timecoded, ...options],
  );

async function ffv1(folder: string): Promise<Buffer[]> {
  const seeds: Buffer[] = [];
  for (const format of ['yuv420p', 'gbrp10le', 'yuva444p10le']) {
    await matroska(folder, '0', '-pix_fmt', format);
    const read = await readMatroska(join(folder, 'made.mkv'));
    pictureStream(read);
    const secret = read.tracks.find(({ type }) => type === 1)?.codecPrivate;
    if (secret === undefined || secret === null || read.firstFrame === null) throw new Error('seed ffv1');
    const record =
      secret.length > 40 && secret.toString('latin1', 16, 20) === 'FFV1' ? secret.subarray(40) : secret;
    const length = Buffer.alloc(2);
    length.writeUInt16LE(record.length);
    seeds.push(Buffer.concat([length, record, read.firstFrame]));
  }
  return seeds;
}

const history = 'manifests/scenario_02/A002R2EC/ascmhl';
const mhl = (): Promise<Buffer[]> =>
  Promise.all([
    fixture(`${history}/0001_A002R2EC_2020-01-16_091500Z.mhl`),
    fixture(`${history}/0002_A002R2EC_2020-01-17_143000Z.mhl`),
    fixture(`${history}/ascmhl_chain.xml`),
    fixture('manifests/scenario_03/A002R2EC/ascmhl/0002_A002R2EC_2020-01-17_143000Z.mhl'),
  ]);

const hash = (digits: number): string => '0123456789abcdef'.repeat(8).slice(0, digits);
const hashList = Buffer.from(`<?xml version="1.0" encoding="UTF-8"?>
<hashlist version="1.1">
  <creatorinfo><name>A &amp; B</name></creatorinfo>
  <hash><file>Clips/A001C001.mov</file><size>1234</size><xxhash64be>${hash(16)}</xxhash64be></hash>
  <hash><file>Clips/A001C002.mov</file><size>99</size><md5>${hash(32)}</md5><sha1>${hash(40)}</sha1></hash>
  <hash><file>Clips/A001C003.mov</file><size>0</size><xxhash>4294967295</xxhash><null/></hash>
  <hash><file><![CDATA[Sidecar.txt]]></file><size>7</size><xxhash64>${hash(16)}</xxhash64></hash>
</hashlist>
`);
const checksums = [
  `# by hand\n${hash(32)}  Clips/A001C001.mov\n\\${hash(32)}  Clips/a\\nb\\\\c.mov\r\n${hash(32)} *b.mov\n`,
  `MD5 (Clips/A001C001.mov) = ${hash(32)}\nSHA256 (a) = ${hash(64)}\nXXH3_${hash(16)}  c\nXXH64_LE (d) = ${hash(16)}\n`,
].map((text) => Buffer.from(text));

async function yaml(kind: 'profiles' | 'settings' | 'decoders'): Promise<Buffer[]> {
  if (kind === 'profiles') {
    const folder = join(packageFolder, 'profiles', 'builtin');
    const names = (await readdir(folder)).filter((name) => name.endsWith('.yaml')).sort();
    return [
      ...(await Promise.all(names.map((name) => readFile(join(folder, name))))),
      Buffer.from(
        'version: 1\nname: seed\nsummary: Ours\nextends: editorial-vc3\nraster: { width: 1280, height: 720 }\n',
      ),
    ];
  }
  const page = (await readFile(join(packageFolder, 'docs', `${kind}.md`))).toString('utf8');
  const examples = [...page.matchAll(/```yaml\n([\s\S]*?)```/g)].map(([, text]) =>
    Buffer.from(text as string),
  );
  if (examples.length === 0) throw new Error(`no example in docs/${kind}.md`);
  return [
    ...examples,
    Buffer.from(
      kind === 'settings'
        ? 'version: 1\nshow: { owner: Bell foundry film, input: &i { name: aces2065-1 } }\ncameras:\n  - { name: A, known_by: { rolls: [A###], make: Foundry }, profiles: [dpx-10], raw: { white_balance: { kelvin: 5600, tint: 3 }, exposure_stops: 0.5 } }\nrolls:\n  B001: { input: *i, clips: { B001C001: { owner: me } } }\n'
        : "version: 1\nname: seed\nsummary: Frames as PPM of 16 bits\ntakes: { clips: frames, names: ['*.plate'] }\ncommand: [cat, '{file}']\ngives: { samples: rgb48be, around: netpbm, full: 4095 }\n",
    ),
  ];
}

const cube = async (): Promise<Buffer[]> => [
  await fixture('colour/3d-2x2x2.cube'),
  Buffer.from(
    'TITLE "a"\nLUT_1D_SIZE 3\nLUT_1D_INPUT_RANGE -0.1 1.1\nLUT_3D_SIZE 2\nLUT_3D_INPUT_RANGE 0 1\n0 0 0\n.5 .5 .5\n1 1 1\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n',
  ),
];
const clf = async (): Promise<Buffer[]> => [
  await fixture('colour/xyz-to-rgb.clf'),
  Buffer.from(`<?xml version="1.0" encoding="UTF-8"?>
<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="a" compCLFversion="3.0">
  <LUT1D inBitDepth="10i" outBitDepth="16f" interpolation="linear"><Array dim="2 3">0 0 0\n1 1 1</Array></LUT1D>
  <Matrix inBitDepth="16f" outBitDepth="32f"><Array dim="3 4">1 0 0 0 0 1 0 0 0 0 1 0</Array></Matrix>
  <Range inBitDepth="32f" outBitDepth="32f" style="Clamp"><minInValue>0</minInValue><minOutValue>0</minOutValue></Range>
  <Log inBitDepth="32f" outBitDepth="32f" style="linToLog"><LogParams base="2" logSideSlope="1" logSideOffset="0" linSideSlope="1" linSideOffset="0.1"/></Log>
  <Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd"><ExponentParams exponent="2.4"/></Exponent>
  <ASC_CDL inBitDepth="32f" outBitDepth="32f" style="Fwd"><SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode><SatNode><Saturation>1</Saturation></SatNode></ASC_CDL>
  <LUT3D inBitDepth="32f" outBitDepth="10i" interpolation="tetrahedral"><Array dim="2 2 2 3">${'0 0 1023\n'.repeat(8)}</Array></LUT3D>
</ProcessList>
`),
];

const nodes =
  '<SOPNode><Slope>1.1 1 0.9</Slope><Offset>0 0.01 0</Offset><Power>1 1 1.2</Power></SOPNode><SatNode><Saturation>0.9</Saturation></SatNode>';
const cdls = [
  `<?xml version="1.0" encoding="UTF-8"?>\n<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.01"><ColorCorrection id="a">${nodes}</ColorCorrection></ColorCorrectionCollection>\n`,
  `<ColorDecisionList xmlns="urn:ASC:CDL:v1.2"><ColorDecision><MediaRef ref="file:///A001/A001C001.mov"/><ColorCorrection id="a">${nodes}</ColorCorrection></ColorDecision><ColorDecision><ColorCorrectionRef ref="a"/></ColorDecision></ColorDecisionList>`,
].map((text) => Buffer.from(text));
const edl = Buffer.from(
  'TITLE: PIT\r\nFCM: NON-DROP FRAME\r\n001  A001R1AB V C 01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00\r\n* FROM CLIP NAME: A001C001\r\n* ASC_SOP (1.1 1 0.9)(0 0.01 0)(1 1 1.2)\r\n* ASC_SAT 0.9\r\n',
);

const cutEdl = Buffer.from(
  'TITLE: REEL 2\r\nFCM: DROP FRAME\r\n* 30000/1001 FRAMES A SECOND\r\n001  A001 V C 01:00:00;00 01:00:02;00 01:00:00;00 01:00:02;00\r\n001  B001 V D 012 01:00:00;00 01:00:01;00 01:00:02;00 01:00:03;00\r\n* FROM CLIP NAME: A001C001\r\n* TO CLIP NAME: B001C001\r\nM2   B001  060.0  01:00:00;00\r\n* REEL B001 IS B001R1AB\r\n',
);
/** Samples of the OpenTimelineIO project. */
const timelines = (): Promise<Buffer[]> =>
  Promise.all(
    ['nested_example', 'transition', 'simple_cut'].map((name) => fixture(join('otio', `${name}.otio`))),
  );

/** What lies behind the first line of fingerprints, unpacked: damage in packed bytes would always be seen by their checksum. */
const body = (file: Buffer): Buffer => inflateSync(file.subarray(file.indexOf('\n') + 1));

async function fingerprintSets(): Promise<Buffer[]> {
  const noise = (count: number): Uint16Array =>
    Uint16Array.from({ length: count }, (_, index) => (index * 40_503) & 0xffff);
  const audio = (): AudioCollector => {
    const collector = new AudioCollector({ channels: 2, sampleRate: 8000 });
    collector.take(Buffer.from(noise(4 * 4000).buffer));
    return collector;
  };
  const of = async (frames: number, views: 1 | 2): Promise<Buffer> =>
    body(
      (
        await fingerprintFile({
          picture: {
            frames,
            views,
            luma: noise(frames * views * CELLS),
            colour: noise(2 * COLOUR_CELLS * frames),
          },
          times: {
            timeBase: ratio(1, 24_000),
            ticks: Float64Array.from({ length: frames }, (_, frame) => 5 + frame * 1001 + (frame % 3)),
          },
          audioTracks: [audio().end(), null],
          exact: {
            pixelFormat: 'gbrp10le',
            pictures: Buffer.alloc(32 * frames, 7),
            audioTracks: [hash(64), null],
          },
        })
      ).bytes,
    );
  return [await of(3, 1), await of(2, 2)];
}

async function sketches(): Promise<Buffer[]> {
  const form = { width: 64, height: 36, pixelFormat: 'yuv422p10le', grid: { columns: 4, rows: 2 } };
  const numbers = sketchNumbers(form);
  const of = async (frames: number, stated: readonly number[] | null): Promise<Buffer> => {
    const values = Uint16Array.from({ length: frames * numbers }, (_, index) => (index * 40_503) & 0xffff);
    return body((await sketchFile({ ...form, seed: hash(64), frames, values, stated })).bytes);
  };
  return [await of(3, null), await of(2, [41.25, 44.5, 45])];
}

async function points(): Promise<Buffer[]> {
  const frames = 2;
  const { bytes } = await sampleFile({
    frames,
    width: 20,
    height: 10,
    values: Float32Array.from({ length: 3 * POINTS * frames }, (_, index) => index / 7),
    spots: [{ frame: 1, pixels: [{ x: 3, y: 4 }], sceneLinear: Float64Array.of(0.1, 0.2, 0.3) }],
  });
  return [body(bytes)];
}

const netpbm = ['P6\n# bell\n3 2\n4095\n', 'P5 3 2 65535\n'].map((head) =>
  Buffer.concat([Buffer.from(head), Buffer.alloc(36, 1)]),
);

/** By format; made in `folder`, in which nothing stays. */
export const seedsOf = {
  exr,
  dpx,
  tiff,
  dng: async () => dng(),
  mov: async (folder: string) => [
    await byFfmpeg(folder, 'mov', '-c:v', 'mjpeg', '-c:a', 'pcm_s16le', ...timecoded),
    await fixture('movies/timecode-only-23976.mov'),
    await fixture('movies/rotated-90.mov'),
    await fixture('movies/interlaced-2997-timecode.mov'),
  ],
  mp4: async (folder: string) => [
    await byFfmpeg(folder, 'mp4', '-c:v', 'mpeg4', '-c:a', 'aac', ...timecoded),
    await byFfmpeg(folder, 'mp4', '-c:v', 'mpeg4', '-c:a', 'aac', '-movflags', '+frag_keyframe+empty_moov'),
    await fixture('damaged/mp4parse_chunk_out_of_range.mp4'),
  ],
  mxf: async (folder: string) => [
    await byFfmpeg(folder, 'mxf', '-c:v', 'mpeg2video', '-c:a', 'pcm_s16le', '-ar', '48000', ...timecoded),
  ],
  matroska: async (folder: string) => [
    await matroska(folder, '0', '-pix_fmt', 'yuv420p'),
    await matroska(folder, '1', '-pix_fmt', 'gbrp10le'),
  ],
  ffv1,
  mhl,
  'hash-list': async () => [hashList],
  checksums: async () => checksums,
  profiles: () => yaml('profiles'),
  settings: () => yaml('settings'),
  decoders: () => yaml('decoders'),
  cube,
  clf,
  cdl: async () => cdls,
  edl: async () => [edl, cutEdl],
  otio: timelines,
  fingerprints: fingerprintSets,
  sketches,
  points,
  netpbm: async () => netpbm,
} satisfies Record<string, (folder: string) => Promise<Buffer[]>>;

export type FuzzFormat = keyof typeof seedsOf;
export const fuzzFormats = Object.keys(seedsOf) as FuzzFormat[];
/** Text is damaged as text too. */
export const textFormats: ReadonlySet<FuzzFormat> = new Set<FuzzFormat>([
  'mhl',
  'hash-list',
  'checksums',
  'profiles',
  'settings',
  'decoders',
  'cube',
  'clf',
  'cdl',
  'edl',
  'otio',
]);

const nameOf = (index: number): string => `${String(index).padStart(2, '0')}.seed`;

/** Makes the seeds of a format once; a child reads them back. */
export async function writeSeeds(format: FuzzFormat, folder: string): Promise<void> {
  await mkdir(folder, { recursive: true });
  const seeds = await seedsOf[format](folder);
  await Promise.all(seeds.map((bytes, index) => writeFile(join(folder, nameOf(index)), bytes)));
}

export async function readSeeds(folder: string): Promise<Buffer[]> {
  const names = (await readdir(folder)).filter((name) => name.endsWith('.seed')).sort();
  if (names.length === 0) throw new Error(`no seeds in ${folder}`);
  return await Promise.all(names.map((name) => readFile(join(folder, name))));
}
