/** What a small file can claim: each a damage that is reported at once, without room made for it. Found by reading and by damage drawn at random. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { MatroskaError, identifier } from '../../check/ebml.ts';
import { MovieError, readMovie } from '../../check/movie/read.ts';
import { FileDamage } from '../../files/bytes.ts';
import { parseXml, XmlError } from '../../files/manifest/xml.ts';
import { ExrDamage } from '../../check/master/exr/damage.ts';
import { decodeAll, surveyValues } from '../../check/master/exr/values.ts';
import { sourceOfBytes as exrOfBytes } from '../../check/master/exr/source.ts';
import { walkExr } from '../../check/master/exr/chunks.ts';
import { readForm } from '../../media/probe/form.ts';
import { readStill } from '../../media/sequence/read.ts';
import { decodeCfa } from '../../media/formats/dng/decode.ts';
import { sourceOfBytes } from '../../media/formats/tiff/header.ts';
import { readLosslessHeader } from '../../media/formats/dng/jpeg-header.ts';
import { decodeLossless } from '../../media/formats/dng/lossless-jpeg.ts';
import { readDng } from '../../media/formats/dng/reader.ts';
import { type DngOptions, buildDng, testSamples } from '../support/dng.ts';
import { readNetpbmHead } from '../../media/raw/decoders/netpbm.ts';
import { freshFolder } from '../support/folder.ts';
import { exrSeed } from './exr-seeds.ts';

const [width, height] = [20, 14];
const dng = (options: Partial<DngOptions>): Buffer =>
  buildDng({ width, height, bits: 12, samples: testSamples(width, height, 12), ...options });

function file(name: string, bytes: Buffer): string {
  const path = join(freshFolder('claims'), name);
  writeFileSync(path, bytes);
  return path;
}

describe('DNG', () => {
  test('more numbers in a list than any picture has pieces', async () => {
    const values = Array.from({ length: 1024 * 1024 + 1 }, () => 1);
    const bytes = dng({ tags: [{ tag: 50_712, type: 'byte', values }] });
    await expect(readDng(sourceOfBytes(bytes))).rejects.toThrow(/tag 50712 of 1048577 numbers/);
  });

  test("a thousand directories below the first, none of them the picture's", async () => {
    const bytes = dng({
      tags: [
        { tag: 254, type: 'long', values: [1] },
        { tag: 330, type: 'long', values: Array.from({ length: 1000 }, () => 8) },
      ],
    });
    await expect(readDng(sourceOfBytes(bytes))).rejects.toThrow(/1000 directories/);
  });

  test('a raster that the bytes of its pieces cannot hold', async () => {
    const frame = await readDng(sourceOfBytes(dng({ jpeg: {} })));
    const wide = { ...frame, picture: { ...frame.picture, width: 20_000, height: 20_000 } };
    expect(() => decodeCfa(Buffer.alloc(0), wide)).toThrow(/a raster of 20000x20000 in \d+ bytes/);
  });

  test('a JPEG stream of more samples than it has bits', async () => {
    const bytes = dng({ jpeg: {} });
    const [piece] = (await readDng(sourceOfBytes(bytes))).storage.pieces;
    if (piece === undefined) throw new Error('no piece');
    const stream = bytes.subarray(piece.offset, piece.offset + piece.bytes);
    const header = readLosslessHeader(stream);
    expect(() => decodeLossless(stream, { ...header, lines: 65_535, samplesPerLine: 65_535 })).toThrow(
      FileDamage,
    );
  });
});

describe('OpenEXR', () => {
  /** With both windows as wide as that. */
  function widened(bytes: Buffer, xMax: number): Buffer {
    const out = Buffer.from(bytes);
    for (const name of ['dataWindow', 'displayWindow']) {
      const key = Buffer.from(`${name}\0box2i\0`, 'latin1');
      out.writeInt32LE(xMax, out.indexOf(key) + key.length + 4 + 8);
    }
    return out;
  }

  test.each(['rle', 'zips'] as const)(
    '%s: a chunk of fewer bytes than its values can be packed into',
    async (compression) => {
      const bytes = widened(exrSeed({ compression, pixelType: 'half' }), 60_000);
      await expect(walkExr(exrOfBytes(bytes))).rejects.toThrow(/has \d+ bytes, which cannot be \d+/);
      await expect(decodeAll(exrOfBytes(bytes))).rejects.toThrow(ExrDamage);
      await expect(surveyValues(exrOfBytes(bytes))).rejects.toThrow(ExrDamage);
    },
  );

  test.each([1e22, -1, Number.POSITIVE_INFINITY, Number.NaN, 1e-22])(
    'a pixel %d times as wide as high is not believed, and nothing is lost by it',
    async (aspect) => {
      const bytes = exrSeed({ compression: 'zips', pixelType: 'half' });
      const key = Buffer.from('pixelAspectRatio\0float\0', 'latin1');
      bytes.writeFloatLE(aspect, bytes.indexOf(key) + key.length + 4);
      expect(await readStill(file('a.exr', bytes), '.exr')).toMatchObject({
        header: { pixelAspect: null, width: 6, height: 5 },
      });
    },
  );
});

describe('movies', () => {
  const timecoded = readFileSync(resolve('test/fixtures/movies/timecode-only-23976.mov'));

  test.each(['stsd', 'stco', 'hdlr', 'tmcd'])(
    'a timecode track whose %s ends before what it must hold',
    async (type) => {
      const at = timecoded.indexOf(Buffer.from(type, 'latin1')) - 4;
      const bytes = Buffer.from(timecoded);
      // The rest of it becomes an atom of its own that says nothing.
      const size = bytes.readUInt32BE(at);
      bytes.writeUInt32BE(8, at);
      bytes.writeUInt32BE(size - 8, at + 8);
      bytes.write('free', at + 12, 'latin1');
      const read = readMovie(file('a.mov', bytes));
      // Without a handler it is no timecode track.
      await expect(read).rejects.toThrow(MovieError);
    },
  );

  test('an atom that says its size in 64 bits and ends before them', async () => {
    const at = timecoded.indexOf(Buffer.from('moov', 'latin1')) - 4;
    const size = timecoded.readUInt32BE(at);
    const end = Buffer.alloc(8);
    end.writeUInt32BE(1);
    end.write('free', 4, 'latin1');
    const bytes = Buffer.concat([timecoded.subarray(0, at + size), end, timecoded.subarray(at + size)]);
    bytes.writeUInt32BE(size + 8, at);
    await expect(readMovie(file('a.mov', bytes))).rejects.toThrow(MovieError);
  });

  test('sixteen megabytes of the smallest boxes are walked through by pages', async () => {
    const box = Buffer.from('\0\0\0\x08free', 'latin1');
    const path = file('a.mov', Buffer.alloc(16 * 1024 * 1024, box));
    const begun = process.cpuUsage();
    expect(await readForm(path)).toMatchObject({ form: 'boxes', indexed: false });
    const { user, system } = process.cpuUsage(begun);
    expect((user + system) / 1e6).toBeLessThan(5);
  });

  test('a Matroska identifier of more than 64 bits', () => {
    expect(() => identifier(Buffer.alloc(64, 1), { id: 0x73c5, at: 0, start: 0, end: 64 })).toThrow(
      MatroskaError,
    );
  });
});

test.each([
  ['blanks', `P6${' \t\n'.repeat(400)}`],
  ['blanks and comments', `P6 ${' # a bell\n'.repeat(100)}x`],
  ['blanks between numbers', `P6 64${' \n'.repeat(480)}48 x`],
])('a Netpbm head of nothing but %s is refused within a second', (_what, text) => {
  const begun = process.cpuUsage();
  expect(() => readNetpbmHead(Buffer.from(text.padEnd(1100, ' '), 'latin1'))).toThrow(RangeError);
  const { user, system } = process.cpuUsage(begun);
  expect((user + system) / 1e6).toBeLessThan(1);
});

test.each(['constructor', 'toString', '__proto__', 'hasOwnProperty'])(
  'a name that every object of the language has (%s) is no entity and no namespace of XML',
  (name) => {
    expect(() => parseXml(Buffer.from(`<a>&${name};</a>`))).toThrow(XmlError);
    expect(() => parseXml(Buffer.from(`<${name}:a/>`))).toThrow(XmlError);
  },
);
