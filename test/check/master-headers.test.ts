/** Headers of masters are a closed world: no byte of one can be changed without being seen, and what is foreign is named. */
import { beforeAll, describe, expect, test } from 'vitest';
import { dpxFrame } from '../../check/master/dpx.ts';
import { developmentOf, saidOf } from '../../check/master/expected.ts';
import { carriedNames } from '../../check/master/carried-expected.ts';
import { measureExr } from '../../check/master/exr.ts';
import { attributesOf as headerOf } from '../../check/master/exr/header.ts';
import type { FrameSaid } from '../../check/master/measured.ts';
import { dpxBytes, dpxHeader } from '../../media/formats/dpx/header.ts';
import type { ClipAttribute, StatedValue } from '../../media/formats/stated-schema.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { InputTransform } from '../../media/colour/input.ts';
import { attributesOf, developmentText, dpxOf } from '../../worker/master/attributes.ts';
import { encoded, grainy } from '../formats/exr/encoded.ts';

const [WIDTH, HEIGHT] = [20, 18];
const outcome: MasterOutcome = {
  kind: 'frames',
  format: 'exr',
  compression: 'zip',
  dwaLevel: null,
  bits: null,
  fileName: 'B012',
  stem: 'B012',
  extension: 'exr',
  first: 86_400,
  digits: 7,
  stretch: null,
  frames: 48,
  rate: { num: 24_000, den: 1001 },
  width: WIDTH,
  height: HEIGHT,
  pixelAspect: { num: 1, den: 1 },
  timecode: parseTimecode('01:00:00:00', 24),
  cadence: { offSpeed: null, constant: null, split: null, timecodeFrom: 'file', timecodeField: null },
  reel: 'B012',
  linearisation: {
    kind: 'coded',
    input: { name: 'slog3-sgamut3cine' },
    pixelFormat: 'yuv422p10le',
    matrix: 'bt709',
    range: 'limited',
    siting: null,
    declared: null,
    reader: null,
  },
  said: {
    owner: 'The bell foundry',
    comments: 'First pour',
    captured: '2026:11:25 10:20:30',
    iso: 800,
    exposureSeconds: 0.02,
    whiteKelvin: 5600,
    camera: 'B',
    serial: '0042',
  },
  amf: {} as MasterOutcome['amf'],
  source: { file: 'B012.mov' },
  carried: [],
  left: [],
  frameBytes: null,
  estimatedBytes: 1,
  bytesRange: { least: 1, most: 1 },
};
const FRAME = 7;
const always = (name: string, type: ClipAttribute['type'], value: StatedValue): ClipAttribute => ({
  name,
  type,
  from: name,
  values: [{ frame: 0, value }],
});
/** One of every type that a source can state. */
const carried: ClipAttribute[] = [
  always('aperture', 'float', Math.fround(2.8)),
  always('focus', 'float', 'infinity'),
  always('lensModel', 'string', 'Bell 35'),
  always('captureRate', 'rational', [120_000, 1001]),
  {
    ...always('tStop', 'float', 4),
    values: [
      { frame: 0, value: 4 },
      { frame: FRAME, value: Math.fround(3.1) },
      { frame: FRAME + 1, value: 5 },
    ],
  },
  {
    ...always('roll', 'int', 4),
    values: [
      { frame: 0, value: 4 },
      { frame: FRAME, value: null },
    ],
  },
  always('take', 'int', 3),
  always('scale', 'double', 0.1),
  always('nodal', 'v2f', [Math.fround(0.1), -1]),
  always('place', 'v2i', [3, -4]),
  always('cameraPosition', 'v3f', [1, 2, Math.fround(3.3)]),
  always('size', 'v3i', [1, 2, 3]),
  always('turn', 'm33f', [1, 0, 0, 0, 1, 0, 0, 0, 1]),
  always('worldToCamera', 'm44f', [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 5, 6, Math.fround(7.7), 1]),
];
const inExrAlone: ClipAttribute[] = [always('crew', 'stringvector', ['sand', 'bronze'])];
const inDpx: ClipAttribute[] = [
  always('shutterAngle', 'float', Math.fround(172.8)),
  always('slate', 'string', '12A take 3'),
];
const asDpx: MasterOutcome = {
  ...outcome,
  format: 'dpx',
  compression: 'none',
  bits: 10,
  extension: 'dpx',
  carried: inDpx,
};

const differing = (found: FrameSaid | null, wanted: FrameSaid): string[] =>
  found === null
    ? ['nothing can be read']
    : (Object.keys(wanted) as (keyof FrameSaid)[])
        .filter((name) => found[name] !== wanted[name])
        .map((name) => `${name} ${found[name]}`);

function dpx(): Buffer {
  const head = dpxHeader({ width: WIDTH, height: HEIGHT, bits: 10 }, dpxOf(asDpx, FRAME));
  return Buffer.concat([
    head,
    Buffer.alloc(dpxBytes({ width: WIDTH, height: HEIGHT, bits: 10 }) - head.length, 0x44),
  ]);
}
function seenInDpx(bytes: Buffer): string[] {
  try {
    const { faults, said } = dpxFrame(bytes, 24, 10);
    return [...faults, ...differing(said, saidOf(asDpx, FRAME))];
  } catch (error) {
    if (error instanceof RangeError) return [error.message];
    throw error;
  }
}

describe('DPX', () => {
  test('a good header is what the outcome says', () => {
    expect(seenInDpx(dpx())).toEqual([]);
  });

  test('no byte of the header can be changed without being seen', () => {
    const unseen: number[] = [];
    for (let at = 0; at < 2048; at += 1) {
      const bytes = dpx();
      bytes[at] = (bytes[at] as number) ^ 0x21;
      if (seenInDpx(bytes).length === 0) unseen.push(at);
    }
    expect(unseen).toEqual([]);
  });

  test.each<[string, number, string, RegExp]>([
    ['another owner', 460, 'The tin foundry\0', /owner The tin foundry/],
    ['another place among the frames', 1712, '\0\0\0\x08', /counter 8 and 7 of 48/],
    ['another creator', 160, 'Bell', /others creator at byte 160/],
    ['a project', 260, 'Bell', /others project at byte 260/],
    ['another slate', 1764, 'Bell', /carried [\s\S]*slate string "Belltake 3"/],
    ['another shutter angle', 1728, 'CCCC', /carried shutterAngle float 195/],
    ['another device', 1556, 'C', /camera C/],
    ['words behind the end of a text', 500, 'Bell', /others owner with bytes behind its end at byte 460/],
  ])('%s is named', (_title, at, value, says) => {
    const bytes = dpx();
    bytes.write(value, at, 'latin1');
    expect(seenInDpx(bytes).join('\n')).toMatch(says);
  });
});

describe.each(['exr', 'aces'] as const)('OpenEXR, %s', (format) => {
  const wanted = {
    ...outcome,
    source: { prefix: 'B012_', suffix: '.dng', padding: 6, first: 101 },
    carried: format === 'exr' ? [...carried, ...inExrAlone] : carried,
    format,
    compression: format === 'exr' ? ('zip' as const) : ('none' as const),
  };
  let whole: Buffer;
  beforeAll(async () => {
    const form = { width: WIDTH, height: HEIGHT, compression: wanted.compression, container: format };
    whole = (await encoded(form, grainy(WIDTH, HEIGHT), attributesOf(wanted, FRAME))).bytes;
  });
  const seen = async (bytes: Buffer): Promise<string[]> => {
    const { faults, said } = await measureExr({
      bytes,
      base: 24,
      aces: format === 'aces',
      carried: carriedNames(wanted),
      points: [],
      spot: [],
    });
    return [...faults, ...differing(said, saidOf(wanted, FRAME))];
  };

  test('a good header is what the outcome says', async () => {
    expect(await seen(whole)).toEqual([]);
  });

  test('no byte of the header can be changed without being seen', async () => {
    const unseen: number[] = [];
    for (let at = 0; at < headerOf(whole).end; at += 1) {
      const bytes = Buffer.from(whole);
      bytes[at] = (bytes[at] as number) ^ 0x21;
      if ((await seen(bytes)).length === 0) unseen.push(at);
    }
    expect(unseen).toEqual([]);
  });

  test('what the source states stands in the header, in the frame that it is of, and a value that is gone or another is named', async () => {
    const names = [...headerOf(whole).attributes.keys()];
    expect(names).toEqual(expect.arrayContaining(['aperture', 'focus', 'lensModel', 'captureRate']));
    const wantedThen = saidOf(wanted, FRAME).carried;
    expect(wantedThen).toContain(`tStop float ${Math.fround(3.1)}`);
    expect(wantedThen).not.toContain('roll ');
    const lens = Buffer.from(whole);
    lens.write('Tell', headerOf(lens).attributes.get('lensModel')?.at as number);
    expect((await seen(lens)).join('\n')).toMatch(/lensModel string "Tell 35"/);
    const form = { width: WIDTH, height: HEIGHT, compression: wanted.compression, container: format };
    const attributes = attributesOf(wanted, FRAME);
    const fewer = attributes.carried?.filter(({ name }) => name !== 'aperture') ?? [];
    const without = (await encoded(form, grainy(WIDTH, HEIGHT), { ...attributes, carried: fewer })).bytes;
    expect(await seen(without)).toEqual([expect.stringMatching(/^carried /)]);
    const later = attributesOf(wanted, FRAME + 1).carried ?? [];
    const other = (await encoded(form, grainy(WIDTH, HEIGHT), { ...attributes, carried: later })).bytes;
    expect(await seen(other)).toEqual([expect.stringMatching(/^carried [\s\S]*tStop float 5/)]);
    expect(saidOf(wanted, FRAME).source).toBe('B012_000108.dng frame 108');
  });

  test('another counter and another neutral are named, and so is an attribute of others', async () => {
    const counter = Buffer.from(whole);
    counter.writeInt32LE(86_408, headerOf(counter).attributes.get('imageCounter')?.at as number);
    expect((await seen(counter)).join('\n')).toMatch(/counter 86408/);
    if (format === 'aces') return;
    const neutral = Buffer.from(whole);
    neutral.writeFloatLE(0.3127, headerOf(neutral).attributes.get('adoptedNeutral')?.at as number);
    expect((await seen(neutral)).join('\n')).toMatch(/neutral 0.3127/);
    const form = { width: WIDTH, height: HEIGHT, compression: 'zip', container: 'exr' } as const;
    const attributes = attributesOf(wanted, FRAME);
    const free = { ...attributes.free, lookApplied: 'warm' };
    const foreign = (await encoded(form, grainy(WIDTH, HEIGHT), { ...attributes, free })).bytes;
    expect((await seen(foreign)).join('\n')).toMatch(/others attribute lookApplied at byte \d+/);
    const tinted = (await encoded(form, grainy(WIDTH, HEIGHT), { ...attributes, cameraTintSetting: 5 }))
      .bytes;
    expect((await seen(tinted)).join('\n')).toMatch(/others attribute cameraTintSetting at byte \d+/);
  });
});

test('how the values came about is worded alike by the writer and, apart from it, by the checker', () => {
  const raw = {
    kind: 'raw',
    decoder: 'rushlight',
    decoderVersion: '1',
    demosaic: 'fine',
    highlights: 'keep',
    corrections: [],
    turn: 0,
    mirrored: false,
    white: { x: 0.3127, y: 0.329, kelvin: 6503.6 },
    anchor: 'metered',
    exposure: 1.25,
  } as unknown as MasterOutcome['linearisation'];
  expect(developmentOf(raw)).toBe(
    'DNG specification; decoder rushlight 1; demosaic fine; highlights keep; white 0.3127 0.3290, 6504 K; anchor metered, exposure x 1.25',
  );
  const coded = outcome.linearisation;
  if (coded.kind !== 'coded') throw new Error('a coded picture was meant');
  const sha256 = 'ab'.repeat(32);
  const inputs: readonly [InputTransform, string][] = [
    [{ name: 'logc3-awg3', ei: 1280 }, 'logc3-awg3, ei 1280'],
    [{ name: 'pq-bt2020' }, 'pq-bt2020, nits_of_one 100'],
    [{ name: 'hlg-bt2020', signal_of_one: 1 }, 'hlg-bt2020, signal_of_one 1'],
    [{ name: 'adx10' }, 'adx10'],
    [{ curve: 'slog3', gamut: 'bt709' }, 'slog3 bt709, adaptation bradford'],
    [
      { file: 'show.cube', sha256, gives: 'acescct', interpolation: 'tetrahedral' },
      `show.cube SHA-256 ${sha256}, interpolation tetrahedral, gives acescct`,
    ],
    [
      {
        log: {
          base: 10,
          logSideSlope: 0.25,
          logSideOffset: 0.6,
          linSideSlope: 1,
          linSideOffset: 0.01,
          linSideBreak: 0.008,
        },
        primaries: { red: [0.7, 0.3], green: [0.2, 0.8], blue: [0.1, 0] },
        white: [0.3127, 0.329],
        adaptation: 'cat02',
      },
      'log curve, base 10, logSideSlope 0.25, logSideOffset 0.6, linSideSlope 1, linSideOffset 0.01, linSideBreak 0.008, red 0.7 0.3, green 0.2 0.8, blue 0.1 0, white 0.3127 0.329, adaptation cat02',
    ],
  ];
  const ways = inputs.map(([input]) => ({ ...coded, input, siting: 'topleft' as const }));
  for (const [at, way] of ways.entries()) {
    expect(developmentOf(way)).toContain(`input ${inputs[at]?.[1]}; `);
    expect(developmentOf(way)).toContain(', chroma topleft; ');
  }
  for (const way of [coded, ...ways, raw]) expect(developmentOf(way)).toBe(developmentText(way));
});
