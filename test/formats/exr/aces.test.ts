/** The ACES container (SMPTE ST 2065-4): our files keep every rule, each departure is named, files of others are judged. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { acesFaults, acesHeaderFaults, hasMeaning } from '../../../check/master/exr/aces.ts';
import { acesOptional, acesRequired } from '../../../media/formats/exr/aces-rules.ts';
import { type ExrAttribute, exrAttribute } from '../../../media/formats/exr/attribute.ts';
import { headerLayout } from '../../../media/formats/exr/header.ts';
import { attributesOf, readHeader } from '../../../check/master/exr/header.ts';
import { sourceOfBytes } from '../../../check/master/exr/source.ts';
import { walkExr } from '../../../check/master/exr/chunks.ts';
import { freshFolder } from '../../support/folder.ts';
import { encoded, grainy } from './encoded.ts';

const said = { owner: 'The bell foundry', cameraCCTSetting: 5600, free: { sourceFile: 'a.dng' } };
const frame = async (): Promise<Buffer> =>
  (await encoded({ width: 33, height: 21, compression: 'none', container: 'aces' }, grainy(33, 21), said))
    .bytes;

test('a frame of ours departs from no rule and has no name that the container has not', async () => {
  const bytes = await frame();
  const { header } = await walkExr(sourceOfBytes(bytes));
  expect(acesFaults(bytes, header)).toEqual([]);
  expect([...header.attributes.keys()].filter((name) => !hasMeaning(name))).toEqual([]);
  const required = [...header.attributes.keys()].filter((name) => name in acesRequired);
  expect(required).toEqual([
    'acesImageContainerFlag',
    'channels',
    'chromaticities',
    'compression',
    'dataWindow',
    'displayWindow',
    'lineOrder',
    'pixelAspectRatio',
    'screenWindowCenter',
    'screenWindowWidth',
  ]);
});

test("the checksums are MD5 of the scan lines' storage, and of the header with its own sixteen bytes zero", async () => {
  const bytes = await frame();
  const { attributes, end } = readHeader(bytes);
  const stored = (name: string): string => Buffer.from(attributes.get(name)?.bytes ?? []).toString('hex');
  expect(stored('imageChecksum')).toBe(
    createHash('md5')
      .update(bytes.subarray(end + 8 * 21))
      .digest('hex'),
  );
  const head = Buffer.from(bytes.subarray(0, end));
  head.fill(0, attributes.get('headerChecksum')?.at, (attributes.get('headerChecksum')?.at ?? 0) + 16);
  expect(stored('headerChecksum')).toBe(createHash('md5').update(head).digest('hex'));
});

test('a changed value and a changed header are each seen by their checksum', async () => {
  const bytes = await frame();
  bytes.writeUInt8(bytes.readUInt8(bytes.length - 1) ^ 1, bytes.length - 1);
  expect(acesFaults(bytes, readHeader(bytes))).toEqual([
    expect.stringMatching(/^imageChecksum is [0-9a-f]{32}, the bytes give [0-9a-f]{32}$/),
  ]);
  const other = await frame();
  other.write('the', other.indexOf('The bell'), 'latin1');
  expect(acesFaults(other, readHeader(other))).toEqual([expect.stringMatching(/^headerChecksum is/)]);
});

describe('each departure is named', () => {
  const channels = (names: string, change: object = {}): ExrAttribute =>
    exrAttribute(
      'channels',
      'chlist',
      names.split(' ').map((name) => ({
        name,
        pixelType: 'half' as const,
        linear: false,
        xSampling: 1,
        ySampling: 1,
        ...change,
      })),
    );
  const cases: [string, (attributes: Map<string, ExrAttribute>) => unknown, string[]][] = [
    ['nothing changed', () => null, []],
    ['alpha beside', (all) => all.set('channels', channels('A B G R')), []],
    ['two eyes', (all) => all.set('channels', channels('B G R left.B left.G left.R')), []],
    ['a checksum less', (all) => all.delete('imageChecksum'), []],
    [
      'an addition of others',
      (all) => all.set('foundryBell', exrAttribute('foundryBell', 'string', 'x')),
      [],
    ],
    ['no flag', (all) => all.delete('acesImageContainerFlag'), ['no attribute acesImageContainerFlag']],
    [
      'flag 2',
      (all) => all.set('acesImageContainerFlag', exrAttribute('acesImageContainerFlag', 'int', 2)),
      ['acesImageContainerFlag 2, not 1'],
    ],
    [
      'flag as a float',
      (all) => all.set('acesImageContainerFlag', exrAttribute('acesImageContainerFlag', 'float', 1)),
      ['attribute acesImageContainerFlag is of type float, not int'],
    ],
    ['no chromaticities', (all) => all.delete('chromaticities'), ['no attribute chromaticities']],
    [
      'chromaticities of BT.709',
      (all) =>
        all.set(
          'chromaticities',
          exrAttribute('chromaticities', 'chromaticities', {
            red: [0.64, 0.33],
            green: [0.3, 0.6],
            blue: [0.15, 0.06],
            white: [0.3127, 0.329],
          }),
        ),
      ['chromaticities other than those of ACES2065-1'],
    ],
    [
      'compression',
      (all) => all.set('compression', exrAttribute('compression', 'compression', 'zip')),
      ['compression zip, not none'],
    ],
    [
      'lines in any order',
      (all) => all.set('lineOrder', exrAttribute('lineOrder', 'lineOrder', 'random-y')),
      ['line order random-y'],
    ],
    ['one channel', (all) => all.set('channels', channels('Y')), ['channels Y']],
    [
      'floats',
      (all) => all.set('channels', channels('B G R', { pixelType: 'float' })),
      ['channel B is float, not half', 'channel G is float, not half', 'channel R is float, not half'],
    ],
    [
      'pLinear',
      (all) => all.set('channels', channels('B G R', { linear: true })),
      ['channel B has pLinear set', 'channel G has pLinear set', 'channel R has pLinear set'],
    ],
    [
      'a type that the container has not',
      (all) => all.set('m', exrAttribute('m', 'm33f', [1, 0, 0, 0, 1, 0, 0, 0, 1])),
      ['attribute m is of type m33f, which the container does not have'],
    ],
    [
      'an optional attribute of another type',
      (all) => all.set('isoSpeed', exrAttribute('isoSpeed', 'int', 800)),
      ['attribute isoSpeed is of type int, not float'],
    ],
    [
      'a short checksum',
      (all) => all.set('imageChecksum', exrAttribute('imageChecksum', 'string', 'abc')),
      ['imageChecksum of 3 bytes, not 16'],
    ],
    [
      'a header beyond 1 MiB',
      (all) => all.set('comments', exrAttribute('comments', 'string', 'x'.repeat(1_048_576))),
      [expect.stringMatching(/^a header of 10\d{5} bytes, more than 1048584$/) as unknown as string],
    ],
  ];
  test.each(cases)('%s', async (_name, change, faults) => {
    const attributes = new Map<string, ExrAttribute>(attributesOf(await frame()).attributes);
    change(attributes);
    expect(acesHeaderFaults(readHeader(headerLayout([...attributes.values()]).bytes))).toEqual(faults);
  });

  test('required attributes out of order', async () => {
    const bytes = await frame();
    const { attributes } = attributesOf(bytes);
    const entries = [...attributes.values()];
    const piece = ({ name, type, bytes: value }: ExrAttribute): Buffer =>
      Buffer.concat([
        Buffer.from(`${name}\0${type}\0`),
        Buffer.from(Uint32Array.of(value.length).buffer),
        value,
      ]);
    const turned = Buffer.concat([bytes.subarray(0, 8), ...entries.toReversed().map(piece), Buffer.of(0)]);
    expect(acesHeaderFaults(readHeader(turned))).toEqual([
      expect.stringMatching(/^required attributes in the order screenWindowWidth, /),
    ]);
  });
});

test('names and types of the optional attributes are those of the reference writer', () => {
  // Counted in ampas/aces_container, aces_attributestructs.h: 42 static ones and 5 that change with the frame.
  expect(Object.keys(acesOptional)).toEqual(Object.keys(acesOptional).toSorted());
  expect(Object.keys(acesOptional).length).toBe(47);
});

test('a container of others (SOURCES.md) keeps the rules; additions of its own are listed apart', async () => {
  const bytes = await readFile(resolve('test/fixtures/exr/aces-timecode-64x64.exr'));
  const { header } = await walkExr(sourceOfBytes(bytes));
  expect(acesFaults(bytes, header)).toEqual([]);
  expect([...header.attributes.keys()].some((name) => !hasMeaning(name))).toBe(true);
});

/** Written by OpenImageIO's oiiotool, whose EXR files are OpenEXR's own. */
test('one with alpha, a data window apart from the display window and pixels that are not square keeps the rules', async () => {
  const path = join(freshFolder(), 'anamorphic.exr');
  execFileSync('oiiotool', [
    ...['--create', '240x135', '4', '--fullsize', '3840x2160+128+476', '-d', 'half', '--compression', 'none'],
    ...[
      '--attrib:type=int',
      'acesImageContainerFlag',
      '1',
      '--attrib:type=float',
      'PixelAspectRatio',
      '1.32',
    ],
    ...['--attrib:type=float[2]', 'adoptedNeutral', '0.32168,0.33767'],
    ...['--attrib:type=float[2]', 'screenWindowCenter', '0,0'],
    ...['--attrib:type=float[8]', 'chromaticities', '0.7347,0.2653,0,1,0.0001,-0.077,0.32168,0.33767'],
    ...['-o', path],
  ]);
  const bytes = await readFile(path);
  const { header } = await walkExr(sourceOfBytes(bytes));
  expect(acesFaults(bytes, header)).toEqual([]);
  // As exrheader prints them.
  expect([header.dataWindow, header.displayWindow]).toEqual([
    { xMin: 0, yMin: 0, xMax: 239, yMax: 134 },
    { xMin: 128, yMin: 476, xMax: 3967, yMax: 2635 },
  ]);
  expect(header.channels.map(({ name }) => name)).toEqual(['A', 'B', 'G', 'R']);
});
