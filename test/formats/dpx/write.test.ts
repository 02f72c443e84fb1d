/** DPX frames, as ffmpeg, ffprobe, OpenImageIO and the survey's own reader find them. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { type DpxFrame, dpxBytes } from '../../../media/formats/dpx/header.ts';
import { DpxEncoder } from '../../../media/formats/dpx/writer.ts';
import { KernelMemory } from '../../../media/kernels/memory.ts';
import { readStill } from '../../../media/sequence/read.ts';
import { parseTimecode } from '../../../media/time/timecode.ts';
import { freshFolder } from '../../support/folder.ts';
import { outputOf } from '../../support/pictures.ts';

const said: DpxFrame = {
  fileName: 'bell.00086400.dpx',
  encoding: 'ACEScct',
  rate: { num: 24_000, den: 1001 },
  timecode: parseTimecode('01:02:03:04', 24),
  pixelAspect: { num: 1, den: 1 },
  position: 7,
  frames: 240,
  captured: '2026:11:25 10:20:30',
  owner: 'The bell foundry',
  sourceFile: 'B012_0001.dng',
  device: 'B',
  serial: '0042',
};

/** Every code in every channel, each at another place. */
const codes = (count: number): Uint16Array[] =>
  [5, 7, 11].map((step) => Uint16Array.from({ length: count }, (_, index) => (index * step + step) % 1024));

function placed(memory: KernelMemory, planes: readonly Uint16Array[]): [number, number, number] {
  return planes.map((plane) => {
    const at = memory.allocate(2 * plane.length);
    memory.u16(at, plane.length).set(plane);
    return at;
  }) as [number, number, number];
}

async function encoded(
  width: number,
  height: number,
  planes: readonly Uint16Array[],
  frame: DpxFrame = said,
  bits: 10 | 12 | 16 = 10,
): Promise<Buffer> {
  const memory = new KernelMemory();
  const encoder = await DpxEncoder.create(memory);
  encoder.prepare({ width, height, bits });
  const [r, g, b] = placed(memory, planes);
  encoder.begin();
  encoder.take({ r, g, b, count: planes[0]?.length ?? 0 });
  return Buffer.from(encoder.finish(frame));
}

async function stored(width: number, height: number, frame: Partial<DpxFrame> = {}): Promise<string> {
  const file = join(freshFolder(), 'bell.00086400.dpx');
  writeFileSync(file, await encoded(width, height, codes(width * height), { ...said, ...frame }));
  return file;
}

test.each([
  [64, 48],
  [61, 7],
  [1, 1],
  [9, 3],
])('%dx%d: ffmpeg decodes every code as it was', async (width, height) => {
  const file = await stored(width, height);
  const raw = await outputOf('ffmpeg', [
    '-v',
    'error',
    '-i',
    file,
    '-f',
    'rawvideo',
    '-pix_fmt',
    'gbrp10le',
    '-',
  ]);
  const count = width * height;
  const plane = (index: number): number[] =>
    Array.from({ length: count }, (_, at) => raw.readUInt16LE(2 * (index * count + at)));
  expect([plane(2), plane(0), plane(1)]).toEqual(codes(count).map((one) => [...one]));
});

/** Codes of 12 or 16 bits, their ends among them. */
const longCodes = (count: number, bits: 12 | 16): Uint16Array[] =>
  [0, 1, 2].map((plane) =>
    Uint16Array.from({ length: count }, (_, at) =>
      at === plane ? 2 ** bits - 1 : (at * 40_503 + plane * 977) % 2 ** bits,
    ),
  );

test.each([
  [12, 64, 48],
  [12, 61, 7],
  [12, 1, 1],
  [16, 64, 48],
  [16, 61, 7],
  [16, 9, 3],
] as const)(
  '%d bits, %dx%d: ffmpeg and OpenImageIO read every code as it was',
  async (bits, width, height) => {
    const count = width * height;
    const planes = longCodes(count, bits);
    const folder = freshFolder();
    const file = join(folder, 'bell.00086400.dpx');
    writeFileSync(file, await encoded(width, height, planes, said, bits));
    // R, G, B in words of 16 bits: of 12 bits ffmpeg has planes alone, G, B, R.
    const pixels = bits === 16 ? 'rgb48le' : 'gbrp12le';
    const raw = await outputOf('ffmpeg', [
      '-v',
      'error',
      '-i',
      file,
      '-f',
      'rawvideo',
      '-pix_fmt',
      pixels,
      '-',
    ]);
    const found = [0, 1, 2].map((plane) =>
      Uint16Array.from({ length: count }, (_, at) =>
        raw.readUInt16LE(2 * (bits === 16 ? 3 * at + plane : ((plane + 2) % 3) * count + at)),
      ),
    );
    expect(found).toEqual(planes);
    const outside = join(folder, 'b.tif');
    await outputOf('oiiotool', [file, '-d', 'uint16', '--compression', 'none', '-o', outside]);
    const theirs = await outputOf('ffmpeg', [
      '-v',
      'error',
      '-i',
      outside,
      '-f',
      'rawvideo',
      '-pix_fmt',
      'rgb48le',
      '-',
    ]);
    // It widens 12 bits by zeros behind them.
    for (const [plane, values] of planes.entries())
      expect(values.map((_, at) => theirs.readUInt16LE(2 * (3 * at + plane)) >>> (16 - bits))).toEqual(
        values,
      );
  },
);

test('the first pixel is the word of method A: R, G, B from the top, two bits free', async () => {
  const bytes = await encoded(1, 1, [Uint16Array.of(0x3ff), Uint16Array.of(0x001), Uint16Array.of(0x200)]);
  expect(bytes.length).toBe(dpxBytes({ width: 1, height: 1, bits: 10 }));
  expect(bytes.toString('hex', 2048)).toBe((0x3ff * 2 ** 22 + 0x001 * 2 ** 12 + 0x200 * 2 ** 2).toString(16));
});

test('OpenImageIO reads the header', async () => {
  const text = String(await outputOf('iinfo', ['-v', await stored(64, 48)]));
  const lines = [
    '64 x   48, 3 channel, uint10 dpx',
    'Orientation: 1 (normal)',
    'dpx:Transfer: "Logarithmic"',
    'dpx:Colorimetric: "User defined"',
    'dpx:ImageDescriptor: "RGB"',
    'dpx:Packing: "Filled, method A"',
    'dpx:TimeCode: "01:02:03:04"',
    'dpx:FramePosition: 7',
    'dpx:SequenceLength: 240',
    'dpx:HeldCount: 1',
    'dpx:SourceImageFileName: "B012_0001.dng"',
    'dpx:InputDevice: "B"',
    'dpx:InputDeviceSerialNumber: "0042"',
    'dpx:FrameId: "7"',
    'Copyright: "The bell foundry"',
    'DateTime: "2026:11:25 10:20:30"',
    'PixelAspectRatio: 1',
  ];
  expect(lines.filter((line) => !text.includes(line))).toEqual([]);
  expect(Number(/dpx:FrameRate: ([\d.]+)/.exec(text)?.[1])).toBeCloseTo(24_000 / 1001, 3);
  expect(Number(/dpx:TemporalFrameRate: ([\d.]+)/.exec(text)?.[1])).toBeCloseTo(24_000 / 1001, 3);
});

describe('timecode', () => {
  test.each([
    ['01:02:03:04', 24, '01:02:03:04'],
    ['23:59:59;29', 30, '23:59:59;29'],
    ['10:00:00:24', 25, '10:00:00:24'],
  ])('%s at base %d is what ffprobe prints', async (label, base, printed) => {
    const file = await stored(16, 9, { timecode: parseTimecode(label, base), rate: { num: base, den: 1 } });
    const probe = await outputOf('ffprobe', [
      '-loglevel',
      'error',
      '-show_entries',
      'frame_tags=timecode',
      '-of',
      'csv=p=0',
      file,
    ]);
    expect(String(probe).trim().replace(/,$/, '')).toBe(printed);
  });

  test('above 30 labels a second the header has no place for the second of a pair, and says nothing', async () => {
    const { header } = await readStill(
      await stored(16, 9, { timecode: parseTimecode('01:00:00:49', 50), rate: { num: 50, den: 1 } }),
      'a.dpx',
    );
    expect([header.timecode, header.rate]).toEqual([null, { num: 50, den: 1 }]);
  });
});

test('the survey reads raster, rate, timecode and pixel aspect, and knows how long the file must be', async () => {
  const file = await stored(61, 7, { pixelAspect: { num: 64, den: 45 } });
  const { header } = await readStill(file, file);
  expect(header).toEqual({
    format: 'dpx',
    kind: 'encoded',
    width: 61,
    height: 7,
    pixelAspect: { num: 64, den: 45 },
    rate: { num: 24_000, den: 1001 },
    timecode: { hours: 1, minutes: 2, seconds: 3, frames: 4, drop: false },
    reel: null,
    neededBytes: 2048 + 4 * 61 * 7,
  });
});

test('a text that its field cannot hold stays undefined', async () => {
  const bytes = await encoded(1, 1, codes(1), {
    ...said,
    fileName: 'x'.repeat(101),
    owner: 'Glockengießerei',
    device: 'x'.repeat(32),
  });
  expect(bytes.subarray(36, 136).every((byte) => byte === 0)).toBe(true);
  expect(bytes.subarray(460, 660).every((byte) => byte === 0)).toBe(true);
  expect(bytes.toString('latin1', 1556, 1588)).toBe('x'.repeat(32));
});

test('band by band the same bytes as all at once, and nothing less than all', async () => {
  const [width, height] = [13, 20];
  const planes = codes(width * height);
  const whole = await encoded(width, height, planes);
  const memory = new KernelMemory();
  const encoder = await DpxEncoder.create(memory);
  encoder.prepare({ width, height, bits: 10 });
  const [r, g, b] = placed(memory, planes);
  for (const lines of [1, 7, 16]) {
    encoder.begin();
    for (let first = 0; first < height; first += lines) {
      const skip = 2 * width * first;
      encoder.take({ r: r + skip, g: g + skip, b: b + skip, count: width * Math.min(lines, height - first) });
    }
    expect(Buffer.from(encoder.finish(said)).equals(whole)).toBe(true);
  }
  encoder.begin();
  encoder.take({ r, g, b, count: width * 19 });
  expect(() => encoder.finish(said)).toThrow('247 codes of a picture of 13x20');
  expect(() => encoder.take({ r, g, b, count: width * 2 })).toThrow('26 codes behind 247');
});

test('a date of another form, and planes of another size, are refused', async () => {
  await expect(encoded(1, 1, codes(1), { ...said, captured: '2026-11-25' })).rejects.toThrow(
    'is not YYYY:MM:DD hh:mm:ss',
  );
  await expect(encoded(2, 1, codes(1))).rejects.toThrow('1 codes of a picture of 2x1');
});
