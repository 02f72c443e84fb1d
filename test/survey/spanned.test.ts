/** Recordings that a camera or a file system cut into several files: by which names they belong together, and what must run on. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { joinParts } from '../../coordinator/survey/join-parts.ts';
import { findClips } from '../../coordinator/survey/index.ts';
import { spannedGroups, type SpannedRule, usualRules } from '../../coordinator/survey/spanned.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { audioFacts, clipFacts, videoFacts } from '../support/facts.ts';

const rules = (names: SpannedRule['names'], named: readonly string[][] = []) => {
  const ofRoll = { names, continuesBy: 'timecode' } as const;
  return { ofRoll, ofClip: () => ofRoll, named };
};
const groupsOf = (paths: readonly string[], names: SpannedRule['names']): string[] =>
  spannedGroups(paths, rules(names)).map(
    ({ paths: parts, gap }) => `${parts.join(' ')}${gap === null ? '' : ` without ${gap}`}`,
  );

describe('names of parts', () => {
  test.each<[names: SpannedRule['names'], paths: string[], groups: string[]]>([
    ['suffix', ['a.mov', 'a_1.mov', 'a_2.mov'], ['a.mov a_1.mov a_2.mov']],
    ['suffix', ['a-3.mov', 'a-2.MOV', 'A.mov'], ['A.mov a-2.MOV a-3.mov']],
    ['suffix', ['a.mov', 'a_001.mov', 'a_003.mov'], ['a.mov a_001.mov a_003.mov without 2']],
    ['suffix', ['a.mov', 'a_3.mov'], ['a.mov a_3.mov without 1, 2']],
    // A number with nothing beside it to belong to, another folder, another kind of file.
    ['suffix', ['a_1.mov', 'a_2.mov'], []],
    ['suffix', ['x/a.mov', 'y/a_1.mov'], []],
    ['suffix', ['a.mov', 'a_1.mxf'], []],
    ['none', ['a.mov', 'a_1.mov'], []],
    [['*_S###'], ['b_S002.mxf', 'b_S001.mxf', 'c_S001.mxf'], ['b_S001.mxf b_S002.mxf']],
    [['*_S###'], ['b_S002.mxf'], ['b_S002.mxf without 1']],
    [['CH##*'], ['CH010042.mp4', 'CH020042.mp4', 'CH010043.mp4'], ['CH010042.mp4 CH020042.mp4']],
  ])('by %j, %j are %j', (names, paths, groups) => {
    expect(groupsOf(paths, names)).toEqual(groups);
  });

  test('files that the settings name are one recording in that order, and one that is absent is missing', () => {
    const paths = ['a.mov', 'b.mov', 'c.mov'];
    const [group] = spannedGroups(paths, rules('suffix', [['c.mov', 'a.mov']]));
    expect(group).toMatchObject({ paths: ['c.mov', 'a.mov'], namedBy: 'settings', gap: null });
    const [short] = spannedGroups(paths, rules('suffix', [['c.mov', 'd.mov']]));
    expect(short).toMatchObject({ paths: ['c.mov'], gap: 'd.mov' });
  });

  test('no file is in two groups, whatever the names', () => {
    const name = fc.tuple(fc.constantFrom('a', 'b', 'a_1'), fc.constantFrom('', '_1', '-1', '_02', '_S001'));
    fc.assert(
      fc.property(
        fc.uniqueArray(name.map((parts) => `${parts.join('')}.mov`)),
        fc.constantFrom<SpannedRule['names']>('suffix', ['*_S###'], ['*_##', '*_#']),
        (paths, names) => {
          const all = spannedGroups(paths, rules(names)).flatMap((group) => group.paths);
          expect(new Set(all).size).toBe(all.length);
        },
      ),
    );
  });

  test('a roll has one clip of them, by the name of the first, with the checksum of each', () => {
    const file = (path: string): RollFile => ({ path, bytes: 7, hashes: { xxh128: `of ${path}` } });
    const found = findClips([file('x/a_1.mov'), file('x/a.mov'), file('b.mov')], {
      statedRate: null,
      ignore: [],
      spanned: usualRules,
    });
    expect(found.clips.map(({ id, bytes }) => [id, bytes])).toEqual([
      ['b', 7],
      ['a', 14],
    ]);
    expect(found.clips[1]?.place).toEqual({
      kind: 'spanned',
      parts: [
        { file: 'x/a.mov', bytes: 7, checksum: 'xxh128:of x/a.mov' },
        { file: 'x/a_1.mov', bytes: 7, checksum: 'xxh128:of x/a_1.mov' },
      ],
      namedBy: 'suffix',
      continuesBy: 'timecode',
    });
    expect(found).toMatchObject({ others: [], findings: [] });
    const short = findClips([file('a.mov'), file('a_2.mov'), file('a_4.mov')], {
      statedRate: null,
      ignore: [],
    });
    expect(short.findings).toMatchObject([{ code: 'spanned-part-missing', found: '3 parts, without 3' }]);
  });
});

describe('what runs on from part to part', () => {
  const place = (files: number, continuesBy: 'timecode' | 'order' = 'timecode') => ({
    kind: 'spanned' as const,
    parts: Array.from({ length: files }, (_, index) => ({
      file: `part-${index + 1}.mov`,
      bytes: 1,
      checksum: 'md5:0',
    })),
    namedBy: 'suffix',
    continuesBy,
  });
  /** At 24000/1001 a frame lasts 2002 samples of 48 kHz. */
  const part = (
    label: string | null,
    frames: number,
    over: { samples?: number; startOffset?: number; codec?: string; firstTime?: number; width?: number } = {},
  ): ClipFacts =>
    clipFacts({
      video: videoFacts({
        frames,
        firstTime: over.firstTime ?? 0,
        endTime: (over.firstTime ?? 0) + 1001 * frames,
        width: over.width ?? 1920,
      }),
      audio: [
        audioFacts({
          samples: over.samples ?? 2002 * frames,
          startOffset: over.startOffset ?? 0,
          codec: over.codec ?? 'pcm_s24le',
        }),
      ],
      timecode: label === null ? null : parseTimecode(label, { num: 24000, den: 1001 }),
      timecodeFrom: label === null ? null : 'tmcd',
    });
  const found = (parts: ClipFacts[], continuesBy: 'timecode' | 'order' = 'timecode'): string[] =>
    joinParts(place(parts.length, continuesBy), parts, { clip: 'a' }).findings.map(
      ({ code, found: what, expected }) => `${code} | ${what} | ${expected}`,
    );

  test('timecode that runs on, past midnight as well, makes one clip of all frames and samples', () => {
    const parts = [part('23:59:59:00', 30), part('00:00:00:06', 20), part('00:00:01:02', 10)];
    const { facts, findings } = joinParts(place(3), parts, { clip: 'a' });
    expect(findings).toMatchObject([{ code: 'spanned-joined' }]);
    expect(facts?.video).toMatchObject({ frames: 60, claimedFrames: 60, firstTime: 0, endTime: 60060 });
    expect(facts?.audio).toMatchObject([{ samples: 120_120, startOffset: 0 }]);
    expect(facts?.timecode).toEqual(parts[0]?.timecode);
    expect(facts?.parts?.map(({ file, frames }) => [file, frames])).toEqual([
      ['part-1.mov', 30],
      ['part-2.mov', 20],
      ['part-3.mov', 10],
    ]);
  });

  test.each<[title: string, parts: ClipFacts[], by: 'timecode' | 'order', finding: string]>([
    [
      'a frame lost at the joint',
      [part('01:00:00:00', 30), part('01:00:01:07', 20)],
      'timecode',
      'spanned-not-continuous | part-2.mov after part-1.mov: begins at 01:00:01:07, a gap of 1 frame | 01:00:01:06, where the part before ends',
    ],
    [
      'a frame twice at the joint',
      [part('01:00:00:00', 30), part('01:00:01:05', 20)],
      'timecode',
      'spanned-not-continuous | part-2.mov after part-1.mov: begins at 01:00:01:05, an overlap of 1 frame | 01:00:01:06, where the part before ends',
    ],
    [
      'parts exchanged',
      [part('01:00:01:06', 20), part('01:00:00:00', 30)],
      'timecode',
      'spanned-not-continuous | part-2.mov after part-1.mov: begins at 01:00:00:00, an overlap of 50 frames | 01:00:02:02, where the part before ends',
    ],
    [
      'no timecode',
      [part(null, 30), part(null, 20)],
      'timecode',
      'spanned-no-timecode | part-2.mov after part-1.mov: neither has timecode | timecode that runs on from part to part',
    ],
    [
      'audio of the first part cut short',
      [part('01:00:00:00', 30, { samples: 60_000 }), part('01:00:01:06', 20)],
      'timecode',
      "spanned-audio-not-continuous | part-2.mov after part-1.mov, audio track 1: ends 60 samples before the picture's joint and begins with the picture, a gap of 60 samples (1.3 ms) | audio that runs on to the sample",
    ],
    [
      'audio of the second part slipped',
      [part('01:00:00:00', 30), part('01:00:01:06', 20, { startOffset: -2 })],
      'timecode',
      "spanned-audio-not-continuous | part-2.mov after part-1.mov, audio track 1: ends with the picture and begins 2 samples before the picture's joint, an overlap of 2 samples (0.0 ms) | audio that runs on to the sample",
    ],
    [
      'AAC that leaves out more than a tenth of a second',
      [part('01:00:00:00', 30, { codec: 'aac', samples: 55_000 }), part('01:00:01:06', 20, { codec: 'aac' })],
      'timecode',
      "spanned-audio-not-continuous | part-2.mov after part-1.mov, audio track 1: ends 5060 samples before the picture's joint and begins with the picture, a gap of 5060 samples (105.4 ms) | audio that runs on within a packet, or a gap of at most 100 ms, which is filled with silence",
    ],
    [
      'another raster',
      [part('01:00:00:00', 30), part('01:00:01:06', 20, { width: 1280 })],
      'timecode',
      'spanned-parts-differ | part-2.mov after part-1.mov: raster 1280x1080, pixels 1, upright | raster 1920x1080, pixels 1, upright, as in the part before',
    ],
    [
      'clocks that run through the parts and leave a frame out',
      [part(null, 30, { firstTime: 9000 }), part(null, 20, { firstTime: 9000 + 31 * 1001 })],
      'order',
      'spanned-not-continuous | part-2.mov after part-1.mov: begins 1.00 frames after the end of the part before, by their own clocks (40031 ticks) | 39030 ticks of 1/24000 s, where the part before ends',
    ],
  ])('%s is held, with both figures', (_, parts, by, line) => {
    expect(joinParts(place(parts.length, by), parts, { clip: 'a' }).facts).toBeNull();
    expect(found(parts, by)).toEqual([line]);
  });

  test.each<[title: string, parts: ClipFacts[], by: 'timecode' | 'order']>([
    [
      'one sample of rounding',
      [part('01:00:00:00', 30, { samples: 60_061 }), part('01:00:01:06', 20)],
      'timecode',
    ],
    [
      'audio that lasts longer, and begins later in the next part',
      [part('01:00:00:00', 30, { samples: 60_260 }), part('01:00:01:06', 20, { startOffset: 200 })],
      'timecode',
    ],
    [
      'packets of AAC that are not cut',
      [
        part('01:00:00:00', 30, { codec: 'aac', samples: 58 * 1024 }),
        part('01:00:01:06', 20, { codec: 'aac', samples: 40 * 1024 }),
      ],
      'timecode',
    ],
    ['no timecode, by order', [part(null, 30), part(null, 20)], 'order'],
    ['clocks that run on', [part(null, 30), part(null, 20, { firstTime: 30_030 })], 'order'],
  ])('%s is one recording', (_, parts, by) => {
    expect(found(parts, by)).toHaveLength(1);
    expect(found(parts, by)[0]).toMatch(/^spanned-joined/);
  });

  test('AAC that ends 50 ms before its picture in each part is laid at the joints, with silence between, and that is said', () => {
    const aac = { codec: 'aac' };
    const parts = [
      part('01:00:00:00', 30, { ...aac, samples: 57_660 }),
      part('01:00:01:06', 20, { ...aac, samples: 37_640, startOffset: 12 }),
      part('01:00:02:02', 10, { ...aac, samples: 17_620 }),
    ];
    const { facts, findings } = joinParts(place(3), parts, { clip: 'a' });
    // 30 frames last 60060 samples, 20 last 40040.
    expect(facts?.audio[0]).toMatchObject({
      samples: 120_120,
      pieces: [
        { take: 57_660, silence: 2412 },
        { take: 37_640, silence: 2388 },
        { take: 17_620, silence: 2400 },
      ],
    });
    expect(findings[1]).toMatchObject({
      code: 'spanned-audio-filled',
      found:
        'audio track 1, joint 1: 2412 samples of silence (50.3 ms), joint 2: 2388 samples of silence (49.8 ms), end: 2400 samples of silence (50.0 ms)',
    });
  });

  test('gaps of less than a packet that add up to more are no audio that runs on', () => {
    const parts = ['01:00:00:00', '01:00:01:06', '01:00:02:12'].map((label) =>
      part(label, 30, { codec: 'aac', samples: 60_060 - 1500 }),
    );
    expect(joinParts(place(3), parts, { clip: 'a' }).facts?.audio[0]?.pieces).toEqual([
      { take: 58_560, silence: 1500 },
      { take: 58_560, silence: 1500 },
      { take: 58_560, silence: 1500 },
    ]);
  });
});
