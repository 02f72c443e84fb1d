/**
 * OpenEXR in every form: what ffmpeg reads is measured, and what it does not read, or reads wrong without a word, is named as a form
 * that is not read. Files by OpenImageIO (oiiotool), and by hand where it does not write the form.
 */
import { copyFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import { understand } from '../../coordinator/settings/interpret.ts';
import type { Finding } from '../../findings/finding.ts';
import type { InputTransform } from '../../media/colour/input.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { SequencePlace } from '../../media/input.ts';
import { exrFlags } from '../../media/formats/exr/header.ts';
import { runForOutput } from '../../process/run.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { type ExrOptions, exrFrame } from '../support/exr.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { mediaTools } from '../support/make.ts';
import { groupFolder, interpretation } from '../support/master.ts';
import { outputOf } from '../support/pictures.ts';

const NAME = 'bell';

interface Surveyed {
  readonly facts: ClipFacts | null;
  readonly findings: readonly Finding[];
}

/** Of frames in `roll`/bell, numbered from 1. */
async function survey(roll: string, count = 1): Promise<Surveyed> {
  const place: SequencePlace = {
    kind: 'sequence',
    folder: NAME,
    prefix: 'bell.',
    suffix: '.exr',
    padding: 4,
    first: 1,
    count,
    statedRate: { num: 24, den: 1 },
  };
  return await surveySequence({
    rollFolder: roll,
    place,
    tools: await mediaTools(),
    subject: { clip: NAME },
  });
}

async function surveyFrames(...frames: readonly Buffer[]): Promise<Surveyed> {
  const roll = freshFolder('exr');
  mkdirSync(join(roll, NAME));
  for (const [index, bytes] of frames.entries())
    writeFileSync(join(roll, NAME, `bell.${String(index + 1).padStart(4, '0')}.exr`), bytes);
  return await survey(roll, frames.length);
}

describe('a form that ffmpeg does not read', () => {
  const forms: readonly (readonly [what: string, options: ExrOptions, why: RegExp])[] = [
    ['deep samples', { flags: exrFlags.deep }, /deep samples/],
    ['one channel G', { channels: [{ name: 'G' }] }, /no channels R, G and B, nor Y: there are G/],
    [
      'channels of a layer alone',
      { channels: ['R', 'G', 'B'].map((name) => ({ name: `ladle.${name}` })) },
      /there are ladle\.B, ladle\.G, ladle\.R/,
    ],
    [
      'luminance and chroma',
      { channels: [{ name: 'Y' }, { name: 'RY', sampling: 2 }, { name: 'BY', sampling: 2 }] },
      /Y, RY, BY/,
    ],
    [
      'a channel with a sample for every fourth pixel',
      { channels: [{ name: 'R' }, { name: 'G' }, { name: 'B', sampling: 2 }] },
      /channel B has a sample for every 2x2/,
    ],
    [
      'whole numbers of 32 bits',
      { channels: ['R', 'G', 'B'].map((name) => ({ name, kind: 'uint' })) },
      /of which ffmpeg keeps 16/,
    ],
  ];

  test.each(forms)('%s is named, and nothing is said against the file', async (_, options, why) => {
    const { facts, findings } = await surveyFrames(exrFrame(), exrFrame(options), exrFrame(options));
    expect(facts).toBeNull();
    const named = findings.filter(({ code }) => code === 'frames-form-unread');
    expect(named).toHaveLength(1);
    expect(named[0]?.found).toMatch(/^2 of 3 frames, the first is bell\.0002\.exr: /);
    expect(named[0]?.found).toMatch(why);
    expect(findings.map(({ code }) => code)).not.toContain('clip-no-decoder');
    expect(findings.map(({ code }) => code)).not.toContain('clip-picture-unreadable');
    expect(findings.map(({ code }) => code)).not.toContain('sequence-frame-damaged');
  });
});

test.each<[string, ExrOptions]>([
  ['a display window beside (0, 0)', { display: { xMin: 100, yMin: 100, xMax: 107, yMax: 105 } }],
  ['half and float side by side', { channels: [{ name: 'R' }, { name: 'G', kind: 'float' }, { name: 'B' }] }],
])('%s is read by our own code, all frames of the clip', async (_, options) => {
  const { facts, findings } = await surveyFrames(exrFrame(), exrFrame(options));
  expect(findings).toEqual([]);
  expect(facts?.exr?.reader).toBe('own');
  expect(facts?.video).toMatchObject({
    codec: 'exr',
    pixelFormat: 'gbrpf32le',
    bitDepth: 32,
    width: 8,
    height: 6,
  });
});

describe('every compression', () => {
  let folder: string;
  beforeAll(async () => {
    folder = groupFolder('exr-forms');
    await outputOf('oiiotool', [
      ...['--pattern', 'fill:topleft=0.1,0.2,0.05:topright=1.5,0,0.3:bottomleft=0,1,0:bottomright=4,1,2'],
      ...['70x50', '3', '-d', 'half', '--origin', '+0+0', '-o', join(folder, 'base.exr')],
    ]);
    // One program writes them all.
    for (const [compression, kind] of forms)
      mkdirSync(join(rollOf(compression, kind), NAME), { recursive: true });
    await outputOf('oiiotool', [
      join(folder, 'base.exr'),
      // Else this whole command stands in the header of each, and ffmpeg 5.1 does not find the attributes behind it.
      '--nosoftwareattrib',
      ...forms.flatMap(([compression, kind]) => [
        ...['-d', kind, '--compression', compression],
        ...['-o', join(rollOf(compression, kind), NAME, 'bell.0001.exr')],
      ]),
    ]);
  });

  const forms: readonly (readonly [compression: string, kind: 'half' | 'float'])[] = [
    ...['none', 'rle', 'zips', 'zip', 'piz', 'pxr24', 'b44', 'b44a', 'dwaa', 'dwab'].map(
      (compression) => [compression, 'half'] as const,
    ),
    ...['zip', 'pxr24', 'dwaa', ...further('none', 'rle', 'zips', 'piz', 'b44', 'b44a', 'dwab')].map(
      (compression) => [compression, 'float'] as const,
    ),
  ];
  const rollOf = (compression: string, kind: string): string => join(folder, `${compression}-${kind}`);
  test.each(forms)('%s of %s is read, or named as not read', async (compression, kind) => {
    const { facts, findings } = await survey(rollOf(compression, kind));
    if (compression.startsWith('dwa') && kind === 'float') {
      expect(facts).toBeNull();
      expect(findings.map(({ code }) => code)).toEqual(['frames-form-unread']);
      expect(findings[0]?.found).toContain(`${compression.toUpperCase()} compression of 32-bit values`);
      return;
    }
    expect(findings).toEqual([]);
    expect(facts?.exr).toEqual({
      layout: 'scan-lines',
      compression,
      channels: ['B', 'G', 'R'],
      chromaticities: null,
    });
  });

  // What OpenEXR, OpenImageIO and tinyexr read and ffmpeg 5.1.9 does not: it steps over 255 bytes of a value and no more.
  test.each(['zip', 'piz'])(
    '%s behind a comment of 256 bytes is read by whom it can, and never called damaged',
    async (compression) => {
      const roll = freshFolder('exr');
      mkdirSync(join(roll, NAME));
      const path = join(roll, NAME, 'bell.0001.exr');
      await outputOf('oiiotool', [
        join(folder, 'base.exr'),
        ...['--nosoftwareattrib', '--attrib', 'comments', 'x'.repeat(256)],
        ...['-d', 'half', '--compression', compression, '-o', path],
      ]);
      const { ffprobe } = await mediaTools();
      const alone = await runForOutput(ffprobe.path, ['-v', 'error', '-show_streams', path]);
      const { facts, findings } = await survey(roll);
      if (alone.stderr.trim() === '') {
        expect(findings).toEqual([]);
        expect(facts?.exr?.reader).toBeUndefined();
      } else if (compression === 'zip') {
        expect(findings).toEqual([]);
        expect(facts?.exr?.reader).toBe('own');
        expect(facts?.video).toMatchObject({ width: 70, height: 50, pixelFormat: 'gbrpf32le' });
      } else {
        expect(facts).toBeNull();
        expect(findings.map(({ code }) => code)).toEqual(['frames-form-unread']);
        expect(findings[0]?.found).toMatch(
          /^PIZ compression, scan lines; the attribute comments of 256 bytes; this ffmpeg says: /,
        );
      }
    },
  );

  test('DWAA in tiles: what this ffmpeg says of it is quoted, and the file is not called damaged', async () => {
    const roll = freshFolder('exr');
    mkdirSync(join(roll, NAME));
    const path = join(roll, NAME, 'bell.0001.exr');
    await outputOf('oiiotool', [
      join(folder, 'base.exr'),
      ...['--nosoftwareattrib', '--tile', '16', '16', '--compression', 'dwaa', '-o', path],
    ]);
    const { ffprobe } = await mediaTools();
    const alone = await runForOutput(ffprobe.path, ['-v', 'error', '-show_streams', path]);
    const { facts, findings } = await survey(roll);
    if (alone.stderr.trim() === '') expect(facts?.exr?.layout).toBe('tiles');
    else {
      expect(facts).toBeNull();
      expect(findings.map(({ code }) => code)).toEqual(['frames-form-unread']);
      expect(findings[0]?.found).toMatch(/^DWAA compression, tiles; this ffmpeg says: /);
    }
  });

  test('a mip-mapped file is read at its full size', async () => {
    const roll = freshFolder('exr');
    mkdirSync(join(roll, NAME));
    await outputOf('oiiotool', [
      join(folder, 'base.exr'),
      ...['-otex:fileformatname=openexr', join(roll, NAME, 'bell.0001.exr')],
    ]);
    const { facts } = await survey(roll);
    expect(facts).toMatchObject({ exr: { layout: 'tiles' }, video: { width: 70, height: 50 } });
  });

  test('a cut-off DWAA frame is damage all the same', async () => {
    const roll = freshFolder('exr');
    mkdirSync(join(roll, NAME));
    const path = join(roll, NAME, 'bell.0001.exr');
    await outputOf('oiiotool', [join(folder, 'base.exr'), '--compression', 'dwaa', '-o', path]);
    writeFileSync(path, readFileSync(path).subarray(0, -40));
    const { findings } = await survey(roll);
    expect(findings.map(({ code }) => code)).toEqual(['sequence-frame-damaged']);
  });
});

describe('channels that a master leaves out', () => {
  async function notesOf(facts: ClipFacts | null): Promise<readonly Finding[]> {
    if (facts === null) throw new Error('not measured');
    const { profiles } = await loadProfiles({ wanted: ['grading-master-exr'] });
    const profile = profiles[0]?.profile;
    if (profile === undefined) throw new Error('no profile');
    const decided = decideOutcome({
      day: 'day',
      roll: 'A001',
      clip: { id: NAME, name: NAME, contentDigest: NAME, place: { kind: 'movie', file: NAME } },
      facts: { ...facts, interpretation: { ...interpretation, input: { name: 'aces2065-1' } } },
      profile,
    });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return decided.notes.filter(({ code }) => code === 'channels-left-out');
  }

  test('alpha, depth, layers and views are named', async () => {
    const channels = ['R', 'G', 'B', 'A', 'Z', 'ladle.R', 'left.G'].map((name) => ({ name }));
    const { facts } = await surveyFrames(exrFrame({ channels }), exrFrame({ channels }));
    const notes = await notesOf(facts);
    expect(notes).toHaveLength(1);
    expect(notes[0]?.found).toBe('4 channels: A, Z, ladle.R, left.G');
  });

  test('a channel that one frame alone has is named too', async () => {
    const { facts } = await surveyFrames(
      exrFrame(),
      exrFrame({ channels: ['R', 'G', 'B', 'mask'].map((name) => ({ name })) }),
    );
    expect((await notesOf(facts))[0]?.found).toBe('channel mask');
  });

  test('R, G and B alone leave nothing to say', async () => {
    expect(await notesOf((await surveyFrames(exrFrame())).facts)).toEqual([]);
  });

  test('of several parts, those behind the first', async () => {
    const roll = freshFolder('exr');
    mkdirSync(join(roll, NAME));
    await outputOf('oiiotool', [
      ...['--pattern', 'constant:color=0.5,0.25,0.1', '32x18', '3', '-d', 'half'],
      ...['--pattern', 'constant:color=1,1,1', '32x18', '3', '-d', 'half', '--siappend'],
      ...['-o', join(roll, NAME, 'bell.0001.exr')],
    ]);
    expect((await notesOf((await survey(roll)).facts))[0]?.found).toBe('every part behind the first');
  });
});

describe('chromaticities', () => {
  /** Rec. ITU-R BT.709-6, items 1.3 and 1.4. */
  const BT709 = {
    red: [0.64, 0.33],
    green: [0.3, 0.6],
    blue: [0.15, 0.06],
    white: [0.3127, 0.329],
  } as const;

  /** The frame is of another project's test suite, in the container of SMPTE ST 2065-4, which asks for these values. */
  async function container(): Promise<ClipFacts> {
    const roll = freshFolder('exr');
    mkdirSync(join(roll, NAME));
    copyFileSync(resolve('test/fixtures/exr/aces-timecode-64x64.exr'), join(roll, NAME, 'bell.0001.exr'));
    const { facts } = await survey(roll);
    if (facts === null) throw new Error('not measured');
    return facts;
  }

  test('of the ACES container are a fact of the clip (SMPTE ST 2065-4)', async () => {
    const { exr } = await container();
    const { red, green, blue, white } = exr?.chromaticities ?? {};
    for (const [values, published] of [
      [red, [0.7347, 0.2653]],
      [green, [0, 1]],
      [blue, [0.0001, -0.077]],
      [white, [0.32168, 0.33767]],
    ] as const)
      expect(values?.map((value) => Number(value.toFixed(5)))).toEqual(published);
  });

  let masters: LoadedProfile[];
  beforeAll(async () => {
    masters = (await loadProfiles({ wanted: ['grading-master-exr'] })).profiles;
  });
  const said = (facts: ClipFacts, input: InputTransform): readonly (readonly string[])[] =>
    understand(
      facts,
      { roll: 'A001', clip: { id: 'bell', name: 'bell' } },
      { version: 1, show: { input } },
      { profiles: masters, stated: null, usual: ['grading-master-exr'] },
    ).findings.map(({ code, found, expected }) => [code, found, expected ?? '']);

  test('that contradict the input of the settings are reported, whatever form the input has', async () => {
    const aces = await container();
    const { facts: television } = await surveyFrames(exrFrame({ chromaticities: BT709 }));
    if (television === null) throw new Error('not measured');
    expect(said(television, { name: 'aces2065-1' })).toEqual([
      [
        'input-differs-from-tags',
        'chromaticities of bt709 in the frames (red 0.64 0.33, green 0.3 0.6, blue 0.15 0.06, white 0.3127 0.329)',
        'aces2065-1, by the show',
      ],
    ]);
    expect(said(aces, { curve: 'linear', gamut: 'ap1' })[0]?.[1]).toContain('chromaticities of ap0');
    expect(
      said(aces, {
        log: {
          base: 10,
          logSideSlope: 1,
          logSideOffset: 0,
          linSideSlope: 1,
          linSideOffset: 0,
        },
        primaries: { red: [0.64, 0.33], green: [0.3, 0.6], blue: [0.15, 0.06] },
        white: [0.3127, 0.329],
        adaptation: 'bradford',
      }),
    ).toHaveLength(1);
  });

  test('that fit the settings, or are not stated, say nothing', async () => {
    const { facts: television } = await surveyFrames(exrFrame({ chromaticities: BT709 }));
    const { facts: silent } = await surveyFrames(exrFrame());
    if (television === null || silent === null) throw new Error('not measured');
    expect(said(await container(), { name: 'aces2065-1' })).toEqual([]);
    expect(said(television, { name: 'linear-bt709' })).toEqual([]);
    expect(said(silent, { name: 'acescg' })).toEqual([]);
  });

  test('that no published space has are reported with their values', async () => {
    const { facts } = await surveyFrames(exrFrame({ chromaticities: { ...BT709, red: [0.66, 0.33] } }));
    if (facts === null) throw new Error('not measured');
    expect(said(facts, { name: 'linear-bt709' })[0]?.[1]).toMatch(
      /a space that is not known here .*red 0\.66 0\.33/,
    );
  });

  test('that differ from frame to frame hold the clip', async () => {
    const { findings } = await surveyFrames(exrFrame({ chromaticities: BT709 }), exrFrame());
    expect(findings.map(({ code }) => code)).toEqual(['sequence-rasters-differ']);
  });
});
