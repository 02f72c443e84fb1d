/** WAV files as recorders write them, read twice: by the reader of the survey and by the checker's own; held against ffmpeg. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { liesInPlace } from '../../check/sound/place.ts';
import { readWaveAgain } from '../../check/sound/wave.ts';
import { readWave } from '../../media/formats/wave/reader.ts';
import type { WaveHeader } from '../../media/formats/wave/header.ts';
import { samplesFromLabel } from '../../media/time/label-samples.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { clipFacts } from '../support/facts.ts';
import { sharedFolder } from '../support/folder.ts';
import { buildWave, type WaveOptions } from '../support/wave.ts';

const folder = mkdtempSync(join(sharedFolder, 'wave-'));
let files = 0;
function written(bytes: Buffer): string {
  files += 1;
  const path = join(folder, `${files}.wav`);
  writeFileSync(path, bytes);
  return path;
}
async function headerOf(path: string): Promise<WaveHeader> {
  const handle = await open(path, 'r');
  return await readWave(handle).finally(() => handle.close());
}

test.each<[title: string, options: WaveOptions]>([
  ['16 bits', { samples: 1000, bits: 16 }],
  ['24 bits of three channels, with a time', { samples: 999, channels: 3, timeReference: 2 ** 40 + 5 }],
  ['32 bits, RF64', { samples: 500, bits: 32, rf64: true, timeReference: 7 }],
  ['an extensible format of 5.1', { samples: 300, channels: 6, mask: 0x3f }],
  [
    'chunks of odd lengths before the samples',
    {
      samples: 11,
      channels: 1,
      before: [
        ['junk', Buffer.alloc(33)],
        ['iXML', Buffer.from('<x/>')],
      ],
    },
  ],
])('%s: both readers give what was written, and the samples that ffmpeg decodes', async (_, options) => {
  const path = written(buildWave(options));
  const { bits = 24, channels = 2, samples, timeReference, mask = null } = options;
  expect(await headerOf(path)).toMatchObject({
    form: options.rf64 === true ? 'rf64' : 'riff',
    sampleRate: 48_000,
    channels,
    bits,
    samples,
    channelMask: mask,
    timeReference: timeReference === undefined ? null : BigInt(timeReference),
  });
  const parts: Buffer[] = [];
  const again = await readWaveAgain(path, (part) => parts.push(Buffer.from(part)));
  expect(again).toMatchObject({
    sampleRate: 48_000,
    channels,
    bits,
    samples,
    since: timeReference === undefined ? null : BigInt(timeReference),
  });
  const decoded = execFileSync('ffmpeg', ['-v', 'error', '-i', path, '-f', 's32le', '-'], {
    maxBuffer: 1 << 24,
  });
  expect(Buffer.concat(parts).equals(decoded)).toBe(true);
});

test('a file that ffmpeg wrote with a time', async () => {
  const path = join(folder, 'of-ffmpeg.wav');
  execFileSync('ffmpeg', [
    ...['-v', 'error', '-y', '-f', 'lavfi', '-i', 'sine=r=96000:d=0.1', '-c:a', 'pcm_s24le'],
    ...['-write_bext', '1', '-metadata', 'time_reference=3456000123', path],
  ]);
  expect(await headerOf(path)).toMatchObject({
    sampleRate: 96_000,
    channels: 1,
    bits: 24,
    samples: 9600,
    timeReference: 3_456_000_123n,
  });
});

describe('what is refused, in words', () => {
  const whole = buildWave({ samples: 100, timeReference: 5 });
  const edited = (edit: (bytes: Buffer) => void): Buffer => {
    const bytes = Buffer.from(whole);
    edit(bytes);
    return bytes;
  };
  test.each<[bytes: Buffer, what: RegExp]>([
    [whole.subarray(0, whole.length - 1), /"data" ends at byte \d+ of a file of/],
    [Buffer.from('RIFF'), /no WAV file/],
    [edited((bytes) => bytes.write('AIFF', 8)), /no WAV file/],
    [edited((bytes) => bytes.write('junk', whole.indexOf('data'))), /no samples/],
    [edited((bytes) => bytes.write('junk', whole.indexOf('fmt '))), /no format/],
    [edited((bytes) => bytes.writeUInt32LE(0xffff_ffff, whole.indexOf('data') + 4)), /never closed/],
    [buildWave({ samples: 10, formatTag: 85, bits: 32 }), /format 85/],
    [buildWave({ samples: 10, formatTag: 3, bits: 24 }), /floats of 24 bits/],
  ])('%#: %s', async (bytes, what) => {
    await expect(headerOf(written(bytes))).rejects.toThrow(what);
  });

  test.each([
    ['plain', 'pcm_f32le', 2],
    ['of six channels, extensible', 'pcm_f32le', 6],
  ])('floats of 32 bits as ffmpeg writes them, %s, are read, and named', async (_what, codec, channels) => {
    const path = written(Buffer.alloc(0));
    execFileSync('ffmpeg', [
      ...['-v', 'error', '-y', '-f', 'lavfi', '-i', 'sine=r=48000:d=0.1', '-ac', String(channels)],
      ...['-c:a', codec, path],
    ]);
    expect(await headerOf(path)).toMatchObject({ coding: 'float', bits: 32, channels, samples: 4800 });
  });

  test('no file of chunks without end is walked for ever', async () => {
    const bytes = Buffer.concat([whole.subarray(0, 12), Buffer.alloc(16_384)]);
    await expect(headerOf(written(bytes))).rejects.toThrow('more than 1000 chunks');
  });

  test('a bit that is turned is another checksum', async () => {
    const bytes = edited((turned) =>
      turned.writeUInt8(turned.readUInt8(turned.length - 5) ^ 1, turned.length - 5),
    );
    const [one, other] = [
      await readWaveAgain(written(whole), () => undefined),
      await readWaveAgain(written(bytes), () => undefined),
    ];
    expect(one?.sha256).not.toBe(other?.sha256);
    expect(readFileSync(written(whole)).equals(whole)).toBe(true);
  });
});

describe('where a sample lies against a label', () => {
  const FILM = { num: 24_000, den: 1001 };
  const VIDEO = { num: 30_000, den: 1001 };
  // By hand: at 24000/1001 a frame lasts 2002 samples of 48 kHz; at 30000/1001, 1601.6.
  test.each<[label: string, rate: typeof FILM, since: number, sampleRate: number, samples: number]>([
    ['00:00:00:00', FILM, 0, 48_000, 0],
    ['01:00:00:00', FILM, 24 * 3600 * 2002, 48_000, 0],
    ['01:00:00:01', FILM, 24 * 3600 * 2002 + 2002 - 3, 48_000, -3],
    ['10:00:00:00', { num: 25, den: 1 }, 36_000 * 96_000 + 17, 96_000, 17],
    // Drop-frame: 107892 frames an hour (SMPTE ST 12-1), 172799827.2 samples.
    ['01:00:00;00', VIDEO, 172_799_827, 48_000, 0],
    ['01:00:00;00', VIDEO, 172_799_828, 48_000, 1],
    // A second before midnight against a label just behind it.
    ['00:00:00:01', { num: 24, den: 1 }, 86_399 * 48_000, 48_000, -50_000],
    ['23:59:59:00', { num: 24, den: 1 }, 2000, 48_000, 50_000],
  ])(
    '%s at %j: sample %i of the day at %i Hz lies %i samples behind it',
    (label, rate, since, sampleRate, samples) => {
      const timecode = parseTimecode(label, rate);
      expect(samplesFromLabel(BigInt(since), sampleRate, timecode, rate)).toBe(samples);
      const facts = clipFacts({ video: { rate }, timecode });
      const lies = (startOffset: number): boolean =>
        liesInPlace({ startOffset, samples: 200_000, sampleRate }, { since: BigInt(since) }, facts);
      expect([lies(samples), lies(samples + 1), lies(samples - 1)]).toEqual([true, false, false]);
    },
  );

  test('without a time of one of them it begins with the picture, and nowhere else', () => {
    const facts = clipFacts({ timecode: null });
    const track = { samples: 100, sampleRate: 48_000 };
    expect(liesInPlace({ ...track, startOffset: 0 }, { since: 5n }, facts)).toBe(true);
    expect(liesInPlace({ ...track, startOffset: 1 }, { since: 5n }, facts)).toBe(false);
  });
});
