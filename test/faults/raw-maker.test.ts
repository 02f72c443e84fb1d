/**
 * A maker of raw masters that does what it should not, in whole jobs: a copy of the compiled program in which one expression of the frame threads is another.
 * Spots and checks run as they are. What each fault spoils is held, and the same clips without a fault are published.
 */
import { cpSync, mkdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { beforeAll, describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { developmentOf } from '../../media/raw/develop/development.ts';
import type { JobFailure } from '../../worker/context.ts';
import { type DngOptions, srationals, testSamples } from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow } from '../support/lane.ts';
import { groupFolder, reportOf } from '../support/master.ts';
import { type ClipOnDisk, masterJob, rawClip } from '../support/masters.ts';
import { gainMap, opcodeList, reach, type TestOpcode, vignette, warp } from '../support/opcodes.ts';
import { workContext } from '../support/work.ts';

const PROFILE = 'grading-master-exr';
const [WIDTH, HEIGHT, FRAMES] = [96, 64, 2];
const ALL = [0, 0, HEIGHT, WIDTH] as const;

/** An expression of the threads' files in dist/worker/master, and what stands there instead. */
interface Fault {
  readonly file: 'raw.js' | 'thread.js' | 'encoder-input.js';
  readonly from: string;
  readonly to: string;
}
const inOpcodes = (to: string): Fault => ({
  file: 'raw.js',
  from: 'kernel.correct(frame.opcodes)',
  to: `kernel.correct(${to})`,
});
const skipped = (id: number): Fault => inOpcodes(`frame.opcodes.filter(({ id }) => id !== ${id})`);
const inPlan = (to: string): Fault => ({
  file: 'thread.js',
  from: '{ picture: raw.picture, ...linearisation,',
  to: `{ picture: raw.picture, ...linearisation, ${to},`,
});

let copy = '';
let runJob: typeof import('../../worker/job.ts')['runJob'];
beforeAll(async () => {
  // Below node_modules: the runner of the tests imports it as it is, rather than transform hundreds of files that are compiled already.
  copy = join(groupFolder('faulty-maker'), 'node_modules', 'rushlight');
  mkdirSync(copy, { recursive: true });
  cpSync(join(packageFolder, 'package.json'), join(copy, 'package.json'));
  cpSync(join(packageFolder, 'dist'), join(copy, 'dist'), { recursive: true });
  cpSync(join(packageFolder, 'profiles', 'builtin'), join(copy, 'profiles', 'builtin'), { recursive: true });
  symlinkSync(join(packageFolder, 'node_modules'), join(copy, 'node_modules'));
  // The frame threads alone run on the single modules; the thread of the spots stays the bundle that it is.
  writeFileSync(
    join(copy, 'dist', 'program', 'worker', 'master', 'thread.js'),
    "import '../../../worker/master/thread.js';\n",
  );
  ({ runJob } = (await import(
    pathToFileURL(join(copy, 'dist', 'worker', 'job.js')).href
  )) as typeof import('../../worker/job.ts'));
});

async function codesWith(
  clip: ClipOnDisk,
  fault: Fault | null,
  [profile, name]: readonly [string, string] = [PROFILE, PROFILE],
): Promise<string[]> {
  const path = fault === null ? '' : join(copy, 'dist', 'worker', 'master', fault.file);
  const whole = fault === null ? '' : readFileSync(path, 'utf8');
  if (fault !== null) {
    expect(whole.split(fault.from), 'the place of the fault').toHaveLength(2);
    writeFileSync(path, whole.replace(fault.from, fault.to));
  }
  try {
    const job = await masterJob(clip, freshFolder('delivery'), [profile]);
    const codes = await runJob(job, await workContext()).then(
      () => [],
      (error: JobFailure) => error.findings.map(({ code }) => code),
    );
    const { state } = await reportOf(job, name);
    expect(state).toBe(codes.length === 0 ? 'published' : 'failed');
    return codes;
  } finally {
    if (fault !== null) writeFileSync(path, whole);
  }
}

const lines = (id: number, count: number, value: (index: number) => number, planes = 1): TestOpcode => ({
  id,
  fields: [
    reach(ALL, 0, planes),
    ['u32', count],
    ['f32', ...Array.from({ length: count }, (_, index) => value(index))],
  ],
});
/** One of each, none of which moves the picture by much. */
const MOSAIC = (): Partial<DngOptions> => ({
  // A bad pixel of either kind in a square of the spots.
  samples: testSamples(WIDTH, HEIGHT, 12, 5).map((code, at) =>
    at === 2 * WIDTH + 85 ? 0 : at === 2 * WIDTH + 3 ? 4095 : Math.max(1, code),
  ),
  tags: [
    opcodeList(1, [
      { id: 4, fields: [['u32', 0, 0]] },
      { id: 5, fields: [['u32', 0, 1, 0, 2, 3]] },
    ]),
    opcodeList(2, [
      gainMap(reach(ALL), 1, 2, [1, 1.01]),
      lines(10, HEIGHT, (y) => y / 6400),
      lines(11, WIDTH, (x) => x / 9600),
      { id: 8, fields: [reach(ALL), ['u32', 2], ['f64', 0, 1, 0.01]] },
    ]),
    opcodeList(3, [
      vignette([0.02, 0, 0, 0, 0]),
      {
        id: 7,
        fields: [
          reach(ALL, 0, 3),
          ['u32', 65_536],
          ['u16', ...Array.from({ length: 65_536 }, (_, index) => Math.floor(index * 0.98))],
        ],
      },
      lines(12, HEIGHT, (y) => 1 + y / 6400, 3),
      lines(13, WIDTH, (x) => 1 + x / 9600, 3),
      warp([[0.999, 0, 0, 0, 0, 0]]),
    ]),
  ],
});
const LINEAR = (): Partial<DngOptions> => ({
  linearRaw: true,
  samples: testSamples(WIDTH * 3, HEIGHT, 12, 5),
  tags: [
    { tag: 50_717, type: 'long', values: [4095, 4090, 4085] },
    { tag: 274, type: 'short', values: [3] },
    opcodeList(2, [{ id: 8, fields: [reach(ALL, 0, 3), ['u32', 2], ['f64', 0, 1, 0.2]] }]),
    opcodeList(3, [
      gainMap(reach(ALL, 0, 3), 1, 2, [1, 1.2]),
      { id: 6, fields: [['u32', 4, 8, 60, 90]] },
      gainMap(reach([0, 0, 56, 82], 0, 3), 2, 1, [1, 2]),
    ]),
  ],
});
const ON_ITS_SIDE = (): Partial<DngOptions> => ({ tags: [{ tag: 274, type: 'short', values: [6] }] });

const clips: Readonly<
  Record<string, { readonly change: () => Partial<DngOptions>; readonly faults: Record<string, Fault> }>
> = {
  'a mosaic with every correction': {
    change: MOSAIC,
    faults: {
      'FixBadPixelsConstant left out': skipped(4),
      'FixBadPixelsList left out': skipped(5),
      'GainMap left out': skipped(9),
      'FixVignetteRadial left out': skipped(3),
      'WarpRectilinear left out': skipped(1),
      'MapTable left out': skipped(7),
      'MapPolynomial left out': skipped(8),
      'DeltaPerRow left out': skipped(10),
      'DeltaPerColumn left out': skipped(11),
      'ScalePerRow left out': skipped(12),
      'ScalePerColumn left out': skipped(13),
      'lists from their ends': inOpcodes('[...frame.opcodes].reverse()'),
      'list 3 in front of the demosaic': inOpcodes(
        'frame.opcodes.map((one) => (one.list === 3 && one.id !== 1 ? { ...one, list: 2 } : one))',
      ),
      'a matrix of another light, by a thousandth': inPlan(
        'matrix: linearisation.matrix.map((row, index) => row.map((value) => value * (index === 0 ? 1.001 : 1)))',
      ),
    },
  },
  'LinearRaw, upside down, trimmed, with white of each colour': {
    change: LINEAR,
    faults: {
      'white of another colour': inPlan('picture: { ...raw.picture, white: [4090, 4095, 4085] }'),
      'no turn': inPlan('turn: 0'),
      'no TrimBounds for those behind it': skipped(6),
      'TrimBounds one pixel beside its place': inPlan(
        'picture: { ...raw.picture, defaultCrop: { ...raw.picture.defaultCrop, left: raw.picture.defaultCrop.left + 1 } }',
      ),
      'list 3 before list 2': inOpcodes('[...frame.opcodes].sort((one, other) => other.list - one.list)'),
    },
  },
  'a mosaic on its side': {
    change: ON_ITS_SIDE,
    faults: { 'turned to the wrong side': inPlan('turn: 270') },
  },
};
/** A development that was computed wrongly is the same for threads, points and checker: the thread of the spots computes its own. */
test('three calibrations, developed as if one of them were not there: held', async () => {
  const clip = await rawClip(
    groupFolder('raw-roll'),
    { width: WIDTH, height: HEIGHT, frames: FRAMES },
    () => ({
      tags: [
        { tag: 52_529, type: 'short', values: [23] },
        srationals(52_531, [0.7, -0.2, -0.1, -0.5, 1.3, 0.25, -0.05, 0.3, 0.7]),
      ],
    }),
  );
  const { raw } = clip.facts;
  if (raw === undefined) throw new Error('no raw frames');
  expect(raw.picture.calibrations).toHaveLength(3);
  const job = await masterJob(clip, freshFolder('delivery'), [PROFILE]);
  await runJob(job, await workContext());
  expect((await reportOf(job, PROFILE)).state).toBe('published');
  const two = { ...raw.picture, calibrations: raw.picture.calibrations.slice(0, 2) };
  const developed = developmentOf(two, { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' });
  if ('missing' in developed) throw new Error(developed.missing);
  const wrong = await masterJob(clip, freshFolder('delivery'), [PROFILE]);
  const [work] = wrong.deliverables;
  if (work?.kind !== 'frames' || work.outcome.linearisation.kind !== 'raw') throw new Error('no master');
  const [x, y, z] = developed.matrix;
  const { neutral, white } = developed;
  Object.assign(work.outcome.linearisation, { matrix: [x, y, z], neutral, white });
  await expect(runJob(wrong, await workContext())).rejects.toThrow();
  expect((await reportOf(wrong, PROFILE)).findings.map(({ code }) => code)).toContain(
    'master-spot-check-differs',
  );
});

/** Each costs a whole job; the long lane has them all. */
const SHORT = new Set(['GainMap left out', 'white of another colour', 'no turn']);

/** That pictures are turned: those for a display, below, lie on their side. */
const quick = Object.entries(clips).filter(
  ([, { faults }]) => everyRow || Object.keys(faults).some((what) => SHORT.has(what)),
);

describe.each(quick)('%s', (_, { change, faults }) => {
  let clip: ClipOnDisk;
  beforeAll(async () => {
    clip = await rawClip(groupFolder('raw-roll'), { width: WIDTH, height: HEIGHT, frames: FRAMES }, change);
  });

  test('is published', async () => {
    expect(await codesWith(clip, null)).toEqual([]);
  });

  test.each(Object.entries(faults).filter(([what]) => everyRow || SHORT.has(what)))(
    '%s: held',
    async (_what, fault) => {
      expect(await codesWith(clip, fault)).toContain('master-spot-check-differs');
    },
  );
});

/** Feeds of the movies that raw frames are looked at in. */
describe('pictures for a display', () => {
  const profile = ['test/fixtures/profiles/native-rdd36.yaml', 'native-rdd36'] as const;
  const handedOn = 'words.set(memory.u16(from, here), places[component] * count + taken);';
  const fed = (from: string, to: string): Fault => ({ file: 'encoder-input.js', from, to });
  const faults: Readonly<Record<string, Fault>> = {
    'a code of 14 bits more in red': fed(
      handedOn,
      'words.set(memory.u16(from, here).map((code) => code + (component === 0 ? 3 : 0)), places[component] * count + taken);',
    ),
    'red in the place of green': fed(
      'const { r, g, b } = kernel.toAcescctCodes(sceneLinear);',
      'const { r: g, g: r, b } = kernel.toAcescctCodes(sceneLinear);',
    ),
    'lines of the band before': fed(handedOn, handedOn.replace('+ taken)', '+ Math.max(0, taken - here))')),
  };
  let clip: ClipOnDisk;
  beforeAll(async () => {
    clip = await rawClip(
      groupFolder('raw-roll'),
      { width: WIDTH, height: HEIGHT, frames: FRAMES },
      ON_ITS_SIDE,
    );
  });

  test('are published', async () => {
    expect(await codesWith(clip, null, profile)).toEqual([]);
  });

  test.each(Object.entries(faults).filter(([what]) => everyRow || what.startsWith('a code')))(
    '%s: held',
    async (_what, fault) => {
      expect(await codesWith(clip, fault, profile)).toEqual(
        expect.arrayContaining(['master-pixels-differ', 'master-spot-check-differs']),
      );
    },
  );
});
