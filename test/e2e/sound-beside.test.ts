/** Sound files that a camera wrote beside its frames, through a whole night: which clip they belong to, where they lie, and what is held. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import type { Recording } from '../../ledger/recording.ts';
import { beforeAll, describe, expect, test } from 'vitest';
import { commandProcess, runCli } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { runWords } from '../support/night.ts';
import { buildWave, strikes, type WaveOptions } from '../support/wave.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'sound-beside');
const day = join(base, 'day-03');
const delivery = join(base, 'delivery');
const FRAMES = 12;
/** Kept sample for sample. */
const kept = further('R007');
/** 48000 times 1001 / 24000, and 25 frames a second of samples at 96 kHz. */
const A_FRAME = 2002;
const PICTURE = FRAMES * A_FRAME;
/** 06:41:10:00 at 23.976: frames since midnight, each so many samples long. */
const MORNING = (6 * 3600 + 41 * 60 + 10) * 24 * A_FRAME;

function writeFrames(roll: string, clip: string): void {
  const folder = join(day, roll, clip);
  mkdirSync(folder, { recursive: true });
  for (let index = 0; index < FRAMES; index += 1)
    writeFileSync(
      join(folder, `${clip}_${String(index).padStart(6, '0')}.dng`),
      buildDng({
        width: 96,
        height: 64,
        samples: testSamples(96, 64, 12, index + 1),
        bits: 12,
        rate: [24_000, 1001],
        timecode: `06:41:10:${String(index).padStart(2, '0')}`,
      }),
    );
}

/** Of ffmpeg, with timecode and rate put into each header. */
function writeDpx(roll: string, clip: string): void {
  const folder = join(day, roll, clip);
  mkdirSync(folder, { recursive: true });
  execFileSync('ffmpeg', [
    ...['-v', 'error', '-f', 'lavfi', '-i', 'testsrc2=s=128x72:r=24000/1001', '-frames:v', String(FRAMES)],
    ...['-pix_fmt', 'gbrp10le', '-start_number', '1', join(folder, `${clip}.%04d.dpx`)],
  ]);
  for (let index = 0; index < FRAMES; index += 1) {
    const path = join(folder, `${clip}.${String(index + 1).padStart(4, '0')}.dpx`);
    const written = readFileSync(path);
    // Little-endian. ffmpeg leaves out the headers of film and television (SMPTE ST 268), which lie between 1664 and 2048.
    const bytes = Buffer.concat([written.subarray(0, 1664), Buffer.alloc(384, 0xff), written.subarray(1664)]);
    bytes.writeUInt32LE(2048, 4);
    bytes.writeUInt32LE(bytes.length, 16);
    // Binary coded decimal digits.
    bytes.writeUInt32LE(0x06411000 + Number.parseInt(String(index), 16), 1920);
    bytes.writeFloatLE(24_000 / 1001, 1940);
    writeFileSync(path, bytes);
  }
}

function writeSound(roll: string, file: string, options: WaveOptions): void {
  mkdirSync(dirname(join(day, roll, file)), { recursive: true });
  writeFileSync(join(day, roll, file), buildWave(options));
}

interface Verdict {
  readonly verdict: string;
  readonly otherFiles: readonly string[];
  readonly recordings?: readonly Recording[];
  readonly findings: readonly { readonly code: string; readonly found: string }[];
  readonly clips: readonly { readonly clip: { readonly place: unknown } }[];
}
const verdictOf = (roll: string): Verdict =>
  JSON.parse(readFileSync(join(delivery, 'day-03', roll, 'roll.json'), 'utf8')) as Verdict;

/** Samples of 24 bits of each channel, as ffmpeg decodes the first track. */
function heard(roll: string, profile: string, file: string): number[][] {
  const path = join(delivery, 'day-03', roll, profile, file);
  const channels = Number(
    execFileSync(
      'ffprobe',
      ['-v', 'error', '-select_streams', 'a:0', '-show_entries', 'stream=channels', '-of', 'csv=p=0', path],
      { encoding: 'utf8' },
    ),
  );
  const bytes = execFileSync('ffmpeg', ['-v', 'error', '-i', path, '-map', '0:a:0', '-f', 's24le', '-'], {
    maxBuffer: 1 << 28,
  });
  return Array.from({ length: channels }, (_, channel) =>
    Array.from({ length: bytes.length / (3 * channels) }, (_, at) =>
      bytes.readIntLE((at * channels + channel) * 3, 3),
    ),
  );
}

/** What the file that was written has at each sample of the picture, when it begins `start` samples behind it. */
function wanted(
  { start, samples, bits = 24 }: { start: number; samples: number; bits?: number },
  channel: number,
): number[] {
  const value = strikes(48_000);
  const full = 2 ** (bits - 1);
  return Array.from({ length: PICTURE }, (_, at) =>
    // Of a negative zero there is none in a file.
    at < start || at - start >= samples
      ? 0
      : Math.round(value(at - start, channel) * full) * 2 ** (24 - bits) || 0,
  );
}

const LATE = { start: 7, samples: PICTURE - 18 };
const EARLY = { start: -480, samples: PICTURE + 580, bits: 16 };

beforeAll(async () => {
  const sound = { samples: PICTURE, timeReference: MORNING };
  writeFrames('R001', 'R001C001');
  writeSound('R001', 'R001C001/R001C001.WAV', { samples: LATE.samples, timeReference: MORNING + LATE.start });
  writeDpx('R002', 'R002C001');
  writeSound('R002', 'sound/T007.wav', {
    samples: EARLY.samples,
    timeReference: MORNING + EARLY.start,
    bits: 16,
    channels: 1,
    rf64: true,
  });
  writeFrames('R003', 'R003C001');
  writeSound('R003', 'R003C001/R003C001.wav', sound);
  writeSound('R003', 'R003C001.wav', sound);
  // Two seconds later than a file may begin.
  writeFrames('R004', 'R004C001');
  writeSound('R004', 'T008.wav', { ...sound, timeReference: MORNING + 96_000 });
  writeFrames('R005', 'R005C001');
  writeSound('R005', 'R005C001.wav', { ...sound, timeReference: MORNING + 480_000 });
  writeFrames('R006', 'R006C001');
  writeSound('R006', 'R006C001.wav', { ...sound, bits: 32, formatTag: 3 });
  for (const roll of kept) {
    writeDpx(roll, `${roll}C001`);
    writeSound(roll, `${roll}C001.wav`, sound);
  }
  // A recorder's roll: of the same minute, and of an hour in which no camera ran.
  const words = Buffer.from(
    '<BWFXML><SCENE>4</SCENE><TAKE>2</TAKE><TRACK_LIST><TRACK><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME></TRACK></TRACK_LIST></BWFXML>',
  );
  writeSound('S001', '4-T2.WAV', {
    ...{ samples: PICTURE + 48_000, channels: 1, timeReference: MORNING - 24_000 },
    before: [['iXML', words]],
  });
  writeSound('S001', 'WILD.WAV', { samples: 4800, bits: 32, formatTag: 3, timeReference: 3600 * 48_000 });
  for (const roll of ['R001', 'R002', 'R003', 'R004', 'R005', 'R006', 'S001', ...kept])
    writeMd5Manifest(join(day, roll));
  const settings = join(base, 'show.yaml');
  writeFileSync(
    settings,
    `version: 1\nshow: { profiles: [editorial-rdd36, review-h264] }\nrolls:\n  R001: { profiles: [editorial-rdd36, review-h264, grading-master-4444] }\n${kept.map((roll) => `  ${roll}: { profiles: [archive-ffv1] }\n`).join('')}`,
  );
  const ran = await runCli(
    runWords(
      { day, delivery, work: join(base, 'work'), profiles: [] },
      '--settings',
      settings,
      '--workers',
      '1',
    ),
  );
  if (process.env.SHOW) console.log(ran.stdout, ran.stderr);
}, 400_000);

describe('by its name, beside raw frames', () => {
  test('the roll is ready, the file is part of the clip, and the rule is said', () => {
    expect(verdictOf('R001')).toMatchObject({
      verdict: 'ready',
      otherFiles: ['checksums.md5'],
      clips: [{ clip: { place: { sound: { file: 'R001C001/R001C001.WAV', matchedBy: 'name' } } } }],
    });
    const said = verdictOf('R001').findings.find(({ code }) => code === 'sound-beside');
    expect(said?.found).toContain(
      'R001C001/R001C001.WAV, by its name: 2 channels of 24 bits at 48000 Hz, 24006 samples; begins 7 samples (0.1 ms) after the first frame',
    );
  });

  test.each(['editorial-rdd36', 'grading-master-4444'])(
    'in %s every sample lies where it was recorded',
    (profile) => {
      const file = profile === 'editorial-rdd36' ? 'R001C001.mov' : 'R001C001.mov';
      const channels = heard('R001', profile, file);
      expect(channels.length).toBe(2);
      for (const [channel, samples] of channels.entries()) expect(samples).toEqual(wanted(LATE, channel));
    },
  );
});

describe('by its time and length, beside DPX', () => {
  test('what was recorded before the first frame and behind the last is cut off, to the sample', () => {
    expect(verdictOf('R002')).toMatchObject({
      verdict: 'ready',
      clips: [{ clip: { place: { sound: { file: 'sound/T007.wav', matchedBy: 'timecode' } } } }],
    });
    expect(heard('R002', 'editorial-rdd36', 'R002C001.mov')).toEqual([wanted(EARLY, 0)]);
  });
});

test.each(kept)('%s keeps every sample of the file', (roll) => {
  expect(verdictOf(roll)).toMatchObject({ verdict: 'ready' });
  for (const [channel, samples] of heard(roll, 'archive-ffv1', `${roll}C001.mkv`).entries())
    expect(samples).toEqual(wanted({ start: 0, samples: PICTURE }, channel));
});

test.each([
  ['R003', 'held', 'sound-ambiguous', 'R003C001.wav, R003C001/R003C001.wav, by its name'],
  ['R004', 'ready', 'sound-unmatched', '2 channels of 24 bits at 48000 Hz'],
  ['R005', 'held', 'sound-elsewhere', 'samples since midnight'],
  ['R006', 'held', 'sound-unreadable', 'samples of format 3'],
])('%s is %s: %s', (roll, verdict, code, found) => {
  const { findings, verdict: stated } = verdictOf(roll);
  expect([stated, findings.map((item) => item.code)]).toEqual([verdict, expect.arrayContaining([code])]);
  expect(findings.find((item) => item.code === code)?.found).toContain(found);
});

test('an audit says the same as the night, without the sound files', async () => {
  const { stdout } = await runCommand(['audit', delivery, '--json']);
  const { rolls } = JSON.parse(stdout) as { rolls: { roll: string; measured: string }[] };
  expect(rolls.filter(({ measured }) => measured === 'ready').map(({ roll }) => roll)).toEqual([
    'R001',
    'R002',
    'R004',
    ...kept,
    'S001',
  ]);
}, 120_000);

test('a sound roll is verified, ready, and laid beside all clips that ran with it', async () => {
  const { verdict, recordings = [], otherFiles, findings } = verdictOf('S001');
  expect(verdict).toBe('ready');
  expect(otherFiles).toEqual(expect.arrayContaining(['4-T2.WAV', 'WILD.WAV']));
  const [take, wild] = recordings;
  expect(take).toMatchObject({
    files: ['4-T2.WAV'],
    scene: '4',
    take: '2',
    channels: 1,
    samples: PICTURE + 48_000,
  });
  expect(take?.tracks).toEqual([{ channel: 1, name: 'Boom', file: '4-T2.WAV', inFile: 1 }]);
  // Frames of raw say their time, and the others' headers too: all began half a second after the recorder.
  expect(
    take?.clips.map(({ clip, startSamples, overlapSamples }) => [clip, startSamples, overlapSamples]),
  ).toEqual(
    ['R001', 'R002', 'R003', 'R004', 'R005', 'R006', ...kept].map((roll) => [
      `${roll}C001`,
      -24_000,
      PICTURE,
    ]),
  );
  expect(wild).toMatchObject({ files: ['WILD.WAV'], clips: [] });
  expect(findings.map(({ code }) => code)).toEqual(['sound-roll-matched', 'sound-alone']);
  const audited = await runCli(['audit', delivery, '--json']);
  const { rolls } = JSON.parse(audited.stdout) as {
    readonly rolls: readonly {
      readonly roll: string;
      readonly measured: string;
      readonly statement: string;
    }[];
  };
  expect(rolls.find(({ roll }) => roll === 'S001')).toMatchObject({ measured: 'ready', statement: 'fits' });
});
