/** What a profile that keeps every sample may say, what it decides of a clip, and what stands between its decoder and its encoder. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { ClipFacts } from '../../media/facts.ts';
import { lintProfileFile, loadProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { slicesOf } from '../../profiles/outcome/slices.ts';
import { recipeOf } from '../../profiles/recipe/index.ts';
import { isMovie, type Profile } from '../../profiles/schema.ts';
import { audioFacts, clipFacts, videoFacts } from '../support/facts.ts';
import { freshFolder } from '../support/folder.ts';

async function profile(name: string): Promise<Profile> {
  const { profiles } = await loadProfiles({ wanted: [name] });
  const [loaded] = profiles.filter(isMovie);
  if (loaded === undefined) throw new Error(name);
  return loaded.profile;
}
const archive = await profile('archive-ffv1');
const clip = { id: 'B007C001', name: 'B007C001' };
const decide = (facts: ClipFacts, wanted: Profile = archive): ReturnType<typeof outcomeOf> =>
  outcomeOf({ day: 'day-01', roll: 'B007', clip, facts, profile: wanted });

describe('fields that cannot stand with a lossless codec, or without one', () => {
  const lint = async (text: string): Promise<string[]> => {
    const path = join(freshFolder('lint'), 'mine.yaml');
    writeFileSync(path, `version: 1\nname: mine\nsummary: x\n${text}`);
    return (await lintProfileFile(path)).findings.map(
      ({ code, found }) => `${code}: ${found.replace(/^line \d+, [a-z_.]+: /, '')}`,
    );
  };
  test.each(
    [
      ['extends: archive-ffv1\npixels: 4:2:0 8-bit', 'profile-combination: 4:2:0 8-bit with ffv1'],
      ['extends: archive-ffv1\nraster: { policy: native }', 'profile-combination: native with ffv1'],
      ['extends: archive-ffv1\ninterlaced: deinterlace', 'profile-combination: deinterlace with ffv1'],
      ['extends: archive-ffv1\ncolour: { range: limited }', 'profile-combination: limited with ffv1'],
      ['extends: archive-ffv1\ncolour: { untagged: bt709 }', 'profile-combination: bt709 with ffv1'],
      ['extends: archive-ffv1\naudio: { format: pcm-24 }', 'profile-combination: pcm-24 with ffv1'],
      ['extends: archive-ffv1\naudio: { rate: 48000 }', 'profile-combination: 48000 with ffv1'],
      ['extends: archive-ffv1\naudio: { tolerance_frames: 1 }', 'profile-combination: 1 with ffv1'],
      [
        'extends: archive-ffv1\nburn_in: [{ text: clip, place: top-left, height_percent: 4 }]',
        'profile-combination: text in the picture with ffv1',
      ],
      ['extends: archive-ffv1\ncontainer: mov', 'profile-combination: mov with ffv1'],
      [
        'extends: archive-ffv1\nchecks: [frames, duration, timecode, frame-spacing, raster, colour-tags, codec, audio, decode, frame-match, levels, audio-match, bitstream, container]',
        'profile-check-left-out: no lossless',
      ],
      ['extends: editorial-vc3\ninterlaced: keep', 'profile-combination: keep with vc3'],
      ['extends: editorial-vc3\npixels: source', 'profile-combination: source with vc3'],
      ['extends: editorial-vc3\naudio: { tolerance_frames: keep }', 'profile-combination: keep with vc3'],
      [
        'extends: editorial-vc3\nchecks: [frames, duration, timecode, frame-spacing, raster, colour-tags, codec, audio, decode, frame-match, levels, picture-error, audio-match, bitstream, container, lossless]',
        'profile-combination: lossless, with vc3, which loses something',
      ],
    ].map(([text, found]) => ({ text, found: found as string, said: text?.split('\n')[1] })),
  )('$said: $found', async ({ text = '', found }) => {
    expect(await lint(text)).toContain(found);
  });

  test('another number of slices is no fault', async () => {
    expect(await lint('extends: archive-ffv1\nvideo: { slices: 24 }')).toEqual([]);
  });
});

describe('what is kept of a clip', () => {
  test.each<[title: string, facts: ClipFacts, expected: Record<string, unknown>]>([
    [
      'tags that are there',
      clipFacts({
        video: {
          colour: { primaries: 'bt2020', transfer: 'hlg', matrix: 'bt2020-constant', range: 'limited' },
        },
      }),
      { colour: { primaries: 'bt2020', transfer: 'hlg', matrix: 'bt2020-constant', range: 'limited' } },
    ],
    [
      'tags that are not there',
      clipFacts({ video: { colour: { primaries: null, transfer: null, matrix: null, range: null } } }),
      { colour: { primaries: null, transfer: null, matrix: null, range: null } },
    ],
    [
      'the raster as coded, with the shape of its pixels',
      clipFacts({ video: { width: 1440, height: 1080, pixelAspect: { num: 4, den: 3 } } }),
      { width: 1440, height: 1080, pixelAspect: { num: 4, den: 3 } },
    ],
    ['fields', clipFacts({ video: { fieldOrder: 'bottom-first' } }), { fieldOrder: 'bottom-first' }],
    [
      'audio that is longer than the picture, in its own form',
      clipFacts({ audio: [audioFacts({ codec: 'pcm_f32be', samples: 123_457, sampleRate: 96_000 })] }),
      {
        audio: [
          expect.objectContaining({ codec: 'pcm_f32le', samples: 123_457, sampleRate: 96_000, tolerance: 0 }),
        ],
      },
    ],
  ])('%s', (_title, facts, expected) => {
    expect(decide(facts).outcome).toMatchObject(expected);
  });

  test.each<[title: string, facts: ClipFacts, code: string, found: string]>([
    [
      'a pixel format that the encoder would be given another one for',
      clipFacts({ video: { pixelFormat: 'nv12' } }),
      'not-representable',
      'pixel format nv12',
    ],
    [
      'four channels of which alpha has twelve bits',
      clipFacts({ video: { pixelFormat: 'yuva444p12le' } }),
      'not-representable',
      'pixel format yuva444p12le',
    ],
    [
      'a turn',
      clipFacts({ video: { rotation: 180 } }),
      'not-representable',
      'a picture to be turned by 180 degrees clockwise',
    ],
    [
      'a tag that nobody knows',
      clipFacts({ video: { colour: { primaries: 'bt709', transfer: 'x', matrix: null, range: null } } }),
      'not-representable',
      'transfer x',
    ],
    [
      'audio that starts late',
      clipFacts({ audio: [audioFacts({ startOffset: 5 })] }),
      'not-representable',
      'track 1 starts 5 samples after the picture',
    ],
    [
      'compressed audio',
      clipFacts({ audio: [audioFacts(), audioFacts({ codec: 'aac' })] }),
      'not-representable',
      'track 2: aac',
    ],
    [
      'a picture beyond the largest slice',
      clipFacts({ video: { width: 16_384, height: 16_384, pixelFormat: 'yuv444p16le', bitDepth: 16 } }),
      'raster-unsupported',
      '16384x16384 of yuv444p16le',
    ],
  ])('held: %s', (_title, facts, code, found) => {
    const decided = decide(facts);
    expect(
      decided.outcome === null ? decided.findings.map((item) => `${item.code}: ${item.found}`) : [],
    ).toContain(`${code}: ${found}`);
  });

  // What the encoder of FFmpeg 5.1 answered when it was asked for these numbers at these sizes.
  test.each([
    [1920, 1080, 'yuv422p10le', 16],
    [97, 63, 'yuv420p', 12],
    [97, 63, 'yuv444p', 16],
    [99, 61, 'yuv422p', 16],
    [43, 96, 'yuv420p', 16],
    [101, 67, 'yuv420p', 24],
  ] as const)('%d x %d %s is cut into %d slices where 16 are asked', (width, height, pixelFormat, count) => {
    expect(slicesOf(videoFacts({ width, height, pixelFormat, bitDepth: 8 }), 16)).toBe(count);
  });
});

describe('between decoder and encoder', () => {
  function graphOf(facts: ClipFacts, ...profiles: readonly Profile[]): string[] {
    const deliverables = profiles.map((wanted, index) => {
      const { outcome } = decide(facts, wanted);
      if (outcome === null) throw new Error(wanted.name);
      return { profile: wanted, outcome, path: `/out/${index}` };
    });
    return recipeOf({
      facts,
      deliverables,
      textFolder: '/text',
      threads: 2,
    }).filterGraph.split(';');
  }
  const linearisation = (graph: readonly string[], pads: readonly string[]): string =>
    graph.filter((chain) => pads.some((pad) => chain.startsWith(pad))).join(';');

  test.each([['yuv422p10le'], ['yuvj420p'], ['gbrp12le'], ['bgr0'], ['rgb48le']])(
    'stands no scaler, for %s',
    (pixelFormat) => {
      const graph = graphOf(clipFacts({ video: { pixelFormat } }), archive);
      const path = linearisation(graph, ['[shown]', '[in0]']);
      expect(path).toContain('[out0]');
      expect(path).not.toMatch(/scale|format=(?!yuv420p)|crop|bwdif|drawtext|pad/);
    },
  );

  test('fields are kept for one and made into frames for the other, once', async () => {
    const frames = { ...(await profile('editorial-vc3')), interlaced: 'deinterlace' as const };
    const graph = graphOf(clipFacts({ video: { fieldOrder: 'top-first' } }), frames, archive, frames);
    expect(linearisation(graph, ['[shown-frames]'])).toMatch(/bwdif.*split=2\[in0\]\[in2\]$/);
    expect(linearisation(graph, ['[shown-fields]'])).not.toContain('bwdif');
    expect(linearisation(graph, ['[shown-fields]'])).toMatch(/split=1\[in1\]$/);
    expect(linearisation(graph, ['[in1]'])).toContain('field_mode=tff');
  });
});
