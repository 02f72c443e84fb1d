/** What a clip comes out as, decided from facts and profile alone. */
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { compareRatios, knownRates, ratio } from '../../media/time/rate.ts';
import { formatTimecode, parseTimecode } from '../../media/time/timecode.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { outcomeSchema, type Outcome } from '../../profiles/outcome.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { fileNameOf } from '../../profiles/outcome/file-name.ts';
import { levelFor } from '../../profiles/outcome/level.ts';
import { rasterOf } from '../../profiles/outcome/raster.ts';
import { samplesWithin } from '../../profiles/outcome/audio.ts';
import { rdd36TargetBits, vc3FrameBytes } from '../../profiles/codecs.ts';
import type { Profile } from '../../profiles/schema.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { audioFacts, clipFacts, videoFacts } from '../support/facts.ts';

let vc3: Profile;
let rdd36: Profile;
let review: Profile;
beforeAll(async () => {
  [vc3, rdd36, review] = (await builtInProfiles()).map((item) => item.profile) as [Profile, Profile, Profile];
});

const decide = (profile: Profile, facts: ClipFacts, name = 'bell-01') =>
  outcomeOf({ day: 'day-02', roll: 'A001', clip: { id: 'id-1', name }, facts, profile });
function made(profile: Profile, facts: ClipFacts, name?: string): Outcome {
  const decision = decide(profile, facts, name);
  if (decision.outcome === null) throw new Error(JSON.stringify(decision.findings));
  return outcomeSchema.parse(decision.outcome);
}
const notesOf = (profile: Profile, facts: ClipFacts): string[] => {
  const decision = decide(profile, facts);
  return decision.outcome === null ? ['refused'] : decision.notes.map((item) => item.code);
};
const refusalsOf = (profile: Profile, facts: ClipFacts): string[] => {
  const decision = decide(profile, facts);
  return decision.outcome === null ? decision.findings.map((item) => item.code) : [];
};

describe('raster', () => {
  const fitted = (
    width: number,
    height: number | null,
    enlarge: boolean,
    multiple_of: 1 | 2 | 16 = 2,
  ): Profile['raster'] => ({ policy: 'fit', width, height, multiple_of, enlarge });
  const native = (multiple_of: 1 | 2 | 16): Profile['raster'] => ({
    policy: 'native',
    width: null,
    height: null,
    multiple_of,
    enlarge: false,
  });
  const fill: Profile['raster'] = {
    policy: 'fill',
    width: 1920,
    height: 1080,
    multiple_of: 2,
    enlarge: true,
  };

  // Worked out by hand beside each line.
  test.each([
    ['UHD into 1920', videoFacts({ width: 3840, height: 2160 }), fitted(1920, null, true), [1920, 1080]],
    [
      '4096x2160 into 1920: 1012.5, to the nearest even',
      videoFacts({ width: 4096, height: 2160 }),
      fitted(1920, null, true),
      [1920, 1012],
    ],
    [
      'a side of exactly 3 comes out as 4: halves upwards',
      videoFacts({ width: 640, height: 3 }),
      fitted(640, null, true),
      [640, 4],
    ],
    ['640x480 enlarged', videoFacts({ width: 640, height: 480 }), fitted(1920, null, true), [1920, 1440]],
    ['640x480 not enlarged', videoFacts({ width: 640, height: 480 }), fitted(1920, null, false), [640, 480]],
    [
      'upright picture into a box',
      videoFacts({ width: 1080, height: 1920 }),
      fitted(1920, 1080, false),
      [608, 1080],
    ],
    [
      'turned by 90 into a width',
      videoFacts({ width: 1920, height: 1080, rotation: 90 }),
      fitted(1080, null, true),
      [1080, 1920],
    ],
    [
      'turned by 180 keeps its sides',
      videoFacts({ width: 1920, height: 1080, rotation: 180 }),
      fitted(960, null, true),
      [960, 540],
    ],
    [
      'squeezed by 2: 2880x2160 of pixels 2:1 is 5760 wide',
      videoFacts({ width: 2880, height: 2160, pixelAspect: ratio(2) }),
      fitted(1920, null, true),
      [1920, 720],
    ],
    [
      '720x576 of 16:15 is 768 wide',
      videoFacts({ width: 720, height: 576, pixelAspect: ratio(16, 15) }),
      native(2),
      [768, 576],
    ],
    [
      '720x480 of 8:9 is 640 wide',
      videoFacts({ width: 720, height: 480, pixelAspect: ratio(8, 9) }),
      native(2),
      [640, 480],
    ],
    [
      '720x480 of 8:9, turned',
      videoFacts({ width: 720, height: 480, pixelAspect: ratio(8, 9), rotation: 270 }),
      native(2),
      [480, 640],
    ],
    ['odd, as shot', videoFacts({ width: 641, height: 361 }), native(1), [641, 361]],
    ['odd, cut to even', videoFacts({ width: 641, height: 361 }), native(2), [640, 360]],
    ['cut to 16', videoFacts({ width: 1920, height: 1080 }), native(16), [1920, 1072]],
    ['fill from wide', videoFacts({ width: 4096, height: 1716 }), fill, [1920, 1080]],
    ['fill from upright', videoFacts({ width: 1080, height: 1920 }), fill, [1920, 1080]],
  ])('%s', (_title, video, raster, [width, height]) => {
    expect(rasterOf(video, raster)).toMatchObject({ width, height });
  });

  // Black at each side is half of what is left, to a pair of pixels downwards.
  test.each<
    [
      string,
      ReturnType<typeof videoFacts>,
      boolean,
      readonly [width: number, height: number],
      readonly [left: number, top: number] | null,
    ]
  >([
    ['its own shape: nothing around it', videoFacts({ width: 3840, height: 2160 }), true, [1920, 1080], null],
    ['upright: 607.5 wide', videoFacts({ width: 1080, height: 1920 }), true, [608, 1080], [656, 0]],
    ['open gate, 4:3', videoFacts({ width: 4096, height: 3072 }), true, [1440, 1080], [240, 0]],
    ['4096x1716: 804.4 high', videoFacts({ width: 4096, height: 1716 }), true, [1920, 804], [0, 138]],
    ['small, enlarged', videoFacts({ width: 640, height: 480 }), true, [1440, 1080], [240, 0]],
    ['small, not enlarged', videoFacts({ width: 640, height: 480 }), false, [640, 480], [640, 300]],
  ])('pad, %s', (_title, video, enlarge, [width, height], at) => {
    const raster = rasterOf(video, { policy: 'pad', width: 1920, height: 1080, multiple_of: 2, enlarge });
    expect(raster).toMatchObject({ width, height });
    expect(raster.padded ?? null).toEqual(
      at === null ? null : { left: at[0], top: at[1], width: 1920, height: 1080 },
    );
  });

  test('fill scales until nothing of the box is bare: 4096x1716 to 2578x1080, 1080x1920 to 1920x3414', () => {
    // 1716 to 1080 makes 4096 into 2577.9; 1080 to 1920 makes 1920 into 3413.3. Both to the nearest even.
    expect(rasterOf(videoFacts({ width: 4096, height: 1716 }), fill).scaled).toEqual({
      width: 2578,
      height: 1080,
    });
    expect(rasterOf(videoFacts({ width: 1080, height: 1920 }), fill).scaled).toEqual({
      width: 1920,
      height: 3414,
    });
  });

  test('a picture that is only cut is not scaled', () => {
    expect(rasterOf(videoFacts({ width: 641, height: 361 }), native(2)).scaled).toEqual({
      width: 641,
      height: 361,
    });
  });

  const anyVideo = fc.record({
    width: fc.integer({ min: 16, max: 8192 }),
    height: fc.integer({ min: 16, max: 8192 }),
    rotation: fc.constantFrom(0 as const, 90 as const, 180 as const, 270 as const),
    pixelAspect: fc
      .tuple(fc.integer({ min: 1, max: 64 }), fc.integer({ min: 1, max: 64 }))
      .map(([num, den]) => ratio(num, den)),
  });

  test('fit never leaves its box, comes out in multiples, and keeps the shape to within a multiple', () => {
    fc.assert(
      fc.property(
        anyVideo,
        fc.integer({ min: 8, max: 500 }),
        fc.option(fc.integer({ min: 8, max: 500 })),
        fc.constantFrom(1 as const, 2 as const, 4 as const),
        fc.boolean(),
        (over, w, h, multiple, enlarge) => {
          const box = { width: w * multiple, height: h === null ? null : h * multiple };
          const video = videoFacts(over);
          const out = rasterOf(video, { policy: 'fit', ...box, multiple_of: multiple, enlarge });
          expect(out.width).toBeLessThanOrEqual(box.width);
          if (box.height !== null) expect(out.height).toBeLessThanOrEqual(box.height);
          expect([out.width % multiple, out.height % multiple]).toEqual([0, 0]);
          const turned = over.rotation === 90 || over.rotation === 270;
          const wide = (over.width * over.pixelAspect.num) / over.pixelAspect.den;
          const [dw, dh] = turned ? [over.height, wide] : [wide, over.height];
          const factor = Math.min(out.width / dw, out.height / dh);
          // One side sets the scale, the other is at most a multiple away from it (a picture narrower than a multiple gets one).
          if (out.width > multiple)
            expect(Math.abs(out.width - dw * factor)).toBeLessThanOrEqual(
              multiple * Math.max(dw / dh, 1) + 1,
            );
          // Not enlarged but for the rounding to the nearest multiple.
          const more = multiple / 2 + 0.5;
          if (!enlarge)
            expect(
              out.width <= Math.max(multiple, dw + more) && out.height <= Math.max(multiple, dh + more),
            ).toBe(true);
        },
      ),
    );
  });

  test('fill always gives its size from a scaled picture that covers it', () => {
    fc.assert(
      fc.property(anyVideo, (over) => {
        const out = rasterOf(videoFacts(over), fill);
        expect([out.width, out.height]).toEqual([1920, 1080]);
        expect(out.scaled.width >= 1920 && out.scaled.height >= 1080).toBe(true);
        expect(out.scaled.width === 1920 || out.scaled.height === 1080).toBe(true);
      }),
    );
  });
});

describe('codecs', () => {
  // Bytes a frame of the resolution-independent classes (SMPTE ST 2019-1): the packets that ffmpeg 5.1 encodes, as ffprobe counts them.
  test.each([
    [1280, 720, 81_920, 266_240, 405_504, 811_008],
    [1920, 1080, 188_416, 606_208, 917_504, 1_835_008],
    [2048, 1080, 200_704, 647_168, 978_944, 1_957_888],
    [3840, 2160, 749_568, 2_408_448, 3_641_344, 7_286_784],
    [4096, 2160, 798_720, 2_568_192, 3_887_104, 7_770_112],
  ])('VC-3 frames at %ix%i: LB %i, SQ %i, HQ and HQX %i, 444 %i bytes', (width, height, lb, sq, hq, full) => {
    const bytes = (quality: 'lb' | 'sq' | 'hq' | 'hqx' | '444') =>
      vc3FrameBytes({ codec: 'vc3', quality }, width, height);
    expect([bytes('lb'), bytes('sq'), bytes('hq'), bytes('hqx'), bytes('444')]).toEqual([
      lb,
      sq,
      hq,
      hq,
      full,
    ]);
  });

  test('the least VC-3 frame has 8192 bytes', () => {
    expect(vc3FrameBytes({ codec: 'vc3', quality: 'lb' }, 256, 120)).toBe(8192);
  });

  // What the encoder's own table of budgets gives (FFmpeg 5.1, libavcodec/proresenc_kostya.c), in Mb/s. The printed target for 1080p29.97 is 45 (from memory): the encoder aims 5 % above it.
  test('RDD 36 proxy aims at 47.4 Mb/s at 1080p29.97 and 150.9 at 2160p24', () => {
    expect(((rdd36TargetBits('proxy', 1920, 1080) * 30000) / 1001 / 1e6).toFixed(1)).toBe('47.4');
    expect(((rdd36TargetBits('proxy', 3840, 2160) * 24) / 1e6).toFixed(1)).toBe('150.9');
  });

  // ITU-T H.264 Table A-1; the level that x264 itself chooses for these.
  test.each([
    [960, 540, ratio(24), 31],
    [1280, 720, ratio(30), 31],
    [1280, 720, ratio(60), 32],
    [1920, 1080, ratio(24), 40],
    [1920, 1080, ratio(30), 40],
    [1920, 1080, ratio(50), 42],
    [1920, 1080, ratio(60), 42],
    [3840, 2160, ratio(24), 51],
    [3840, 2160, ratio(30), 51],
    [3840, 2160, ratio(60), 52],
    [4096, 2160, ratio(24), 51],
    [4096, 2160, ratio(30), 52],
    [16384, 16384, ratio(24), null],
  ])('H.264 level of %ix%i at %o is %s', (width, height, rate, level) => {
    expect(levelFor(width, height, rate)).toBe(level);
  });

  test('a narrow picture with many lines needs the level of its longer side (A.3.1)', () => {
    // 16x4000 is 250 macroblocks, but 250 rows are more than sqrt(8 x 5120) = 202.
    expect(levelFor(16, 4000, ratio(24))).toBe(40);
  });

  test("the codec has its standard's name; tag, profile and pixel format are those that ffprobe gives", () => {
    expect(made(vc3, clipFacts())).toMatchObject({
      container: 'mov',
      codec: 'vc3',
      codecTag: 'AVdh',
      codecProfile: 'DNXHR LB',
      pixelFormat: 'yuv422p',
      packetBytes: 188_416,
      maxLevel: null,
    });
    expect(made(rdd36, clipFacts())).toMatchObject({
      container: 'mov',
      codec: 'rdd36',
      codecTag: 'apco',
      codecProfile: 'Proxy',
      pixelFormat: 'yuv422p10le',
      packetBytes: null,
    });
    expect(made(review, clipFacts())).toMatchObject({
      container: 'mp4',
      codec: 'h264',
      codecTag: 'avc1',
      codecProfile: 'High',
      pixelFormat: 'yuv420p',
      maxLevel: 31,
      reel: null,
    });
  });

  test('a picture that the codec cannot hold is refused', () => {
    const small: Profile = {
      ...vc3,
      raster: { policy: 'native', width: null, height: null, multiple_of: 2, enlarge: false },
    };
    expect(refusalsOf(small, clipFacts({ video: { width: 240, height: 136 } }))).toEqual([
      'raster-unsupported',
    ]);
    expect(
      refusalsOf({ ...review, raster: small.raster }, clipFacts({ video: { width: 16000, height: 16000 } })),
    ).toEqual(['raster-unsupported']);
  });
});

describe('timecode', () => {
  const at = (label: string, rate = ratio(24000, 1001)) =>
    clipFacts({ timecode: parseTimecode(label, rate), video: { rate }, audio: [] });

  test.each([
    ['01:00:00:00', ratio(24000, 1001)],
    ['10:59:59;28', ratio(30000, 1001)],
    ['00:10:00;00', ratio(60000, 1001)],
    ['23:59:59:59', ratio(60)],
  ])('%s is kept', (label, rate) => {
    const outcome = made(vc3, at(label, rate));
    expect(formatTimecode(outcome.timecode as NonNullable<Outcome['timecode']>)).toBe(label);
    expect(outcome.rate).toEqual(rate);
  });

  test('missing: held, or zero with a note', () => {
    const facts = clipFacts({ timecode: null, timecodeFrom: null });
    expect(refusalsOf(vc3, facts)).toEqual(['timecode-missing']);
    expect(made(review, facts).timecode).toEqual({ frame: 0, base: 24, drop: false });
    expect(notesOf(review, facts)).toEqual(['timecode-assumed']);
  });

  test.each([
    ['drop-frame', '12:34:56;12', ratio(30000, 1001), ratio(60000, 1001), '12:34:56;24'],
    ['after a dropped label', '00:01:00;02', ratio(30000, 1001), ratio(60000, 1001), '00:01:00;04'],
    ['50 frames counted at 25', '01:00:00:24', ratio(25), ratio(50), '01:00:00:48'],
  ])(
    'counted in pairs (%s): %s becomes the label of the first of the pair',
    (_title, label, counted, rate, expected) => {
      const facts = clipFacts({ timecode: parseTimecode(label, counted), video: { rate }, audio: [] });
      expect(formatTimecode(made(vc3, facts).timecode as NonNullable<Outcome['timecode']>)).toBe(expected);
      expect(notesOf(vc3, facts)).toEqual(['timecode-in-pairs']);
    },
  );

  test.each([
    ["a base that is not the rate's", { frame: 90_000, base: 25, drop: false }],
    ['drop-frame at 23.976', { frame: 86_400, base: 24, drop: true }],
    ['beyond 24 hours', { frame: 24 * 86_400, base: 24, drop: false }],
  ])('%s is refused', (_title, timecode) => {
    expect(refusalsOf(vc3, clipFacts({ timecode }))).toEqual(['timecode-impossible']);
  });

  test('a rate that timecode does not count is refused', () => {
    expect(refusalsOf(vc3, clipFacts({ video: { rate: ratio(15) }, timecode: null, audio: [] }))).toContain(
      'rate-unsupported',
    );
  });
});

describe('audio', () => {
  // Samples a frame at 48 kHz: 2002 at 23.976, 8008/5 at 29.97, 4004/5 at 59.94 (48000 x 1001 / 30000, and so on).
  test.each([
    [ratio(24000, 1001), 1000, 2_002_000],
    [ratio(24), 1000, 2_000_000],
    [ratio(25), 1000, 1_920_000],
    [ratio(30000, 1001), 5, 8008],
    [ratio(30000, 1001), 1, 1601],
    [ratio(30000, 1001), 2, 3203],
    [ratio(48000, 1001), 7, 7007],
    [ratio(60000, 1001), 10, 8008],
    [ratio(60), 60, 48_000],
  ])('at %o, %i frames last %i whole samples', (rate, frames, samples) => {
    expect(samplesWithin(frames, rate, 48_000)).toBe(samples);
  });

  test('never lasts longer than the picture, and ends less than a sample before it', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 10_000_000 }),
        fc.constantFrom(...knownRates),
        fc.constantFrom(44_100, 48_000, 96_000),
        (frames, rate, sampleRate) => {
          const samples = samplesWithin(frames, rate, sampleRate);
          const picture = ratio(BigInt(frames) * BigInt(rate.den), BigInt(rate.num));
          expect(compareRatios(ratio(samples, sampleRate), picture)).toBeLessThanOrEqual(0);
          expect(compareRatios(ratio(samples + 1, sampleRate), picture)).toBe(1);
        },
      ),
    );
  });

  const frame = 2002;
  test.each([
    ['as long as the picture', {}, [], []],
    ['one sample off, which is rounding', { samples: 96_095 }, [], []],
    ['one frame short', { samples: 96_096 - frame }, [], ['audio-fitted']],
    ['one frame and one sample short', { samples: 96_096 - frame - 1 }, ['audio-length'], ['refused']],
    ['one frame long', { samples: 96_096 + frame }, [], ['audio-fitted']],
    ['one frame and one sample long', { samples: 96_096 + frame + 1 }, ['audio-length'], ['refused']],
    ['a frame late with all its samples', { startOffset: frame }, [], ['audio-fitted']],
    ['two frames late', { startOffset: 2 * frame, samples: 96_096 - 2 * frame }, [], ['audio-fitted']],
    ['two frames late with all its samples', { startOffset: 2 * frame }, ['audio-length'], ['refused']],
    ['later than the picture lasts', { startOffset: 96_097, samples: 1 }, [], ['audio-fitted']],
    ['a second early', { startOffset: -48_000, samples: 96_096 + 48_000 }, [], ['audio-fitted']],
    ['a frame early', { startOffset: -frame, samples: 96_096 + frame }, [], ['audio-fitted']],
    ['none at all', { samples: 0 }, ['audio-length'], ['refused']],
  ])('%s', (_title, over, refusals, notes) => {
    const facts = clipFacts({ audio: [audioFacts(over)] });
    expect(refusalsOf(vc3, facts)).toEqual(refusals);
    expect(notesOf(vc3, facts)).toEqual(notes);
    if (refusals.length === 0) expect(made(vc3, facts).audio[0]?.samples).toBe(96_096);
  });

  test.each([
    ['half a frame late', frame / 2, []],
    ['a sample more than half a frame late', frame / 2 + 1, ['audio-offset']],
    ['a sample more than half a frame early', -frame / 2 - 1, ['audio-offset']],
  ])('with offset: hold, audio %s', (_title, startOffset, refusals) => {
    const facts = clipFacts({ audio: [audioFacts({ startOffset, samples: 96_096 - startOffset })] });
    expect(refusalsOf({ ...vc3, audio: { ...vc3.audio, offset: 'hold' } }, facts)).toEqual(refusals);
  });

  test('tracks: all in order, the first, or none', () => {
    const facts = clipFacts({
      audio: [
        audioFacts({ channels: 1, layout: 'mono' }),
        audioFacts({ streamIndex: 2, sampleRate: 96_000, samples: 192_192 }),
      ],
    });
    const audio = (tracks: Profile['audio']['tracks'], rate: Profile['audio']['rate']) =>
      made({ ...vc3, audio: { ...vc3.audio, tracks, rate } }, facts).audio.map((track) => [
        track.sourceTrack,
        track.channels,
        track.sampleRate,
        track.samples,
      ]);
    expect(audio('all', 48_000)).toEqual([
      [0, 1, 48_000, 96_096],
      [1, 2, 48_000, 96_096],
    ]);
    expect(audio('all', 'source')[1]).toEqual([1, 2, 96_000, 192_192]);
    expect(audio('first', 48_000)).toHaveLength(1);
    expect(audio('none', 48_000)).toEqual([]);
  });

  test('AAC refuses what it cannot hold', () => {
    const aac: Profile = { ...review, audio: { ...review.audio, rate: 'source' } };
    expect(
      refusalsOf(aac, clipFacts({ audio: [audioFacts({ sampleRate: 47_952, samples: 96_000 })] })),
    ).toEqual(['audio-unsupported']);
    expect(refusalsOf(aac, clipFacts({ audio: [audioFacts({ channels: 16, layout: null })] }))).toEqual([
      'audio-unsupported',
    ]);
  });
});

describe('colour', () => {
  const tagged = (
    primaries: string | null,
    transfer: string | null,
    matrix: string | null,
    range: 'limited' | 'full' | null = 'limited',
  ) => clipFacts({ video: { colour: { primaries, transfer, matrix, range } } });

  test('source: the tags of the source, levels limited', () => {
    expect(made(vc3, tagged('bt2020', 'hlg', 'bt2020', 'full')).colour).toEqual({
      primaries: 'bt2020',
      transfer: 'hlg',
      matrix: 'bt2020',
      range: 'limited',
    });
  });

  test('untagged: taken for BT.709 with a note, or held', () => {
    expect(made(vc3, tagged(null, null, null, null)).colour).toEqual({
      primaries: 'bt709',
      transfer: 'bt709',
      matrix: 'bt709',
      range: 'limited',
    });
    expect(notesOf(vc3, tagged(null, null, null))).toEqual(['colour-assumed']);
    expect(
      refusalsOf({ ...vc3, colour: { ...vc3.colour, untagged: 'hold' } }, tagged(null, null, null)),
    ).toEqual(['colour-untagged']);
  });

  test('a matrix that is missing beside primaries is the one that belongs to them', () => {
    expect(made(vc3, tagged('bt2020', 'pq', null)).colour.matrix).toBe('bt2020');
    expect(made(vc3, tagged('bt601-525', 'bt601', null)).colour.matrix).toBe('bt601');
  });

  test('RGB comes out as limited BT.709', () => {
    const facts = clipFacts({
      video: {
        pixelFormat: 'gbrp10le',
        colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' },
      },
    });
    expect(made({ ...vc3, colour: { ...vc3.colour, range: 'source' } }, facts).colour).toEqual({
      primaries: 'bt709',
      transfer: 'bt709',
      matrix: 'bt709',
      range: 'limited',
    });
  });

  test('primaries and transfer are not converted; equal curves under another number are', () => {
    const to709: Profile = {
      ...vc3,
      colour: { ...vc3.colour, primaries: 'bt709', transfer: 'bt709', matrix: 'bt709' },
    };
    expect(refusalsOf(to709, tagged('bt2020', 'hlg', 'bt2020'))).toEqual([
      'colour-not-converted',
      'colour-not-converted',
    ]);
    expect(made(to709, tagged('bt709', 'bt601', 'bt601')).colour).toEqual({
      primaries: 'bt709',
      transfer: 'bt709',
      matrix: 'bt709',
      range: 'limited',
    });
  });

  test('tags that the filters do not know never get into one', () => {
    expect(refusalsOf(vc3, tagged('bt709', 'bt709', 'ictcp'))).toEqual(['colour-not-converted']);
    expect(refusalsOf(vc3, tagged('bt709:x=1', 'bt709', 'bt709'))).toEqual(['colour-not-converted']);
  });

  test('full range is refused by RDD 36 and named by H.264 as its decoder names it', () => {
    const full = tagged('bt709', 'bt709', 'bt709', 'full');
    expect(refusalsOf({ ...rdd36, colour: { ...rdd36.colour, range: 'source' } }, full)).toEqual([
      'colour-not-converted',
    ]);
    expect(made({ ...review, colour: { ...review.colour, range: 'source' } }, full)).toMatchObject({
      pixelFormat: 'yuvj420p',
      colour: { range: 'full' },
    });
  });
});

describe('what else a profile refuses', () => {
  test('interlaced clips, or it makes them progressive', () => {
    const facts = clipFacts({ video: { fieldOrder: 'top-first' } });
    expect(refusalsOf(vc3, facts)).toEqual(['interlaced-held']);
    expect(refusalsOf(review, facts)).toEqual([]);
  });

  test.each([
    ['planar', {}, { pixelFormat: 'yuv422p10le' }, []],
    ['packed', {}, { pixelFormat: 'uyvy422' }, []],
    ['of pixels that nobody computes again', {}, { pixelFormat: 'pal8' }, ['fields-not-split']],
    ['of whole frames', {}, { fieldOrder: 'progressive' as const }, []],
    ['of a rate whose double timecode does not count', {}, { rate: ratio(100) }, ['rate-unsupported']],
  ])('fields to be split, %s', (_title, over, video, codes) => {
    const facts = clipFacts({ timecode: null, video: { fieldOrder: 'top-first', ...video } });
    const split = {
      ...review,
      timecode: { missing: 'zero' as const },
      interlaced: 'split' as const,
      ...over,
    };
    expect(refusalsOf(split, facts)).toEqual(expect.arrayContaining(codes));
    if (codes.length === 0) expect(refusalsOf(split, facts)).toEqual([]);
  });

  test('raw sensor data, and a clip without a frame', () => {
    expect(refusalsOf(review, clipFacts({ video: { pixelFormat: 'bayer_rggb16le' } }))).toContain(
      'raw-not-developed',
    );
    expect(refusalsOf(review, clipFacts({ video: { frames: 0 }, audio: [] }))).toContain('clip-no-frames');
  });

  test('every reason at once, each with roll, clip and profile', () => {
    const decision = decide(
      { ...vc3, raster: { ...vc3.raster, policy: 'fit', height: null } },
      clipFacts({
        timecode: null,
        video: { fieldOrder: 'bottom-first', width: 100_000 },
        audio: [audioFacts({ samples: 1 })],
      }),
    );
    expect(decision.outcome).toBeNull();
    if (decision.outcome !== null) return;
    expect(decision.findings.map((item) => item.code).sort()).toEqual([
      'audio-length',
      'interlaced-held',
      'raster-unsupported',
      'timecode-missing',
    ]);
    for (const item of decision.findings)
      expect(item).toMatchObject({ roll: 'A001', clip: 'id-1', profile: 'editorial-vc3' });
  });
});

describe('reel and file name', () => {
  test.each([
    ['source-or-roll', 'A001R1AB', 'A001R1AB'],
    ['source-or-roll', null, 'A001'],
    ['roll', 'A001R1AB', 'A001'],
    ['clip', 'A001R1AB', 'bell-01'],
    ['none', 'A001R1AB', null],
  ] as const)('reel %s of a clip with reel %s is %s', (policy, reel, expected) => {
    expect(made({ ...vc3, reel: policy, checks: vc3.checks }, clipFacts({ reel })).reel).toBe(expected);
  });

  test('the template takes every placeholder', () => {
    const parts = {
      clip: 'bell',
      roll: 'A001',
      reel: 'R1',
      day: 'day-02',
      profile: 'p',
      timecode: parseTimecode('01:02:03;04', ratio(30000, 1001)),
    };
    expect(fileNameOf('{day}_{roll}_{reel}_{clip}_{profile}_{timecode}', parts, 'mov')).toBe(
      'day-02_A001_R1_bell_p_01-02-03-04.mov',
    );
  });

  test('a name is at most 200 bytes, cut between characters, and two long ones that differ at the end stay two', () => {
    const parts = {
      roll: 'A001',
      reel: 'R1',
      day: 'd',
      profile: 'p',
      timecode: parseTimecode('01:00:00:00', 24),
    };
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme', minLength: 1, maxLength: 300 }), (name) => {
        const file = fileNameOf('{clip}', { ...parts, clip: name }, 'mov');
        expect(Buffer.byteLength(file)).toBeLessThanOrEqual(200);
        expect(file).toMatch(/.\.mov$/u);
        expect(file.isWellFormed()).toBe(true);
        // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
        expect(file).not.toMatch(/[<>:"/\\|?*\u0000-\u001f]/);
      }),
    );
    const long = 'n'.repeat(251);
    expect(fileNameOf('{clip}', { ...parts, clip: `${long}a` }, 'mov')).not.toBe(
      fileNameOf('{clip}', { ...parts, clip: `${long}b` }, 'mov'),
    );
  });
});
