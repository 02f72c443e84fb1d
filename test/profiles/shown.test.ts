/** Which clips go a colour way in a profile for looking at, which stay as they were recorded, and which are refused. */
import { describe, expect, test } from 'vitest';
import { inputOfTags, type InputName } from '../../media/colour/input.ts';
import { type ColourWay, usualWay, type WayLook } from '../../media/colour/way.ts';
import type { ClipFacts, VideoFacts } from '../../media/facts.ts';
import type { Profile } from '../../profiles/schema.ts';
import { factsSeen, type ShownDecision, shownOf } from '../../profiles/shown/decide.ts';
import { clipFacts } from '../support/facts.ts';
import { interpretation } from '../support/master.ts';
import { rawPicture } from '../support/raw-picture.ts';

const display: Pick<Profile, 'display'> = {
  display: { encoding: 'bt1886-bt709', development: { demosaic: 'fine', highlights: 'by-channel' } },
};

interface Case {
  readonly video?: Partial<VideoFacts>;
  readonly input?: InputName | null;
  readonly way?: Partial<ColourWay>;
  readonly over?: Partial<Omit<ClipFacts, 'video'>>;
}
function factsOf({ video = {}, input, way, over = {} }: Case): ClipFacts {
  const facts = clipFacts({ video, ...over });
  const said =
    input === undefined ? inputOfTags(facts.video.colour) : input === null ? null : { name: input };
  return {
    ...facts,
    interpretation: { ...interpretation, input: said, inputFrom: said === null ? null : 'show' },
    ...(way === undefined ? {} : { way: { ...usualWay, ...way } }),
  };
}
/** `stays`, the side that its colour way begins at, or what refuses it. */
function said(decision: ShownDecision): string {
  if ('findings' in decision) return decision.findings.map(({ code }) => code).join(' ');
  const { shown, notes } = decision;
  const output = shown?.output ?? null;
  const how = shown === null ? 'stays' : output !== null && 'placed' in output ? 'placed' : shown.from;
  return [how, ...notes.map(({ code }) => code)].join(' ');
}

const highRange = (encoding: 'pq-bt2020' | 'hlg-bt2020'): Pick<Profile, 'display'> => ({
  display: { encoding, development: { demosaic: 'fine', highlights: 'by-channel' } },
});

const tags = (
  primaries: 'bt709' | 'bt2020',
  transfer: 'bt709' | 'pq' | 'hlg' | 'log100' | 'log316',
): VideoFacts['colour'] => ({
  primaries,
  transfer,
  matrix: primaries,
  range: 'limited',
});
const untagged: VideoFacts['colour'] = { primaries: null, transfer: null, matrix: null, range: null };
const rgb: VideoFacts['colour'] = { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' };
const raw: NonNullable<ClipFacts['raw']> = {
  picture: rawPicture(1920, 1080),
  camera: {
    model: null,
    label: null,
    serial: null,
    reel: null,
    iso: null,
    exposureSeconds: null,
    fNumber: null,
    tStop: null,
    capturedAt: null,
  },
  decoder: { name: 'own', version: '1' },
};
const look = (to: WayLook['to']): WayLook => ({
  file: 'bell.cube',
  sha256: 'a'.repeat(64),
  from: 'acescct',
  to,
  interpolation: 'tetrahedral',
  aces: 'b'.repeat(64),
});

describe('a profile for a display', () => {
  test.each<[string, Case, string]>([
    ['log that the settings name', { input: 'slog3-sgamut3cine' }, 'recorded'],
    [
      'log without tags that the settings name',
      { video: { colour: untagged }, input: 'logc3-awg3' },
      'recorded colour-assumed',
    ],
    ['tagged BT.709', {}, 'stays'],
    ['called BT.709 by the settings', { video: { colour: untagged }, input: 'bt709' }, 'stays'],
    ['called a display of BT.2020 by the settings', { input: 'bt1886-bt2020' }, 'stays'],
    ['of which nobody says anything', { video: { colour: untagged }, input: null }, 'stays'],
    ['tagged PQ', { video: { colour: tags('bt2020', 'pq') } }, 'recorded'],
    ['tagged HLG', { video: { colour: tags('bt2020', 'hlg') } }, 'recorded'],
    [
      'scene-linear frames that the settings name',
      { video: { pixelFormat: 'gbrpf32le', bitDepth: 32, colour: rgb }, input: 'aces2065-1' },
      'developed',
    ],
    [
      'floats of a form that nobody here takes',
      { video: { pixelFormat: 'gbrapf16le', bitDepth: 16, colour: rgb }, input: 'acescg' },
      'master-source-unsupported',
    ],
    [
      'scene-linear frames of which nobody says anything',
      { video: { pixelFormat: 'gbrpf32le', bitDepth: 32, colour: untagged }, input: null },
      'input-unknown',
    ],
    [
      "log in R'G'B'",
      { video: { codec: 'dpx', pixelFormat: 'gbrp10le', colour: rgb }, input: 'logc3-awg3' },
      'developed',
    ],
    [
      "log in R'G'B' whose colours are to be compressed",
      {
        video: { codec: 'dpx', pixelFormat: 'gbrp10le', colour: rgb },
        input: 'logc3-awg3',
        way: { gamutCompression: true },
      },
      'colour-way-source-unsupported',
    ],
    [
      'log whose colours are to be compressed',
      { input: 'slog3-sgamut3cine', way: { gamutCompression: true } },
      'recorded',
    ],
    [
      "display R'G'B'",
      { video: { codec: 'dpx', pixelFormat: 'gbrp10le', colour: rgb }, input: 'srgb' },
      'stays',
    ],
    [
      'log, as recorded by the settings',
      { input: 'slog3-sgamut3cine', way: { output: 'as-recorded' } },
      'stays',
    ],
    [
      'a look that ends on its display',
      { input: 'slog3-sgamut3cine', way: { look: look('bt1886-bt709') } },
      'recorded',
    ],
    [
      'a look that ends in a space of the scene',
      { input: 'slog3-sgamut3cine', way: { look: look('acescct') } },
      'recorded',
    ],
    [
      'a look that ends on another display',
      { input: 'slog3-sgamut3cine', way: { look: look('srgb') } },
      'look-for-other-display',
    ],
    ['a look for another display, of what stays', { way: { look: look('srgb') } }, 'stays look-left-out'],
    ['a stop of exposure, of what stays', { way: { exposure: 1 } }, 'stays look-left-out'],
    [
      'a stop of exposure, of which nobody says anything',
      { video: { colour: untagged }, input: null, way: { exposure: 1 } },
      'stays look-left-out',
    ],
    ['tagged PQ in primaries of BT.709', { video: { colour: tags('bt709', 'pq') } }, 'input-unknown'],
    ['tagged HLG alone', { video: { colour: { ...untagged, transfer: 'hlg' } } }, 'input-unknown'],
    [
      'tagged PQ alone, which the settings name',
      { video: { colour: { ...untagged, transfer: 'pq' } }, input: 'pq-bt2020' },
      'recorded colour-assumed',
    ],
    [
      'tagged PQ alone, as recorded by the settings',
      { video: { colour: { ...untagged, transfer: 'pq' } }, way: { output: 'as-recorded' } },
      'stays',
    ],
    ['tagged log', { video: { colour: tags('bt709', 'log100') } }, 'recorded'],
    [
      'tagged log with the matrix of another standard',
      { video: { colour: { ...tags('bt709', 'log316'), matrix: 'bt2020' } } },
      'input-unknown',
    ],
    ['interlaced log', { video: { fieldOrder: 'top-first' }, input: 'slog3-sgamut3cine' }, 'recorded'],
    ['interlaced BT.709', { video: { fieldOrder: 'top-first' } }, 'stays'],
    ['log on its side', { video: { rotation: 90 }, input: 'slog3-sgamut3cine' }, 'recorded'],
    [
      'of a matrix that is not known',
      { video: { colour: { ...tags('bt709', 'bt709'), matrix: 'ictcp' } }, input: 'slog3-sgamut3cine' },
      'master-source-unsupported',
    ],
    ['raw', { over: { raw } }, 'developed'],
    ['raw, as recorded by the settings', { over: { raw }, way: { output: 'as-recorded' } }, 'stays'],
  ])('%s: %#', (_, given, expected) => {
    expect(said(shownOf(factsOf(given), display))).toBe(expected);
  });

  test('says what of the recorded codes it goes by, and whose output it is', () => {
    const decided = shownOf(
      factsOf({
        video: {
          colour: { ...tags('bt2020', 'bt709'), range: 'full' },
          pixelFormat: 'yuv420p10le',
          chromaSiting: 'topleft',
        },
        input: 'slog3-sgamut3',
        way: { exposure: 1, output: 'aces-1' },
      }),
      display,
    );
    expect(decided).toMatchObject({
      shown: {
        from: 'recorded',
        matrix: 'bt2020',
        range: 'full',
        siting: 'topleft',
        input: { name: 'slog3-sgamut3' },
        way: { exposure: 1 },
        output: { rendering: { version: 'aces-1', peak: 100, limiting: 'bt709' }, display: 'bt1886-bt709' },
      },
      notes: [],
    });
    const onDisplay = shownOf(
      factsOf({ input: 'slog3-sgamut3', way: { look: look('bt1886-bt709') } }),
      display,
    );
    expect(onDisplay).toMatchObject({ shown: { output: null } });
    const assumed = shownOf(factsOf({ video: { colour: untagged }, input: 'slog3-sgamut3' }), display);
    expect('notes' in assumed && assumed.notes.map(({ code }) => code)).toEqual(['colour-assumed']);
  });
});

describe('a profile for a display of high range', () => {
  test.each<[string, Case, string, string]>([
    ['tagged BT.709', {}, 'placed', 'placed'],
    [
      'called sRGB by the settings',
      { video: { colour: untagged }, input: 'srgb' },
      'placed colour-assumed',
      'placed colour-assumed',
    ],
    [
      "display R'G'B'",
      { video: { codec: 'dpx', pixelFormat: 'gbrp10le', colour: rgb }, input: 'srgb' },
      'placed',
      'placed',
    ],
    [
      'tagged BT.709, with a stop of exposure',
      { way: { exposure: 1 } },
      'placed look-left-out',
      'placed look-left-out',
    ],
    ['tagged BT.709, as recorded by the settings', { way: { output: 'as-recorded' } }, 'stays', 'stays'],
    ['interlaced BT.709', { video: { fieldOrder: 'top-first' } }, 'placed', 'placed'],
    ['of which nobody says anything', { video: { colour: untagged } }, 'input-unknown', 'input-unknown'],
    ['tagged PQ', { video: { colour: tags('bt2020', 'pq') } }, 'stays', 'recorded'],
    ['tagged HLG', { video: { colour: tags('bt2020', 'hlg') } }, 'recorded', 'stays'],
    ['log that the settings name', { input: 'slog3-sgamut3cine' }, 'recorded', 'recorded'],
  ])('%s', (_, given, pq, hlg) => {
    expect([pq, hlg]).toEqual(
      (['pq-bt2020', 'hlg-bt2020'] as const).map((encoding) =>
        said(shownOf(factsOf(given), highRange(encoding))),
      ),
    );
  });

  test('states where pictures of standard range are placed, and nothing of a look', () => {
    expect(shownOf(factsOf({ way: { exposure: 1 } }), highRange('hlg-bt2020'))).toMatchObject({
      shown: {
        from: 'recorded',
        way: usualWay,
        display: 'hlg-bt2020',
        output: { placed: 'bt709', white: 203, display: 'hlg-bt2020' },
      },
    });
  });

  test('names both tags that contradict each other, and the line of the settings', () => {
    const decided = shownOf(factsOf({ video: { colour: tags('bt709', 'pq') } }), display);
    expect('findings' in decided && decided.findings).toMatchObject([
      {
        found: 'primaries bt709, transfer pq, matrix bt709',
        expected: expect.stringMatching(/primaries bt2020 or p3-d65.*`input: \{ name: … \}`/),
      },
    ]);
  });

  test('takes log that the tags alone name by them, and says so', () => {
    const facts = factsOf({ video: { colour: tags('bt709', 'log100') } });
    const { interpretation: said } = facts;
    if (said === undefined) throw new Error('no interpretation');
    const decided = shownOf({ ...facts, interpretation: { ...said, inputFrom: 'tags' } }, display);
    expect('notes' in decided && decided.notes.map(({ code }) => code)).toEqual(['log-by-tags']);
  });
});

test('a profile without a display leaves every picture as it was recorded', () => {
  for (const given of [
    { input: 'slog3-sgamut3cine' },
    { video: { colour: tags('bt2020', 'pq') } },
    { over: { raw } },
    { input: 'slog3-sgamut3cine', way: { look: look('srgb') } },
  ] as const)
    expect(shownOf(factsOf(given), {})).toEqual({ shown: null, notes: [] });
});

test("what goes a colour way is to its recipe R'G'B' of full range, and nothing of its chroma", () => {
  const facts = factsOf({
    video: { pixelFormat: 'yuv420p10le', chromaSiting: 'topleft' },
    input: 'slog3-sgamut3',
  });
  const decided = shownOf(facts, display);
  if ('findings' in decided || decided.shown === null) throw new Error('no colour way');
  const { video } = factsSeen(facts, decided.shown);
  expect(video).toMatchObject({
    pixelFormat: 'gbrp14le',
    bitDepth: 14,
    colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' },
  });
  expect('chromaSiting' in video).toBe(false);
  expect(factsSeen(facts, null)).toBe(facts);
});
