import { copyFileSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { openInput } from '../../media/input.ts';
import { type ProbeResult, probeMovie } from '../../media/probe/index.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import { type MediaTools, locateTools } from '../../process/locate.ts';
import { runForOutput } from '../../process/run.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { type MovieOptions, ffmpeg, makeMovie } from '../support/media.ts';
import { mediainfo } from './mediainfo.ts';

const fixtures = resolve('test/fixtures');
let tools: MediaTools;
beforeAll(async () => {
  tools = await locateTools();
});

async function probe(path: string): Promise<ProbeResult> {
  const input = await openInput('/', { kind: 'movie', file: path });
  return await probeMovie(input, tools).finally(() => input.dispose());
}

async function measured(path: string): Promise<Extract<ProbeResult, { state: 'measured' }>> {
  const result = await probe(path);
  if (result.state !== 'measured') throw new Error(`${result.problem}: ${result.detail}`);
  return result;
}

/** Frames that a decoder gives, edit lists honoured: the independent count. */
async function decodedFrames(path: string): Promise<number> {
  const run = await runForOutput(
    'ffmpeg',
    [
      '-loglevel',
      'error',
      '-nostdin',
      '-i',
      path,
      '-map',
      '0:v:0',
      '-fps_mode',
      'passthrough',
      '-f',
      'framecrc',
      '-',
    ],
    { stallMilliseconds: 60_000 },
  );
  return run.stdout
    .toString('utf8')
    .split('\n')
    .filter((line) => /^\d/.test(line)).length;
}

async function decodedSamples(path: string, channels: number): Promise<number> {
  const run = await runForOutput(
    'ffmpeg',
    ['-loglevel', 'error', '-nostdin', '-i', path, '-map', '0:a:0', '-f', 's16le', '-c:a', 'pcm_s16le', '-'],
    { stallMilliseconds: 60_000 },
  );
  return run.stdout.length / 2 / channels;
}

/** By MediaInfo's names: SMPTE ST 2019-1, SMPTE RDD 36, ITU-T H.264. */
const standards: Readonly<Record<string, string>> = { 'VC-3': 'vc3', ProRes: 'rdd36', AVC: 'h264' };

describe('facts equal what MediaInfo reads of the same file', () => {
  test.each<[name: string, file: string, options: MovieOptions]>([
    [
      'RDD 36 in MOV at 23.976 with two tracks',
      'a.mov',
      { codec: 'prores', audio: [2, 1], timecode: '01:00:00:00' },
    ],
    [
      'VC-3 in MXF at 29.97 drop-frame',
      'c.mxf',
      { codec: 'dnxhr', rate: '30000/1001', timecode: '01:00:00;02', audio: [1] },
    ],
    [
      'H.264 in MP4 at 24 with audio as AAC',
      'e.mp4',
      { codec: 'h264', rate: '24', timecode: '23:59:59:12', extra: ['-c:a', 'aac'] },
    ],
    ...further<[name: string, file: string, options: MovieOptions]>(
      ['VC-3 in MOV at 25', 'b.mov', { codec: 'dnxhr', rate: '25', timecode: '10:11:12:13' }],
      ['VC-3 in MXF at 50', 'd.mxf', { codec: 'dnxhr', rate: '50', timecode: '09:59:59:49', audio: [2] }],
      [
        'H.264 in MOV at 59.94 drop-frame',
        'f.mov',
        { codec: 'h264', rate: '60000/1001', timecode: '00:09:59;58' },
      ],
      [
        'RDD 36 in MOV at 47.952',
        'g.mov',
        { codec: 'prores', rate: '48000/1001', timecode: '12:00:00:47', audio: [] },
      ],
      [
        'H.264 in MP4 at 60',
        'h.mp4',
        { codec: 'h264', rate: '60', timecode: '12:00:00:59', audio: [], frames: 48 },
      ],
    ),
  ])('%s', async (_name, file, options) => {
    const path = await makeMovie(join(freshFolder(), file), options);
    const { facts, evidence } = await measured(path);
    const other = await mediainfo(path);
    expect(String(facts.video.frames)).toBe(other.video.FrameCount);
    expect(facts.video.codec).toBe(standards[other.video.Format ?? '']);
    expect([String(facts.video.width), String(facts.video.height)]).toEqual([
      other.video.Width,
      other.video.Height,
    ]);
    // MediaInfo leaves the pair out for whole rates.
    expect(facts.video.rate).toEqual({
      num: Number(other.video.FrameRate_Num ?? Number(other.video.FrameRate)),
      den: Number(other.video.FrameRate_Den ?? 1),
    });
    expect(facts.video.rateConstant).toBe(true);
    expect(facts.video.steps).toHaveLength(1);
    const label = other.other.find((track) => track.TimeCode_FirstFrame !== undefined)?.TimeCode_FirstFrame;
    expect(facts.timecode === null ? undefined : formatTimecode(facts.timecode)).toBe(label);
    expect(label).toBe(options.timecode);
    expect(facts.audio.map((track) => [String(track.channels), String(track.sampleRate)])).toEqual(
      other.audio.map((track) => [track.Channels, track.SamplingRate]),
    );
    // MediaInfo makes its sample count from a duration in whole milliseconds.
    for (const [index, track] of facts.audio.entries())
      expect(Math.abs(track.samples - Number(other.audio[index]?.SamplingCount))).toBeLessThanOrEqual(48);
    expect(facts.audio.every((track) => track.startOffset === 0)).toBe(true);
    expect(evidence.readErrors).toEqual([]);
    expect(facts.video.colour.primaries).toBe('bt709');
  });

  // SOURCES.md names the origin of each; MediaInfo is asked again.
  test.each([
    ['hevc-10bit.mp4', { bitDepth: 10, fieldOrder: 'progressive', rotation: 0 }],
    ['interlaced-2997-timecode.mov', { bitDepth: 8, fieldOrder: 'bottom-first', rotation: 0 }],
    ['mpeg2-1080i50.mov', { bitDepth: 8, fieldOrder: 'top-first', rotation: 0 }],
    ['rdd36-proxy.mov', { bitDepth: 10, fieldOrder: 'progressive', rotation: 0 }],
    ['rotated-90.mov', { bitDepth: 8, fieldOrder: 'progressive', rotation: 90 }],
  ])('fixture %s', async (file, expected) => {
    const path = join(fixtures, 'movies', file);
    const { facts } = await measured(path);
    const { video } = await mediainfo(path);
    expect(facts.video).toMatchObject(expected);
    expect(String(facts.video.frames)).toBe(video.FrameCount);
    expect(`${facts.video.rate.num}/${facts.video.rate.den}`).toBe(
      `${video.FrameRate_Num}/${video.FrameRate_Den}`,
    );
    expect(Number(video.Rotation ?? 0)).toBe(facts.video.rotation);
    const order = { 'top-first': 'TFF', 'bottom-first': 'BFF', progressive: undefined, unknown: undefined }[
      facts.video.fieldOrder
    ];
    expect(video.ScanOrder).toBe(order);
    expect((facts.video.pixelAspect.num / facts.video.pixelAspect.den).toFixed(2)).toBe(
      Number(video.PixelAspectRatio).toFixed(2),
    );
  });
});

describe('audio', () => {
  test.each<[string, number, number]>([
    ['24000/1001', 24, 48_048],
    ['60000/1001', 6, 4_805],
    ...further<[string, number, number]>(['25', 25, 48_000], ['30000/1001', 30, 48_048]),
  ])('uncompressed audio of %s is counted to the sample', async (rate, frames, samples) => {
    const path = await makeMovie(join(freshFolder(), 'a.mov'), { rate, frames, audio: [2] });
    const { facts } = await measured(path);
    expect(facts.audio[0]).toMatchObject({
      codec: 'pcm_s24le',
      bitDepth: 24,
      channels: 2,
      layout: 'stereo',
      sampleRate: 48_000,
      samples,
      startOffset: 0,
    });
    expect(samples).toBe(await decodedSamples(path, 2));
  });

  test('priming of compressed audio is not part of it', async () => {
    // 1001 * 24 / 24000 s = 48 048 samples: 46 blocks of 1024 and a part.
    const path = await makeMovie(join(freshFolder(), 'a.mp4'), {
      codec: 'h264',
      frames: 24,
      extra: ['-c:a', 'aac'],
    });
    const { facts } = await measured(path);
    expect(facts.audio[0]).toMatchObject({ codec: 'aac', samples: 48_048, startOffset: 0 });
  });

  test('audio that starts late is reported in samples', async () => {
    const folder = freshFolder();
    const path = join(folder, 'late.mov');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=320x180:r=25:d=1',
      '-itsoffset',
      '0.25',
      '-f',
      'lavfi',
      '-i',
      'sine=r=48000:d=0.5',
      '-map',
      '0:v',
      '-map',
      '1:a',
      '-c:v',
      'prores_ks',
      '-c:a',
      'pcm_s16le',
      path,
    );
    expect((await measured(path)).facts.audio[0]).toMatchObject({ samples: 24_000, startOffset: 12_000 });
  });

  test('audio of another length than the picture keeps its own', async () => {
    const path = await makeMovie(join(freshFolder(), 'a.mov'), { frames: 48, rate: '24', audioSeconds: 1 });
    const { facts } = await measured(path);
    expect([facts.video.frames, facts.audio[0]?.samples]).toEqual([48, 48_000]);
  });
});

/** The edit list ends inside the last block of 1024 samples, which a decoder gives whole. */
function expectEndOfBlock(samples: number | undefined, decoded: number): void {
  expect(samples).toBeLessThanOrEqual(decoded);
  expect(samples).toBeGreaterThan(decoded - 1024);
}

describe('edit lists: what is shown counts', () => {
  test('a long-GOP clip cut by copying packets has the frames that a decoder shows', async () => {
    const folder = freshFolder();
    const whole = await makeMovie(join(folder, 'whole.mp4'), {
      codec: 'h264',
      frames: 60,
      extra: ['-c:a', 'aac'],
    });
    const cut = join(folder, 'cut.mp4');
    await ffmpeg('-ss', '0.8', '-i', whole, '-c', 'copy', cut);
    const { facts, evidence } = await measured(cut);
    expect(facts.video.frames).toBe(await decodedFrames(cut));
    expect(facts.video.frames).toBeLessThan(evidence.picturePackets);
    expect(facts.video.claimedFrames).toBe(evidence.picturePackets);
    expectEndOfBlock(facts.audio[0]?.samples, await decodedSamples(cut, 2));
  });

  test('a cut inside uncompressed audio skips the samples before it', async () => {
    const folder = freshFolder();
    const whole = await makeMovie(join(folder, 'whole.mov'), { frames: 48, audio: [1] });
    const cut = join(folder, 'cut.mov');
    await ffmpeg('-ss', '0.53', '-i', whole, '-map', '0:v', '-map', '0:a', '-c', 'copy', cut);
    const { facts } = await measured(cut);
    expect(facts.video.frames).toBe(await decodedFrames(cut));
    expectEndOfBlock(facts.audio[0]?.samples, await decodedSamples(cut, 1));
  });
});

describe('constant or not', () => {
  test('a variable rate is seen, with every step', async () => {
    const path = join(freshFolder(), 'vfr.mp4');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=320x180:r=30:d=2',
      '-vf',
      "select='not(eq(mod(n\\,7)\\,3))'",
      '-fps_mode',
      'vfr',
      '-c:v',
      'libx264',
      '-preset',
      'ultrafast',
      path,
    );
    const { facts } = await measured(path);
    expect(facts.video.rateConstant).toBe(false);
    expect(facts.video.steps.length).toBe(2);
    expect(facts.video.steps.reduce((sum, step) => sum + step.count, 0)).toBe(facts.video.frames - 1);
    expect(facts.video.frames).toBe(await decodedFrames(path));
  });

  test.each<[string, string, string[]]>([
    ['in a millisecond base', 'a.mkv', []],
    ...further<[string, string, string[]]>([
      'in a 90 kHz base',
      'a.mov',
      ['-video_track_timescale', '90000'],
    ]),
    ['carried from milliseconds into MOV', 'b.mov', ['-via', 'mkv']],
  ])('23.976 %s is constant and exact', async (_name, file, extra) => {
    const folder = freshFolder();
    const source = await makeMovie(join(folder, 'source.mov'), {
      codec: 'h264',
      frames: 48,
      audio: [],
      timecode: null,
    });
    let from = source;
    if (extra[0] === '-via') {
      from = join(folder, 'middle.mkv');
      await ffmpeg('-i', source, '-c', 'copy', from);
    }
    const path = join(folder, file);
    await ffmpeg('-i', from, '-c', 'copy', ...(extra[0] === '-via' ? [] : extra), path);
    const { facts } = await measured(path);
    expect(facts.video).toMatchObject({ frames: 48, rateConstant: true, rate: { num: 24000, den: 1001 } });
    expect(facts.video.steps).toHaveLength(1);
  });
});

describe('timecode and reel', () => {
  test('reel name, creation time and other tags come along', async () => {
    const path = await makeMovie(join(freshFolder(), 'a.mov'), {
      extra: [
        '-metadata:s:v:0',
        'reel_name=A001_BELL',
        '-metadata',
        'creation_time=2031-03-04T05:06:07Z',
        '-metadata',
        'comment=second pour',
      ],
    });
    const { facts } = await measured(path);
    expect(facts.reel).toBe('A001_BELL');
    expect(facts.createdAt).toBe('2031-03-04T05:06:07.000000Z');
    expect(facts.metadata.comment).toBe('second pour');
    expect(facts.timecodeFrom).toBe('tmcd');
  });

  test('none is null', async () => {
    const path = await makeMovie(join(freshFolder(), 'a.mov'), { timecode: null });
    expect((await measured(path)).facts).toMatchObject({ timecode: null, timecodeFrom: null, reel: null });
  });

  // ffmpeg writes a timecode component that starts at 0 into every MXF file.
  test('an MXF file without timecode cannot be told from one that starts at zero', async () => {
    const folder = freshFolder();
    const without = await makeMovie(join(folder, 'a.mxf'), { codec: 'dnxhr', timecode: null, audio: [1] });
    const zero = await makeMovie(join(folder, 'b.mxf'), {
      codec: 'dnxhr',
      timecode: '00:00:00:00',
      audio: [1],
    });
    const zeroCode = { frame: 0, base: 24, drop: false };
    expect([(await measured(without)).facts.timecode, (await measured(zero)).facts.timecode]).toEqual([
      zeroCode,
      zeroCode,
    ]);
  });

  test('a label that does not exist is refused with its reason', async () => {
    const folder = freshFolder();
    const path = await makeMovie(join(folder, 'a.mov'), { rate: '25', timecode: '25:00:00:00' });
    const { facts, evidence } = await measured(path);
    expect(facts.timecode).toBeNull();
    expect(evidence.refusedTimecode).toContain('25:00:00:00');
  });

  test('a timecode track may count at half the rate of the picture', async () => {
    const folder = freshFolder();
    const path = await makeMovie(join(folder, 'a.mov'), { rate: '50', timecode: '01:00:00:10' });
    // tmcd sample description (QuickTime File Format Specification, “Timecode Sample Description”): timescale, frame duration, frames in a second. 12800/256/50 becomes 12800/512/25, the sample 180010 becomes 90005.
    const bytes = readFileSync(path);
    const entry = Buffer.from('00003200000001003200', 'hex');
    const at = bytes.indexOf(entry);
    expect(at).not.toBe(-1);
    expect(bytes.lastIndexOf(entry)).toBe(at);
    Buffer.from('00003200000002001900', 'hex').copy(bytes, at);
    const sample = bytes.indexOf(Buffer.from('0002bf2a', 'hex'));
    expect(sample).not.toBe(-1);
    bytes.writeUInt32BE(90_005, sample);
    writeFileSync(path, bytes);
    const { facts } = await measured(path);
    expect(facts.video.rate).toEqual({ num: 50, den: 1 });
    expect(facts.timecode).toEqual({ frame: 90_005, base: 25, drop: false });
  });
});

describe('what cannot be measured has a typed problem', () => {
  const problemOf = async (path: string): Promise<string> => {
    const result = await probe(path);
    return result.state === 'problem' ? result.problem : 'measured';
  };

  test('empty, noise, no index', async () => {
    const folder = freshFolder();
    const file = (name: string): string => join(folder, name);
    writeFileSync(file('empty.mov'), '');
    writeFileSync(file('noise.mov'), Buffer.alloc(20_000, 0x9d));
    await makeMovie(file('no-index.mov'));
    truncateSync(file('no-index.mov'), Math.floor(statSync(file('no-index.mov')).size * 0.6));
    expect([
      await problemOf(file('empty.mov')),
      await problemOf(file('noise.mov')),
      await problemOf(file('no-index.mov')),
    ]).toEqual(['empty', 'not-media', 'no-index']);
  });

  test.each([
    ['timecode alone', 'movies/timecode-only-23976.mov', 'no-picture'],
    ['a chunk beyond the end', 'damaged/mp4parse_chunk_out_of_range.mp4', 'unreadable'],
  ])('%s', async (_name, file, problem) => {
    expect(await problemOf(join(fixtures, file))).toBe(problem);
  });

  test('audio alone', async () => {
    const path = join(freshFolder(), 'audio.mov');
    await ffmpeg('-f', 'lavfi', '-i', 'sine=d=0.2', '-c:a', 'pcm_s16le', path);
    expect(await problemOf(path)).toBe('no-picture');
  });

  test.each([
    ['list.mov', 'ffconcat version 1.0\nfile inner.mov\n'],
    ['stream.mp4', '#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\ninner.mov\n#EXT-X-ENDLIST\n'],
  ])('a playlist that calls itself %s opens nothing', async (name, text) => {
    const folder = freshFolder();
    await makeMovie(join(folder, 'inner.mov'));
    writeFileSync(join(folder, name), text);
    expect(await problemOf(join(folder, name))).toBe('playlist');
    // Without our own look at the text, the guard of the arguments alone keeps ffprobe from following it.
    const input = await openInput(folder, { kind: 'movie', file: name });
    const guarded = await runForOutput(
      tools.ffprobe.path,
      ['-loglevel', 'error', '-show_entries', 'stream=codec_type', ...input.args],
      { stallMilliseconds: 60_000 },
    );
    expect(guarded.exitCode).not.toBe(0);
    expect(guarded.stdout.toString('utf8')).not.toContain('codec_type');
  });

  test('a stop ends the scan with the reason of the signal', async () => {
    const path = await makeMovie(join(freshFolder(), 'a.mov'));
    const input = await openInput('/', { kind: 'movie', file: path });
    const reason = new Error('enough');
    await expect(probeMovie(input, tools, { signal: AbortSignal.abort(reason) })).rejects.toBe(reason);
  });
});

describe('truncated files with an index are measured, and the evidence shows it', () => {
  test('MOV: fewer packets than claimed, and the structure ends beyond the file', async () => {
    const folder = freshFolder();
    const path = await makeMovie(join(folder, 'a.mov'), { frames: 48, extra: ['-movflags', '+faststart'] });
    const size = statSync(path).size;
    truncateSync(path, Math.floor(size * 0.6));
    const { facts, evidence } = await measured(path);
    expect(facts.video.claimedFrames).toBe(48);
    expect(evidence.picturePackets).toBeLessThan(48);
    expect(evidence.declaredBytes).toBe(size);
  });

  test('MOV: a cut inside the last packet alone shows in the structure', async () => {
    const path = await makeMovie(join(freshFolder(), 'a.mov'), {
      frames: 24,
      audio: [],
      extra: ['-movflags', '+faststart'],
    });
    const size = statSync(path).size;
    truncateSync(path, size - 300);
    const { facts, evidence } = await measured(path);
    expect([facts.video.frames, facts.video.claimedFrames]).toEqual([24, 24]);
    expect([evidence.declaredBytes, evidence.fileBytes]).toEqual([size, size - 300]);
  });

  test('MXF: fewer packets than claimed, footer beyond the end', async () => {
    const path = await makeMovie(join(freshFolder(), 'a.mxf'), { codec: 'dnxhr', frames: 24, audio: [1] });
    const whole = await measured(path);
    expect(whole.evidence.declaredBytes).toBeLessThanOrEqual(whole.evidence.fileBytes);
    truncateSync(path, Math.floor(whole.evidence.fileBytes * 0.5));
    const { facts, evidence } = await measured(path);
    expect(facts.video.claimedFrames).toBe(24);
    expect(facts.video.frames).toBeLessThan(24);
    expect(evidence.declaredBytes).toBeGreaterThan(evidence.fileBytes);
  });
});

test('a picture that is mirrored is not taken for a turned one', async () => {
  const folder = freshFolder();
  const path = join(folder, 'mirrored.mov');
  copyFileSync(join(fixtures, 'movies/rotated-90.mov'), path);
  const bytes = readFileSync(path);
  // Display matrix of the track header (ISO/IEC 14496-12, 8.3.2): a b u c d v x y w; the sign of c is turned round.
  const at = bytes.indexOf(Buffer.from('000000000001000000000000ffff0000', 'hex'));
  expect(at).not.toBe(-1);
  bytes.writeInt32BE(0x10000, at + 12);
  writeFileSync(path, bytes);
  const { facts, evidence } = await measured(path);
  // Mirrored, and then turned by three quarters: columns become lines, and nothing else.
  expect([evidence.turnsByQuarters, facts.video.rotation, facts.video.mirrored]).toEqual([true, 270, true]);
});
