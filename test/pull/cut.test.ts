/** Cuts as others write them: lists in the CMX 3600 form, and timelines of OpenTimelineIO's own samples. */
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { cutOfEdl } from '../../handover/cut/edl.ts';
import type { CutUse } from '../../handover/cut/form.ts';
import { readCut } from '../../handover/cut/read.ts';

const labels = ({ source }: CutUse): unknown[] =>
  source.kind === 'labels' ? [source.in, source.out, source.longer, source.speeds[0] ?? null] : [];

describe('a list', () => {
  test('events of one and of two lines, comments where each belongs', () => {
    const cut = cutOfEdl(
      [
        'TITLE: THE THIRD CASTING',
        'FCM: NON-DROP FRAME',
        '* 25 FRAMES A SECOND',
        '',
        '001  A001     AA/V  C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00',
        '* FROM CLIP NAME: Kiln, wide',
        '* SOURCE FILE: D:\\media\\A001C001.mov',
        '002  A001     V     C        01:00:02:00 01:00:02:00 01:00:02:00 01:00:02:00',
        '002  B0BFX3ZK V     D    012 02:00:00:00 02:00:01:00 01:00:02:00 01:00:03:00',
        '* FROM CLIP NAME: A001C001',
        '* TO CLIP NAME: B001C001',
        '* REEL B0BFX3ZK IS B001C001_310304_R2CD',
        'M2   B0BFX3ZK       050.0                02:00:00:00',
        '003  A001     A     C        01:00:00:00 01:00:02:00 01:00:03:00 01:00:05:00',
        '004  BL       V     C        00:00:00:00 00:00:01:00 01:00:03:00 01:00:04:00',
        '>>> SOURCE A001 ANYTHING ELSE',
      ].join('\r\n'),
    );
    expect([cut.title, cut.rate, cut.faults]).toEqual(['THE THIRD CASTING', { num: 25, den: 1 }, []]);
    expect(cut.uses.map((use) => [use.names, use.files, use.reels, ...labels(use)])).toEqual([
      [['Kiln, wide'], ['A001C001.mov'], ['A001'], '01:00:00:00', '01:00:02:00', 0, null],
      // What is left is seen for twelve frames more.
      [['A001C001'], [], ['A001'], '01:00:02:00', '01:00:02:00', 12, null],
      [
        ['B001C001'],
        [],
        ['B001C001_310304_R2CD', 'B0BFX3ZK'],
        ...['02:00:00:00', '02:00:01:00', 0, { framesPerSecond: 50, from: '02:00:00:00' }],
      ],
    ]);
    expect([...cut.left]).toEqual([
      ['events of sound alone', 1],
      ['events of black or bars', 1],
    ]);
  });

  test.each([
    ['D', 'D    008'],
    ['a wipe', 'W001 008'],
  ])('%s in an event of one line goes on from the event before it', (_, transition) => {
    const { uses, faults } = cutOfEdl(
      [
        '001 A001 V C 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00',
        `002 A002 V ${transition} 05:00:00:00 05:00:01:00 00:00:01:00 00:00:02:00`,
      ].join('\n'),
    );
    expect([faults, uses.map(({ source }) => source.kind === 'labels' && source.longer)]).toEqual([
      [],
      [8, 0],
    ]);
  });

  test('keys are two pictures; reels may have blanks; a freeze is said by a comment', () => {
    const { uses, faults } = cutOfEdl(
      [
        '001 SIDE REEL 7 V K B 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00',
        '001 A002 V KO 000 05:00:00:00 05:00:01:00 00:00:00:00 00:00:01:00',
        '* FREEZE FRAME',
      ].join('\n'),
    );
    expect([
      faults,
      uses.map(({ reels, source }) => [reels, source.kind === 'labels' && (source.speeds[0] ?? null)]),
    ]).toEqual([
      [],
      [
        [['SIDE REEL 7'], null],
        [['A002'], { framesPerSecond: 0, from: null }],
      ],
    ]);
  });

  test.each([
    ['a label that is cut off', '001 A001 V C 01:00:00:00 01:00:01:0 00:00:00:00 00:00:01:00'],
    ['a transition without its length', '001 A001 V D 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00'],
    [
      'a transition that nothing leads to',
      '001 A001 V D 008 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00',
    ],
    ['no channels', '001 A001 C 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00'],
    [
      'M2 of another reel',
      '001 A001 V C 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00\nM2 A002 050.0 01:00:00:00',
    ],
    [
      'a counting that is none',
      'FCM: SOMETIMES\n001 A001 V C 01:00:00:00 01:00:01:00 00:00:00:00 00:00:01:00',
    ],
    ['nothing', ''],
  ])('%s is a fault, with its line', (what, text) => {
    const { faults } = cutOfEdl(text);
    expect(faults).toHaveLength(1);
    expect(faults[0]?.line).toBe(what === 'nothing' ? null : what.startsWith('M2') ? 2 : 1);
  });
});

/** test/fixtures/otio: samples of the OpenTimelineIO project. What each use is was counted in the files by hand. */
const sample = (name: string): ReturnType<typeof readCut> =>
  readCut(readFileSync(`test/fixtures/otio/${name}.otio`));
const counts = ({ source, names }: CutUse): unknown[] =>
  source.kind === 'count' ? [names[0], source.start, source.frames, source.unfollowed === null] : [];

describe('a timeline', () => {
  test('cuts, and a clip without a range of its own', () => {
    expect(sample('simple_cut').uses.map(counts)).toEqual([
      ['Clip-001', 3, 3, true],
      ['Clip-002', 2, 6, true],
      ['Clip-003', 0, 4, true],
      ['Clip-004', 100, 6, true],
    ]);
  });

  test('a transition shows both sides beyond the cut', () => {
    // in_offset 2, out_offset 3.
    expect(sample('transition').uses.map(counts)).toEqual([
      ['Clip-001', 3, 3, true],
      ['Clip-002', 2, 9, true],
      ['Clip-003', 1, 6, true],
      ['Clip-004', 100, 6, true],
    ]);
  });

  test('what is nested is trimmed by what holds it, and effects on it are not followed', () => {
    expect(sample('nested_example').uses.map(counts)).toEqual([
      ['Normal Clip 1', 135, 238, true],
      // 31 of its 37 frames.
      ['Clip Inside A Stack 1', 373, 31, true],
      ['Normal Clip 2', 101, 33, true],
      ['Clip Inside A Stack 2', 429, 24, false],
      ['Normal Clip 3', 179, 63, true],
      ['Clip Inside A Track', 471, 1, false],
      ['Normal Clip 4', 135, 238, true],
    ]);
  });

  test('several tracks of pictures, and gaps between', () => {
    expect(sample('multitrack').uses.map((use) => counts(use).slice(1, 3))).toEqual([
      [0, 720],
      [0, 722],
      [0, 720],
      [0, 480],
      [0, 640],
    ]);
  });

  test('generated pictures have no clip', () => {
    const cut = sample('generator_reference_test');
    expect([cut.uses, [...cut.left.keys()], cut.faults]).toEqual([[], ['generated pictures'], []]);
  });

  const time = (value: number, rate: number) => ({ OTIO_SCHEMA: 'RationalTime.1', value, rate });
  const ranged = (effects: unknown, value = 100, frames = 24, rate = 24) =>
    Buffer.from(
      JSON.stringify({
        ...{
          OTIO_SCHEMA: 'Track.1',
          name: 'V1',
          kind: 'Video',
          children: [{ OTIO_SCHEMA: 'Clip.2', name: 'x' }],
        },
        children: [
          {
            ...{ OTIO_SCHEMA: 'Clip.2', name: 'A001C001', media_references: {}, effects },
            source_range: {
              OTIO_SCHEMA: 'TimeRange.1',
              start_time: time(value, rate),
              duration: time(frames, rate),
            },
          },
        ],
      }),
    );
  test.each<[string, unknown, unknown[]]>([
    ['twice as fast', [{ OTIO_SCHEMA: 'LinearTimeWarp.1', time_scalar: 2 }], [100, 48, true]],
    // Whether the range is what is shown or what is taken, all of it is made.
    ['half as fast', [{ OTIO_SCHEMA: 'LinearTimeWarp.1', time_scalar: 0.5 }], [100, 24, true]],
    ['still', [{ OTIO_SCHEMA: 'FreezeFrame.1', time_scalar: 0 }], [100, 1, true]],
    // From its end, as most write it, or from its first frame, as some do: frames of both.
    ['backwards', [{ OTIO_SCHEMA: 'LinearTimeWarp.1', time_scalar: -1 }], [76, 48, true]],
    ['backwards at half the speed', [{ OTIO_SCHEMA: 'LinearTimeWarp.1', time_scalar: -0.5 }], [88, 36, true]],
    [
      'backwards, and then still',
      [
        { OTIO_SCHEMA: 'LinearTimeWarp.1', time_scalar: -1 },
        { OTIO_SCHEMA: 'FreezeFrame.1', time_scalar: 0 },
      ],
      [100, 1, true],
    ],
    ['in a way that nobody knows', [{ OTIO_SCHEMA: 'TimeCurve.7' }], [100, 24, false]],
    ['with an effect on its pictures', [{ OTIO_SCHEMA: 'Effect.1', effect_name: 'blur' }], [100, 24, true]],
  ])('a clip that runs %s', (_, effects, wanted) => {
    expect(readCut(ranged(effects)).uses.map((use) => counts(use).slice(1))).toEqual([wanted]);
  });

  test('parts of frames count as whole ones, and doubles mean the rate that is in use', () => {
    // 23.976023976023978 is how JSON has 24000/1001.
    const { uses } = readCut(ranged([], 100.25, 10.5, 23.976023976023978));
    expect(uses.map(({ source }) => source)).toMatchObject([
      { start: 100, frames: 11, rate: { num: 24000, den: 1001 } },
    ]);
  });

  test.each([
    ['broken JSON', '{\n"OTIO_SCHEMA": "Timeline.1",\n"tracks": ,\n}', 3],
    ['JSON that is cut off', '{\n"OTIO_SCHEMA": "Timeline.1",\n"tracks": {', 3],
    ['no timeline', '{"a": 1}', null],
    ['a rate of 0', ranged([], 1, 1, 0).toString(), null],
    ['a clip without any range', '{"OTIO_SCHEMA": "Clip.1", "name": "x", "media_reference": null}', null],
  ])('%s is a fault', (_, text, line) => {
    const { faults, uses } = readCut(Buffer.from(text));
    expect([faults.map((fault) => fault.line), uses]).toEqual([[line], []]);
  });
});
