/** The number of the recipe is raised whenever the same profile would give other bytes: what decides the bytes is held to a digest beside it. */
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { burnInFont, packageFolder } from '../../files/installation.ts';
import { RECIPE } from '../../ledger/toolchain.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { builtInProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { graphValue } from '../../profiles/recipe/escape.ts';
import { recipeOf } from '../../profiles/recipe/index.ts';
import { masterMovieRecipe } from '../../profiles/recipe/master.ts';
import { type AnyProfile, profileSchema } from '../../profiles/schema.ts';
import { audioFacts, clipFacts, clipNamed } from '../support/facts.ts';

/** Raise RECIPE in ledger/toolchain.ts when one of these changes, and write here what the test shows. */
const PINNED = {
  recipe: 12,
  arguments: '7d69a1284046301e51026d511a72d15b888d06beab8e8ccc2a33dbe7673b849c',
  kernels: '1a3bc8fd349c1d798e576f58681d0c5a42fcf9d4eb45c3f03c274eeceaa68e44',
};
const CHANGED =
  'these bytes changed: raise RECIPE in ledger/toolchain.ts and write the new digest here (test/profiles/recipe-number.test.ts)';

const sha256 = (bytes: string | Buffer): string => createHash('sha256').update(bytes).digest('hex');

const hdr = { primaries: 'bt2020', transfer: 'pq', matrix: 'bt2020', range: 'limited' } as const;
const logInput: Interpretation = {
  input: { name: 'slog3-sgamut3cine' },
  inputFrom: 'show',
  raw: { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' },
  owner: 'the bell foundry',
  comments: '',
};
const sources: Readonly<Record<string, ClipFacts>> = {
  plain: clipFacts(),
  'at 25': clipFacts({ video: { rate: { num: 25, den: 1 }, colour: { ...hdr } } }),
  interlaced: clipFacts({
    video: { fieldOrder: 'top-first', rate: { num: 25, den: 1 } },
    timecode: { frame: 90_000, base: 25, drop: false },
  }),
  'bottom field first': clipFacts({
    video: { fieldOrder: 'bottom-first', rate: { num: 30000, den: 1001 } },
    timecode: { frame: 107_892, base: 30, drop: true },
  }),
  turned: clipFacts({ video: { rotation: 90 } }),
  'upside down': clipFacts({ video: { rotation: 180 } }),
  'of 4:2:0': clipFacts({
    video: { codec: 'h264', pixelFormat: 'yuv420p', bitDepth: 8, width: 1280, height: 720 },
  }),
  'of 4:4:4': clipFacts({ video: { pixelFormat: 'yuv444p12le', bitDepth: 12, width: 4096, height: 2160 } }),
  'of RGB': clipFacts({
    video: {
      codec: 'dpx',
      pixelFormat: 'gbrp10le',
      colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' },
    },
  }),
  untagged: clipFacts({ video: { colour: { primaries: null, transfer: null, matrix: null, range: null } } }),
  'full range': clipFacts({
    video: { colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'full' } },
  }),
  'wide pixels': clipFacts({ video: { width: 1440, pixelAspect: { num: 4, den: 3 } } }),
  'without audio': clipFacts({ audio: [] }),
  'of many tracks': clipFacts({
    audio: [
      audioFacts({ channels: 1, layout: 'mono' }),
      audioFacts({ streamIndex: 2, channels: 6, layout: '5.1', startOffset: 480 }),
      audioFacts({ streamIndex: 3, codec: 'pcm_s16le', bitDepth: 16, sampleRate: 44_100, samples: 88_288 }),
      audioFacts({ streamIndex: 4, channels: 8, layout: null, samples: 96_000 }),
    ],
  }),
  // Of these the settings say what their values mean.
  log: clipFacts({ video: { pixelFormat: 'yuv420p10le', chromaSiting: 'topleft' } }),
  'log frames': clipFacts({
    video: {
      codec: 'png',
      pixelFormat: 'gbrp10le',
      streamIndex: 1,
      colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'rgb', range: 'full' },
    },
  }),
  'off-speed': clipFacts({
    video: { rate: { num: 60_000, den: 1001 } },
    timecode: { frame: 216_059, base: 60, drop: false },
    audio: [audioFacts({ samples: 38_438 })],
    timing: {
      projectRate: { num: 24_000, den: 1001 },
      offSpeed: 'project-rate',
      offSpeedAudio: 'real-time',
    },
  }),
  'of a rate that varies': clipFacts({
    video: {
      frames: 4,
      endTime: 4 * 1001,
      rateConstant: false,
      stepsInOrder: [
        [1100, 2],
        [803, 1],
      ],
    },
    audio: [],
    timing: { variableRate: 'constant' },
  }),
  'without timecode and reel': clipFacts({ timecode: null, timecodeFrom: null, reel: null }),
};

/** Profiles that no built-in one covers: everything that a user's own file can turn. */
async function profiles(): Promise<AnyProfile[]> {
  const builtIn = (await builtInProfiles()).map(({ profile }) => profile);
  const of = (name: string): AnyProfile => {
    const found = builtIn.find((profile) => profile.name === name);
    if (found === undefined) throw new Error(`no profile ${name}`);
    return found;
  };
  const own = (name: string, base: string, over: object): AnyProfile =>
    profileSchema.parse({ ...of(base), name, ...over });
  return [
    ...builtIn,
    own('cropped', 'review-h264', {
      raster: { policy: 'fill', width: 640, height: 640, multiple_of: 4, enlarge: true },
      burn_in: [
        { text: 'reel', place: 'top-left', height_percent: 4 },
        { text: 'roll', place: 'top-centre', height_percent: 3 },
        { text: 'profile', place: 'top-right', height_percent: 4 },
        { text: 'timecode', place: 'bottom-centre', height_percent: 20 },
      ],
      video: { codec: 'h264', quality: 18, speed: 'slow', key_frame_seconds: 10 },
    }),
    own('ten-bit', 'editorial-vc3', {
      video: { codec: 'vc3', quality: 'hqx' },
      pixels: '4:2:2 10-bit',
      interlaced: 'deinterlace',
      colour: { primaries: 'source', transfer: 'source', matrix: 'bt709', range: 'full', untagged: 'bt709' },
      audio: { tracks: 'first', format: 'pcm-16', rate: 96000, tolerance_frames: 50, offset: 'fit' },
      reel: 'clip',
    }),
    own('each-field', 'editorial-vc3', { interlaced: 'split' }),
    own('large', 'editorial-rdd36', {
      video: { codec: 'rdd36', quality: '4444' },
      pixels: '4:4:4 10-bit',
      raster: { policy: 'native', width: null, height: null, multiple_of: 1, enlarge: false },
      timecode: { missing: 'zero' },
      audio: { tracks: 'none', format: 'pcm-24', rate: 'source', tolerance_frames: 0, offset: 'fit' },
    }),
  ];
}

/** One line for each profile and source: the command that would be run, or why none is. Paths of the machine are not in it. */
async function golden(): Promise<string[]> {
  const clip = clipNamed("bell's 100% \\ cast: [1],2", 'bell');
  const font = burnInFont();
  const here = (text: string): string =>
    text
      .replaceAll(graphValue(font), '<font>')
      .replaceAll(font, '<font>')
      .replaceAll(packageFolder, '<package>');
  const lines: string[] = [];
  for (const profile of await profiles())
    for (const [name, facts] of Object.entries(sources)) {
      // Of high range nothing is made of pictures that nobody says the meaning of.
      const isShown = profile.kind === 'movie' && profile.colour.primaries === 'bt2020';
      const understood =
        profile.kind === 'master' || isShown || name.startsWith('log')
          ? { ...facts, interpretation: logInput }
          : facts;
      const { outcome, ...rest } = decideOutcome({
        day: 'day-01',
        roll: 'A001',
        clip,
        facts: understood,
        profile,
      });
      const made = (): unknown => {
        if (outcome === null) return 'findings' in rest ? rest.findings.map(({ code }) => code) : [];
        if (outcome.kind === 'frames') {
          // Of a whole clip no byte says that it is no stretch.
          const { stretch, ...said } = outcome;
          return stretch === null ? said : outcome;
        }
        const path = `/delivery/${outcome.fileName}`;
        if (profile.kind === 'movie')
          return recipeOf({
            facts: understood,
            deliverables: [{ profile, outcome, path }],
            textFolder: '/texts',
            threads: 2,
          });
        return {
          outcome,
          recipe: masterMovieRecipe({ facts, outcome, path, maskFolder: '/masks', threads: 2 }),
        };
      };
      lines.push(here(`${profile.name}, ${name}: ${JSON.stringify(made())}`));
    }
  return lines;
}

test('the argument lists of every built-in profile and of what users can turn, over sources of every kind', async () => {
  const lines = await golden();
  const text = lines.join('\n');
  expect(text).not.toContain(packageFolder);
  // A table that refuses everything would hold nothing.
  expect(lines.filter((line) => line.includes('"filterGraph"')).length).toBeGreaterThan(60);
  for (const profile of await profiles())
    expect(
      lines.some((line) => line.startsWith(`${profile.name}, `) && line.includes(': {')),
      profile.name,
    ).toBe(true);
  expect({ recipe: RECIPE, digest: sha256(text) }, CHANGED).toEqual({
    recipe: PINNED.recipe,
    digest: PINNED.arguments,
  });
});

/** Proves frames, and makes no byte of one. */
const PROVES_ONLY = 'whole-frames.wasm';

test('the bytes of the compiled kernels that make frames, and of the font', () => {
  const folder = join(packageFolder, 'dist', 'kernels');
  const modules = readdirSync(folder)
    .filter((name) => name.endsWith('.wasm') && name !== PROVES_ONLY)
    .sort();
  expect(modules.length).toBeGreaterThan(3);
  const lines = [
    ...modules.map((name) => `${name} ${sha256(readFileSync(join(folder, name)))}`),
    `font ${sha256(readFileSync(burnInFont()))}`,
  ];
  expect({ recipe: RECIPE, digest: sha256(lines.join('\n')) }, CHANGED).toEqual({
    recipe: PINNED.recipe,
    digest: PINNED.kernels,
  });
});
