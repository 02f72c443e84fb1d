/** Survey of DNG sequences: one camera setting, timecode, rate, camera, and a decoder that has decoded the first frame. */
import { mkdirSync, copyFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { clipFactsSchema } from '../../media/facts.ts';
import type { SequencePlace } from '../../media/input.ts';
import { locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { ownDecoder } from '../../media/raw/decoders/own.ts';
import { type DngSurveyOptions, surveyDng } from '../../media/raw/facts.ts';
import { type Rate, ratio } from '../../media/time/rate.ts';
import { addFrames, formatTimecode, parseTimecode } from '../../media/time/timecode.ts';
import { type DngOptions, ascii, buildDng, rationals, srationals, testSamples } from '../support/dng.ts';
import { gainMap, opcodeList, reach, type TestOpcode, vignette } from '../support/opcodes.ts';
import { freshFolder } from '../support/folder.ts';

const samples = testSamples(32, 16, 12);
const usual: DngOptions = {
  width: 32,
  height: 16,
  samples,
  bits: 12,
  rate: [24, 1],
  jpeg: { components: 2 },
};

interface Roll {
  readonly folder: string;
  readonly place: SequencePlace;
}

/** Five frames from number 86 on, whose timecode counts from 01:00:00:22; `change` says what is otherwise in which. */
function makeRoll(change: (index: number) => Partial<DngOptions> = () => ({}), count = 5): Roll {
  const folder = freshFolder('raw');
  mkdirSync(join(folder, 'A001_C001'));
  const start = parseTimecode('01:00:00:22', 24);
  for (let index = 0; index < count; index += 1) {
    const name = `A001_C001_${String(86 + index).padStart(6, '0')}.dng`;
    writeFileSync(
      join(folder, 'A001_C001', name),
      buildDng({ ...usual, timecode: formatTimecode(addFrames(start, index)), ...change(index) }),
    );
  }
  return {
    folder,
    place: {
      kind: 'sequence',
      folder: 'A001_C001',
      prefix: 'A001_C001_',
      suffix: '.dng',
      padding: 6,
      first: 86,
      count,
      statedRate: null,
    },
  };
}

const survey = (roll: Roll, stated: Rate | null = null, options: DngSurveyOptions = {}) =>
  surveyDng(roll.folder, roll.place, stated, options);

describe('a whole clip', () => {
  const tags = [
    { tag: 34_855, type: 'short', values: [65_535] },
    { tag: 34_864, type: 'short', values: [2] },
    { tag: 34_866, type: 'long', values: [102_400] },
    rationals(33_434, [1 / 48]),
    rationals(51_058, [2.8, 4]),
    ascii(51_081, 'A001'),
    ascii(51_105, 'A'),
    ascii(50_735, 'BF-0042'),
    ascii(306, '2026:11:25 19:06:17'),
  ] as const;

  test('facts hold what development needs, and what the camera says', async () => {
    const { facts, findings } = await survey(makeRoll(() => ({ tags })));
    expect(findings).toEqual([]);
    expect(facts?.raw.camera).toEqual({
      model: 'Bell Foundry Test Pattern One',
      label: 'A',
      serial: 'BF-0042',
      reel: 'A001',
      iso: 102_400,
      exposureSeconds: 20_833 / 1e6,
      fNumber: null,
      tStop: [2.8, 4],
      capturedAt: '2026-11-25T19:06:17',
    });
    expect(facts?.raw.picture).toMatchObject({
      width: 32,
      height: 16,
      pattern: 'rggb',
      bitsPerSample: 12,
      compression: 'lossless-jpeg',
      white: 4095,
      asShotNeutral: [0.45, 1, 0.6],
    });
    expect(facts?.raw.decoder).toEqual({ name: 'own', version: ownDecoder.version });
    expect(facts).toMatchObject({
      container: 'dng',
      reel: 'A001',
      createdAt: '2026-11-25T19:06:17',
      firstNumber: 86,
      timecodeFrom: 'header',
      video: { frames: 5, rate: { num: 24, den: 1 }, bitDepth: 12 },
    });
    expect(facts?.timecode && formatTimecode(facts.timecode)).toBe('01:00:00:22');
    expect(clipFactsSchema.parse(JSON.parse(JSON.stringify(facts)))).toEqual(facts);
  });

  test('a rate that no frame states is asked for, and taken from the user', async () => {
    const roll = makeRoll(() => ({ rate: undefined as never }));
    expect((await survey(roll)).findings.map(({ code }) => code)).toEqual(['sequence-rate-unknown']);
    const { facts, findings } = await survey(roll, ratio(24000, 1001));
    expect(findings).toEqual([]);
    expect(facts?.video.rate).toEqual({ num: 24_000, den: 1001 });
  });
});

describe('frames that are not of one setting', () => {
  const third =
    (options: Partial<DngOptions>) =>
    (index: number): Partial<DngOptions> =>
      index === 2 ? options : {};
  const tag = (number: number, ...values: number[]): Partial<DngOptions> => ({
    tags: [{ tag: number, type: 'long', values }],
  });
  test.each([
    [
      'white balance',
      { tags: [rationals(50_728, [0.5, 1, 0.6])] },
      /^frame 88, white balance \(AsShotNeutral\): \[0\.5,1,0\.6\]$/,
    ],
    ['white level', tag(50_717, 4000), /^frame 88, white level: 4000$/],
    ['black level', tag(50_714, 64), /^frame 88, black levels: /],
    ['active area', tag(50_829, 0, 0, 14, 32), /^frame 88, active area: /],
    ['pattern', { pattern: 'bggr' }, /^frame 88, colour pattern: bggr$/],
    ['camera', { tags: [ascii(50_708, 'Another')] }, /^frame 88, camera model: Another$/],
    ['serial number', { tags: [ascii(50_735, '7')] }, /^frame 88, camera serial number: 7$/],
    ['baseline exposure', { tags: [srationals(50_730, [0.5])] }, /^frame 88, baseline exposure: 0\.5$/],
    [
      'colour matrices',
      { tags: [srationals(50_721, [1, 0, 0, 0, 1, 0, 0, 0, 1])] },
      /^frame 88, colour matrices: /,
    ],
    ['compression', { jpeg: undefined as never }, /^frame 88, compression: none$/],
  ] as [string, Partial<DngOptions>, RegExp][])(
    '%s: the first frame that differs is named',
    async (_name, options, found) => {
      const { findings } = await survey(makeRoll(third(options)));
      const differ = findings.filter(({ code }) => code === 'raw-frames-differ');
      expect(differ[0]?.found).toMatch(found);
      expect(differ[0]?.file).toBe('A001_C001/A001_C001_000088.dng');
    },
  );

  test('size', async () => {
    const { findings } = await survey(makeRoll(third({ width: 16, height: 32 })));
    expect(findings.map(({ code, found }) => `${code} ${found}`)).toContain(
      'raw-frames-differ frame 88, width: 16',
    );
  });

  test('exposure that changes is reported and holds nothing', async () => {
    const { facts, findings } = await survey(
      makeRoll((index) => ({ tags: [{ tag: 34_855, type: 'short', values: [index < 3 ? 800 : 1600] }] })),
    );
    expect(findings.map(({ code, found }) => `${code} ${found}`)).toEqual([
      'raw-exposure-varies frame 89, ISO: 1600',
    ]);
    expect(facts?.raw.camera.iso).toBe(800);
  });

  test.each([
    ['two rates', third({ rate: [25, 1] }), ['sequence-rate-differs']],
    ['a timecode that jumps', third({ timecode: '01:00:05:00' }), ['sequence-timecode-breaks']],
    ['a timecode that stands still', () => ({ timecode: '01:00:05:00' }), ['sequence-timecode-static']],
    [
      'a timecode that does not exist',
      (index: number) => (index === 0 ? { timecode: '01:00:05:24' } : {}),
      ['timecode-invalid'],
    ],
  ] as [string, (index: number) => Partial<DngOptions>, string[]][])('%s', async (_name, change, codes) => {
    const { findings } = await survey(makeRoll(change), null);
    expect(findings.map(({ code }) => code)).toEqual(codes);
  });
});

/** Of no use to anybody: parameters of two numbers. */
const odd = (id: number, optional: boolean): TestOpcode => ({
  id,
  flags: optional ? 1 : 0,
  fields: [['u32', 9, 9]],
});

describe('frames that cannot be developed', () => {
  test.each([
    [
      'looks of the camera are reported',
      [srationals(50_938, [1, 1, 1])],
      'raw-tag-left-out',
      'ProfileHueSatMapData1',
    ],
  ] as const)('%s', async (_name, tags, code, found) => {
    const { findings } = await survey(makeRoll(() => ({ tags: tags as DngOptions['tags'] & object })));
    expect(findings.map((item) => [item.code, item.found])).toEqual([[code, found]]);
  });

  test('what frames ask for is reported with what can be made of it, each once', async () => {
    const { facts, findings } = await survey(
      makeRoll((index) => ({
        tags: [
          opcodeList(1, [vignette([0.1, 0, 0, 0, 0]), { id: 5, fields: [['u32', 0, 1, 0, 3, 3]] }]),
          opcodeList(2, [{ ...gainMap(reach([0, 0, 20, 20]), 1, 1, [1 + index / 10]), flags: 1 }]),
          opcodeList(3, [odd(9, false), odd(77, true), { id: 6, fields: [['u32', 0, 0, 4000, 4000]] }]),
        ],
      })),
    );
    expect(findings).toEqual([]);
    expect(facts?.raw.corrections).toEqual([
      { name: 'FixVignetteRadial (list 1)', optional: false, why: 'on stored values' },
      { name: 'FixBadPixelsList (list 1)', optional: false, why: null },
      { name: 'GainMap (list 2)', optional: true, why: null },
      { name: 'GainMap (list 3)', optional: false, why: 'GainMap: 8 bytes are too few' },
      { name: 'opcode 77 (list 3)', optional: true, why: 'not known here' },
    ]);
  });

  test('LinearRaw of a compression that nobody takes is reported with every objection', async () => {
    const folder = freshFolder('raw');
    for (const number of [1, 2])
      copyFileSync(resolve('test/fixtures/raw/linear-1mp.dng'), join(folder, `bell_${number}.dng`));
    const { facts, findings } = await surveyDng(
      folder,
      {
        kind: 'sequence',
        folder: '',
        prefix: 'bell_',
        suffix: '.dng',
        padding: 1,
        first: 1,
        count: 2,
        statedRate: null,
      },
      { num: 24, den: 1 },
    );
    expect(facts).toBeNull();
    // Lossy JPEG, 8 bits.
    expect(findings.map(({ code, found, file }) => [code, found, file])).toEqual([
      ['raw-no-decoder', 'own: compression 34892 (lossy-jpeg)', 'bell_1.dng'],
    ]);
  });

  test('a frame that is cut off is damaged, and the others are measured', async () => {
    const roll = makeRoll();
    writeFileSync(
      join(roll.folder, roll.place.folder, 'A001_C001_000089.dng'),
      buildDng({ ...usual, timecode: '01:00:01:01' }).subarray(0, 900),
    );
    const { facts, findings } = await survey(roll);
    expect(findings.map(({ code, file }) => [code, file])).toEqual([
      ['sequence-frame-damaged', 'A001_C001/A001_C001_000089.dng'],
    ]);
    expect(facts?.raw.picture.width).toBe(32);
  });

  test('a first frame whose samples are damaged holds the clip', async () => {
    const roll = makeRoll();
    const path = join(roll.folder, roll.place.folder, 'A001_C001_000086.dng');
    const file = buildDng({ ...usual, timecode: '01:00:00:22' });
    writeFileSync(path, file.fill(0x55, 300, 400));
    const { facts, findings } = await survey(roll);
    expect(facts).toBeNull();
    expect(findings.map(({ code }) => code)).toEqual(['raw-frame-undecodable']);
  });

  test('a compression that nobody takes is reported with every objection', async () => {
    const libraw = await locateLibRaw();
    const roll = makeRoll(() => ({
      tags: [
        { tag: 259, type: 'short', values: [34_892] },
        { tag: 50_712, type: 'short', values: [0, 1, 2, 4095] },
      ],
    }));
    const { facts, findings } = await survey(roll, null, {
      decoders: [ownDecoder, ...(libraw === null ? [] : [libraw])],
    });
    expect(facts).toBeNull();
    expect(findings.map(({ code }) => code)).toEqual(['raw-no-decoder']);
    expect(findings[0]?.found).toContain('own: compression 34892 (lossy-jpeg); libraw: ');
  });
});
