/** Survey of real rolls: what is wrong with a clip is reported with its code, and the other clips go on. */
import {
  copyFileSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { join, resolve } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { findClips, surveyClip, surveyRoll, type SurveyedClip } from '../../coordinator/survey/index.ts';
import { describeFinding } from '../../findings/finding.ts';
import { clipCodes } from '../../findings/codes/clip.ts';
import type { Clip } from '../../ledger/clip.ts';
import { walkFolder } from '../../files/walk.ts';
import { clipFactsSchema } from '../../media/facts.ts';
import { fsPath, nameFromBytes } from '../../files/names.ts';
import type { Rate } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import { type MediaTools, locateTools } from '../../process/locate.ts';
import { freshFolder } from '../support/folder.ts';
import { ffmpeg, makeMovie, makeSequence } from '../support/media.ts';

const fixtures = resolve('test/fixtures');
let tools: MediaTools;
beforeAll(async () => {
  tools = await locateTools();
});

async function clipsOf(roll: string, statedRate: Rate | null = null): Promise<Clip[]> {
  const { files } = await walkFolder(roll);
  return findClips(
    files.map((file) => ({ ...file, hashes: { xxh128: 'not read here' } })),
    { statedRate, ignore: [] },
  ).clips;
}

async function survey(roll: string, statedRate: Rate | null = null): Promise<Map<string, SurveyedClip>> {
  return new Map(
    (await surveyRoll(await clipsOf(roll, statedRate), roll, tools)).map((done) => [done.clip.id, done]),
  );
}

const codes = (done: SurveyedClip | undefined): string[] =>
  (done?.findings ?? []).map((item) => item.code).sort();

describe('movies', () => {
  test('a roll of good and bad clips: each bad one with its own code, the good ones without any', async () => {
    const roll = freshFolder();
    const at = (name: string): string => join(roll, name);
    await makeMovie(at('good.mov'), { frames: 12 });
    await makeMovie(at('good-mxf.mxf'), { codec: 'dnxhr', frames: 12, audio: [1] });
    await makeMovie(at('good-long-gop.mp4'), { codec: 'h264', frames: 24, extra: ['-c:a', 'aac'] });
    writeFileSync(at('zero.mov'), '');
    writeFileSync(at('list.mov'), 'ffconcat version 1.0\nfile good.mov\n');
    writeFileSync(
      at('stream.mp4'),
      '#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\ngood.mov\n#EXT-X-ENDLIST\n',
    );
    writeFileSync(at('text.mov'), 'dear editor\n');
    writeFileSync(at('noise.mxf'), Buffer.alloc(9000, 0x9d));
    await makeMovie(at('no-index.mov'), { frames: 12 });
    truncateSync(at('no-index.mov'), Math.floor(statSync(at('no-index.mov')).size * 0.6));
    await makeMovie(at('short.mov'), { frames: 24, extra: ['-movflags', '+faststart'] });
    truncateSync(at('short.mov'), Math.floor(statSync(at('short.mov')).size * 0.6));
    await makeMovie(at('nearly.mov'), { frames: 24, audio: [], extra: ['-movflags', '+faststart'] });
    truncateSync(at('nearly.mov'), statSync(at('nearly.mov')).size - 300);
    await makeMovie(at('short-mxf.mxf'), { codec: 'dnxhr', frames: 24, audio: [1] });
    truncateSync(at('short-mxf.mxf'), Math.floor(statSync(at('short-mxf.mxf')).size * 0.5));
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
      at('uneven.mp4'),
    );
    await ffmpeg('-ss', '0.3', '-i', at('good-long-gop.mp4'), '-c', 'copy', at('cut.mp4'));
    copyFileSync(join(fixtures, 'movies/timecode-only-23976.mov'), at('no-picture.mov'));
    copyFileSync(join(fixtures, 'damaged/mp4parse_chunk_out_of_range.mp4'), at('broken.mp4'));
    await makeMovie(at('impossible.mov'), { rate: '25', frames: 12, timecode: '25:00:00:00' });

    const done = await survey(roll);
    expect(Object.fromEntries([...done].map(([id, one]) => [id, codes(one)]))).toEqual({
      good: [],
      'good-mxf': [],
      'good-long-gop': [],
      zero: ['clip-empty'],
      list: ['clip-playlist'],
      stream: ['clip-playlist'],
      text: ['clip-not-media'],
      noise: ['clip-not-media'],
      'no-index': ['clip-no-index'],
      short: ['clip-truncated'],
      nearly: ['clip-truncated'],
      'short-mxf': ['clip-truncated'],
      // What becomes of a rate that varies is for each profile to say.
      uneven: [],
      cut: ['clip-hidden-frames'],
      'no-picture': ['clip-no-picture'],
      broken: ['clip-unreadable'],
      impossible: ['timecode-invalid'],
    });
    for (const [id, one] of done) {
      for (const item of one.findings) expect(item.clip).toBe(id);
      if (one.facts !== null) expect(clipFactsSchema.safeParse(one.facts).error).toBeUndefined();
    }
    expect(done.get('short')?.findings[0]).toMatchObject({
      found: expect.stringMatching(/^\d+ frames of picture$/),
      expected: '24 frames, as the header claims',
    });
  });

  test.each([
    [0.25, [], undefined],
    [0.01, ['audio-offset-small'], 'audio track 1 starts 480 samples (10.0 ms) after the picture'],
  ])(
    'audio that starts %d s late: more than half a frame is for each profile to say',
    async (seconds, expected, text) => {
      const roll = freshFolder();
      await ffmpeg(
        '-f',
        'lavfi',
        '-i',
        'testsrc2=s=320x180:r=25:d=1',
        '-itsoffset',
        String(seconds),
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
        join(roll, 'late.mov'),
      );
      const done = (await survey(roll)).get('late');
      expect(codes(done)).toEqual(expected);
      expect(done?.findings[0]?.found).toBe(text);
      expect(done?.facts?.audio[0]?.startOffset).toBe(seconds * 48_000);
    },
  );

  test('names of every kind are surveyed', async () => {
    const roll = freshFolder();
    const names = [
      'it\'s "quoted".mov',
      '100%d.mov',
      'http:clip.mov',
      'two\nlines.mov',
      '-leading.mov',
      nameFromBytes(Buffer.from([0xff, 0xfe, 0x2e, 0x6d, 0x6f, 0x76])),
    ];
    await makeMovie(join(roll, 'made.mov'), { frames: 6, audio: [] });
    for (const name of names) writeFileSync(fsPath(join(roll, name)), readFileSync(join(roll, 'made.mov')));
    const done = await survey(roll);
    expect(done.size).toBe(names.length + 1);
    for (const one of done.values()) expect([one.facts?.video.frames, one.findings]).toEqual([6, []]);
  });

  test('a clip that is gone since intake is a finding, and the others go on', async () => {
    const roll = freshFolder();
    await makeMovie(join(roll, 'a.mov'), { frames: 6, audio: [] });
    await makeMovie(join(roll, 'b.mov'), { frames: 6, audio: [] });
    const clips = await clipsOf(roll);
    rmSync(join(roll, 'a.mov'));
    const reported: string[] = [];
    const done = await surveyRoll(clips, roll, tools, { onClip: ({ clip }) => reported.push(clip.id) });
    expect(done.map((one) => [one.clip.id, codes(one)])).toEqual([
      ['a', ['clip-unreadable']],
      ['b', []],
    ]);
    expect(reported.sort()).toEqual(['a', 'b']);
  });

  test('a stop ends the survey with its reason', async () => {
    const roll = freshFolder();
    await makeMovie(join(roll, 'a.mov'), { frames: 6, audio: [] });
    const reason = new Error('enough');
    await expect(
      surveyRoll(await clipsOf(roll), roll, tools, { signal: AbortSignal.abort(reason) }),
    ).rejects.toBe(reason);
  });

  test('a program that cannot be started ends the survey, and is no fault of the clip', async () => {
    const roll = freshFolder();
    await makeMovie(join(roll, 'a.mov'), { frames: 6, audio: [] });
    const missing = { ...tools, ffprobe: { ...tools.ffprobe, path: '/nonexistent/ffprobe' } };
    await expect(surveyRoll(await clipsOf(roll), roll, missing)).rejects.toThrow(/tool-unusable/);
  });
});

describe('sequences', () => {
  const rate24 = { num: 24, den: 1 };
  const clip = async (roll: string, rate: Rate | null): Promise<SurveyedClip> =>
    [...(await survey(roll, rate)).values()][0] as SurveyedClip;

  test('whole frames at a stated rate are measured', async () => {
    const roll = freshFolder();
    await makeSequence(join(roll, 'c'), { frames: 5, first: 1001, size: '64x36' });
    const done = await clip(roll, rate24);
    expect(done.findings).toEqual([]);
    expect(clipFactsSchema.safeParse(done.facts).error).toBeUndefined();
    expect(done.facts).toMatchObject({
      kind: 'sequence',
      container: 'dpx',
      timecode: null,
      audio: [],
      video: {
        codec: 'dpx',
        frames: 5,
        rate: rate24,
        width: 64,
        height: 36,
        bitDepth: 10,
        endTime: 5,
        rateConstant: true,
        steps: [{ ticks: 1, count: 4 }],
      },
    });
  });

  test('without any rate it is held', async () => {
    const roll = freshFolder();
    await makeSequence(join(roll, 'c'), { frames: 2, size: '64x36' });
    expect(codes(await clip(roll, null))).toEqual(['sequence-rate-unknown']);
  });

  test('a damaged frame, a frame of another raster and a foreign form are found', async () => {
    const roll = freshFolder();
    const frame = (number: number): string => join(roll, 'c', `frame.0000${number}.dpx`);
    await makeSequence(join(roll, 'c'), { frames: 6, size: '64x36' });
    await makeSequence(join(roll, 'other'), { frames: 1, size: '32x18' });
    renameSync(join(roll, 'other', 'frame.00001.dpx'), frame(3));
    truncateSync(frame(4), 5000);
    writeFileSync(frame(5), '');
    writeFileSync(frame(6), Buffer.alloc(10_880, 1));
    const done = await clip(roll, rate24);
    expect(codes(done)).toEqual([
      'sequence-frame-damaged',
      'sequence-frame-damaged',
      'sequence-frame-damaged',
      'sequence-rasters-differ',
    ]);
    expect(
      done.findings.filter((item) => item.code === 'sequence-frame-damaged').map((item) => item.file),
    ).toEqual(['c/frame.00004.dpx', 'c/frame.00005.dpx', 'c/frame.00006.dpx']);
  });

  /** Film and television headers of ST 268 behind ffmpeg's 1664 bytes: rate at 1724, timecode at 1920. */
  function stamp(path: string, rate: number, timecode: number): void {
    const bytes = readFileSync(path);
    const stamped = Buffer.concat([bytes.subarray(0, 1664), Buffer.alloc(384, 0xff), bytes.subarray(1664)]);
    stamped.writeUInt32BE(2048, 4);
    stamped.writeFloatBE(rate, 1724);
    stamped.writeUInt32BE(timecode, 1920);
    writeFileSync(path, stamped);
  }

  async function stamped(rate: number, timecodes: readonly number[]): Promise<string> {
    const roll = freshFolder();
    await makeSequence(join(roll, 'c'), { frames: timecodes.length, size: '64x36' });
    for (const [index, timecode] of timecodes.entries())
      stamp(join(roll, 'c', `frame.${String(index + 1).padStart(5, '0')}.dpx`), rate, timecode);
    return roll;
  }

  test('rate and running timecode come from the headers', async () => {
    const done = await clip(
      await stamped(24000 / 1001, [0x09595922, 0x09595923, 0x10000000, 0x10000001]),
      null,
    );
    expect(done.findings).toEqual([]);
    expect(done.facts?.video.rate).toEqual({ num: 24000, den: 1001 });
    expect(done.facts?.timecode && formatTimecode(done.facts.timecode)).toBe('09:59:59:22');
  });

  test('a stated rate that the headers deny is held', async () => {
    expect(codes(await clip(await stamped(25, [0x01000000, 0x01000001]), rate24))).toEqual([
      'sequence-rate-differs',
    ]);
  });

  test('a timecode that jumps is held, one that stands still is reported and not used', async () => {
    const jump = await clip(await stamped(24, [0x01000000, 0x01000001, 0x01000003]), null);
    expect(codes(jump)).toEqual(['sequence-timecode-breaks']);
    expect(jump.findings[0]).toMatchObject({ found: 'frame 3: 01:00:00:03', expected: '01:00:00:02' });
    const still = await clip(await stamped(24, [0, 0, 0]), null);
    expect(codes(still)).toEqual(['sequence-timecode-static']);
    expect(still.facts?.timecode).toBeNull();
  });

  test('scene-linear frames are measured for masters; linear raw in lossy JPEG, which nothing here decodes, is held with a word of its own', async () => {
    const roll = freshFolder();
    mkdirSync(join(roll, 'light'));
    mkdirSync(join(roll, 'raw'));
    copyFileSync(join(fixtures, 'exr/aces-timecode-64x64.exr'), join(roll, 'light', 'bell.0001.exr'));
    copyFileSync(join(fixtures, 'raw/linear-1mp.dng'), join(roll, 'raw', 'gong.0001.dng'));
    const done = await survey(roll, rate24);
    expect(codes(done.get('bell'))).toEqual([]);
    expect(done.get('bell')?.facts?.video.pixelFormat).toMatch(/f32/);
    expect(
      done.get('bell')?.facts?.timecode &&
        formatTimecode(
          done.get('bell')?.facts?.timecode as NonNullable<SurveyedClip['facts']>['timecode'] & object,
        ),
    ).toBe('01:18:19:06');
    expect(codes(done.get('gong'))).toEqual(['raw-no-decoder']);
  });

  test('a frame that is gone since intake is damaged', async () => {
    const roll = freshFolder();
    await makeSequence(join(roll, 'c'), { frames: 3, size: '64x36' });
    const [place] = await clipsOf(roll, rate24);
    rmSync(join(roll, 'c', 'frame.00002.dpx'));
    const { findings } = await surveyClip(place as Clip, roll, tools);
    expect(findings.map((item) => item.code)).toEqual(['sequence-frame-damaged']);
  });
});

test('every code of clips has a title and a remedy in whole sentences', () => {
  for (const code of Object.keys(clipCodes)) {
    const text = describeFinding({ code, found: 'x', expected: 'y' });
    expect(text.title, code).toMatch(/^[^.]{10,}$/);
    expect(text.remedy, code).toMatch(/^[A-Z].{20,}\.$/);
  }
});
