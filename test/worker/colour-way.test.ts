/**
 * Movies to look at, of pictures that are light of a scene: flat patches of known light go the whole way, from what a camera records to the codes of the
 * movie, and are held against what programs outside of the project made of the same light (ctlrender; test/fixtures/SOURCES.md).
 */
import { createHash } from 'node:crypto';
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { blocks } from '../../findings/finding.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { ap0ToAp1 } from '../../media/colour/gamuts.ts';
import { apply, type Triple } from '../../media/colour/matrix.ts';
import { prepareOutput } from '../../media/colour/output/index.ts';
import { type ColourWay, usualWay, type WayLook } from '../../media/colour/way.ts';
import { lookFile } from '../../media/colour/way-files.ts';
import { runJob } from '../../worker/job.ts';
import { decisionOf } from '../support/decide.ts';
import { exrFrame } from '../support/exr.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { factsOf } from '../support/make.ts';
import { codesBesideLimits, interpretation, reportOf } from '../support/master.ts';
import { type ClipOnDisk, masterJob, numberedFrames, rawClip, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import {
  type LogName,
  logs,
  type Patch,
  patchAt,
  patchesIn,
  patchMovie,
  patchNamed,
  patches,
  recorded,
  sizeOfPatches,
  ycbcrOf,
} from '../support/patches.ts';
import { workContext } from '../support/work.ts';

const PROFILE = 'test/fixtures/profiles/native-rdd36.yaml';
const NAME = 'native-rdd36';

async function movie(folder: string, file = 'A001C001.mov'): Promise<ClipOnDisk> {
  return { rollFolder: folder, place: { kind: 'movie', file }, facts: await factsOf(join(folder, file)) };
}
async function logClip(log: LogName, of: readonly Patch[]): Promise<ClipOnDisk> {
  const folder = freshFolder('patches');
  const path = join(folder, 'A001C001.mov');
  await patchMovie(
    path,
    of.map((patch) => recorded(logs[log], patch)),
  );
  rmSync(`${path}.raw`);
  return await movie(folder);
}

/** What the gate says against it, beside what the files of a test's roll are. */
async function heldFor(job: Job): Promise<string[]> {
  const { decision } = await decisionOf(job);
  return decision.verdict.findings
    .filter((item) => blocks(item) && item.profile === NAME)
    .map(({ code, found }) => `${code}: ${found}`);
}

interface Shot {
  readonly clip: ClipOnDisk;
  readonly input: NonNullable<typeof interpretation.input> | null;
  readonly count: number;
  readonly way?: Partial<ColourWay>;
  readonly others?: readonly string[];
  /** Before the job runs. */
  readonly ready?: (job: Job) => void;
}
/** Y', Cb, Cr of the patches in the movie that a worker made of the clip. */
async function made({ clip, input, count, way, others = [], ready }: Shot): Promise<Triple[]> {
  const facts = { ...clip.facts, ...(way === undefined ? {} : { way: { ...usualWay, ...way } }) };
  const job = await masterJob({ ...clip, facts }, freshFolder('delivery'), [PROFILE, ...others], {
    ...interpretation,
    input,
  });
  ready?.(job);
  await runJob(job, await workContext());
  const report = await reportOf(job, NAME);
  expect([report.state, codesBesideLimits(report)]).toEqual(['published', []]);
  expect(report.outcome.kind === 'movie' && report.outcome.shown?.way).toEqual({ ...usualWay, ...way });
  for (const other of others) expect((await reportOf(job, other)).state, other).toBe('published');
  expect(await heldFor(job)).toEqual([]);
  return await patchesIn(layout.deliverable(job.deliveryFolder, NAME, report.outcome.fileName), count);
}

function expectNear(
  found: readonly Triple[],
  of: readonly Pick<Patch, 'name' | 'shown'>[],
  most: number,
): void {
  const off = of.flatMap(({ name, shown }, at) => {
    const wanted = ycbcrOf(shown);
    const here = found[at] as Triple;
    const worst = Math.max(...wanted.map((code, channel) => Math.abs(code - (here[channel] as number))));
    return worst <= most
      ? []
      : [`${name}: ${here.join(' ')}, not ${wanted.map((v) => v.toFixed(1)).join(' ')}`];
  });
  expect(off).toEqual([]);
}

/** Those that a camera can record: light that is not negative in its primaries, and codes that are not cut. */
const recordable = (log: LogName): Patch[] =>
  patches.filter((patch) => recorded(logs[log], patch).every((code) => code >= BLACK[log] && code <= 1));
const BLACK: Readonly<Record<LogName, number>> = {
  'slog3-sgamut3cine': logs['slog3-sgamut3cine'].encode(0),
  'logc3-awg3': logs['logc3-awg3'].encode(0),
};

/**
 * Full red and blue, at corners of what the display can show and beyond: a table in space comes near them only. At blue of BT.709 it is off by most,
 * 49 codes of 10 bits in Y' (measured); the exact way meets what ctlrender gives of them.
 */
const CORNERS = new Set([
  'AP1 red 1.0',
  'AP1 blue 1.0',
  'AP1 red 8',
  'AP1 blue 8',
  'BT.709 blue 1.0',
  'blue LED',
  'AP0 red only',
]);
function expectShown(found: readonly Triple[], of: readonly Patch[], most: number): void {
  const at = of.map((patch, index) => ({ patch, found: found[index] as Triple }));
  const inside = at.filter(({ patch }) => !CORNERS.has(patch.name));
  const corners = at.filter(({ patch }) => CORNERS.has(patch.name));
  expect(inside.length).toBeGreaterThan(25);
  for (const [some, allowed] of [
    [inside, most],
    [corners, 50],
  ] as const)
    expectNear(
      some.map((one) => one.found),
      some.map((one) => one.patch),
      allowed,
    );
}

describe('log movies', () => {
  test.each<[LogName]>([['slog3-sgamut3cine'], ...further<[LogName]>(['logc3-awg3'])])(
    'patches recorded in %s come out as the output transform of ACES 2 has them',
    async (log) => {
      const of = recordable(log);
      const found = await made({
        clip: await logClip(log, of),
        input: log === 'logc3-awg3' ? { name: log, ei: 800 } : { name: log },
        count: of.length,
      });
      expectShown(found, of, 3);
      const grey = found[of.findIndex(({ name }) => name === 'grey 0.18')] as Triple;
      for (const [channel, code] of [400, 512, 512].entries())
        expect(Math.abs((grey[channel] as number) - code)).toBeLessThanOrEqual(1);
    },
  );
});

describe('what the settings say of the picture', () => {
  /** One stop in the logarithmic part of ACEScct (Academy S-2016-001). */
  const STOP = 1 / 17.52;
  const greys = ['grey 0.045', 'grey 0.09', 'grey 0.18', 'grey 0.5', 'grey 1'];
  const stopMore = ['grey 0.09', 'grey 0.18', 'grey 0.36', 'grey 1', 'grey 2'];
  const named = (names: readonly string[]): Patch[] => names.map(patchNamed);

  function cube(rows: readonly Triple[], to: WayLook['to']): { look: WayLook; ready: (job: Job) => void } {
    const text = `LUT_3D_SIZE 2\n${rows.map((row) => row.join(' ')).join('\n')}\n`;
    const bytes = Buffer.from(text);
    const source = { file: 'bell.cube', bytes, from: 'acescct', to, interpolation: 'tetrahedral' } as const;
    const { sha256: aces, text: clf } = lookFile(source);
    const { bytes: _, ...said } = source;
    const sha256 = createHash('sha256').update(bytes).digest('hex');
    return {
      look: { ...said, sha256, aces },
      ready: ({ deliveryFolder }) => {
        const path = join(deliveryFolder, layout.transform(aces, '.clf'));
        mkdirSync(dirname(path), { recursive: true });
        writeFileSync(path, clf);
      },
    };
  }
  const corners = Array.from({ length: 8 }, (_, at): Triple => [at & 1, (at >> 1) & 1, at >> 2]);
  const shifted = (): ReturnType<typeof cube> =>
    cube(
      corners.map(([r, g, b]): Triple => [r + STOP, g + STOP, b + STOP]),
      'acescct',
    );
  const constant = (): ReturnType<typeof cube> =>
    cube(
      corners.map((): Triple => [0.5, 0.25, 0.75]),
      'bt1886-bt709',
    );
  const sameCdl = {
    slope: [1, 1, 1],
    offset: [0, 0, 0],
    power: [1, 1, 1],
    saturation: 1,
  } satisfies NonNullable<ColourWay['cdl']>['values'];
  const aces1 = prepareOutput({
    rendering: { version: 'aces-1', peak: 100, limiting: 'bt709' },
    display: 'bt1886-bt709',
  });

  interface Said {
    readonly way: Partial<ColourWay>;
    readonly wanted: readonly Triple[];
    readonly ready?: (job: Job) => void;
  }
  const shownOf = (names: readonly string[]): readonly Triple[] => named(names).map(({ shown }) => shown);
  const forDisplay = constant();
  const stop = shifted();
  test.each<[string, Said]>([
    ['exposure of a stop', { way: { exposure: 1 }, wanted: shownOf(stopMore) }],
    [
      'a look for the display, whatever the light',
      {
        way: { look: forDisplay.look },
        wanted: greys.map((): Triple => [0.5, 0.25, 0.75]),
        ready: forDisplay.ready,
      },
    ],
    ...further<[string, Said]>(
      [
        'a CDL whose offset is a stop',
        {
          way: { cdl: { values: { ...sameCdl, offset: [STOP, STOP, STOP] }, space: 'acescct', from: null } },
          wanted: shownOf(stopMore),
        },
      ],
      [
        'a look that is a stop, and exposure that takes it back',
        { way: { exposure: -1, look: stop.look }, wanted: shownOf(greys), ready: stop.ready },
      ],
      [
        'the output transform of ACES 1',
        {
          way: { output: 'aces-1' },
          wanted: named(greys).map(({ aces }): Triple => {
            const [r, g, b] = aces1(aces);
            return [r, g, b];
          }),
        },
      ],
    ),
  ])('%s', async (_, { way, wanted, ready }) => {
    const of = named(greys);
    const found = await made({
      clip: await logClip('slog3-sgamut3cine', of),
      input: { name: 'slog3-sgamut3cine' },
      count: of.length,
      way,
      ...(ready === undefined ? {} : { ready }),
    });
    expectNear(
      found,
      wanted.map((shown, at) => ({ name: greys[at] as string, shown })),
      3,
    );
  });
});

describe('pictures that are developed', () => {
  test('scene-linear frames', async () => {
    const folder = freshFolder('frames');
    const bits = new DataView(new ArrayBuffer(4));
    const { width, height } = sizeOfPatches(patches.length);
    const bytes = exrFrame({
      width,
      height,
      channels: ['R', 'G', 'B'].map((name) => ({ name, kind: 'float' })),
      bitsAt: (channel, x, y) => {
        bits.setFloat32(0, patches[patchAt(patches.length, x, y)]?.aces['RGB'.indexOf(channel)] as number);
        return bits.getUint32(0);
      },
    });
    mkdirSync(join(folder, 'A001C001'));
    for (const frame of [1001, 1002]) writeFileSync(join(folder, 'A001C001', `A001C001.${frame}.exr`), bytes);
    const clip = await sequenceClip(folder, numberedFrames('.exr', { padding: 4, count: 2 }));
    const found = await made({ clip, input: { name: 'aces2065-1' }, count: patches.length });
    // Light beyond AP1 has no code of ACEScct below its black: it is limited there (`whole-frames` counts it).
    const beyond = patches.map(({ aces }) => Math.min(...apply(ap0ToAp1, aces)) < -0.005);
    expectShown(
      found.filter((_, at) => beyond[at] === false),
      patches.filter((_, at) => beyond[at] === false),
      2,
    );
  });

  test('raw frames, beside a master of them', async () => {
    const of = ['grey 0.01', 'grey 0.045', 'grey 0.09', 'grey 0.18', 'grey 0.36', 'grey 0.5', 'grey 0.9'].map(
      patchNamed,
    );
    const size = sizeOfPatches(of.length);
    const neutral = [0.45, 1, 0.6];
    // The usual white balance of these frames; at the level `sensor` a grey of 1.0 fills the sensor (media/raw/develop/anchor.ts).
    const samples = Uint16Array.from({ length: 3 * size.width * size.height }, (_, at) => {
      const pixel = Math.floor(at / 3);
      const patch = patchAt(of.length, pixel % size.width, Math.floor(pixel / size.width));
      return Math.round(65_535 * (of[patch]?.aces[0] as number) * (neutral[at % 3] as number));
    });
    const clip = await rawClip(freshFolder('raw'), { ...size, frames: 2 }, () => ({
      samples,
      linearRaw: true,
      bits: 16,
    }));
    const found = await made({ clip, input: null, count: of.length, others: ['grading-master-exr'] });
    expectNear(found, of, 2);
  });

  test("a movie of R'G'B', with its audio and with a master beside it", async () => {
    const folder = freshFolder('rgb');
    // 18 % grey in S-Log3 is 420 of 1023 (as its maker publishes it; from memory).
    const grey = new Uint16Array(12 * 3 * 128 * 64).fill(Math.round((65_535 * 420) / 1023));
    writeFileSync(join(folder, 'grey.raw'), new Uint8Array(grey.buffer));
    await ffmpeg(
      ...[
        '-f',
        'rawvideo',
        '-pix_fmt',
        'rgb48le',
        '-s',
        '128x64',
        '-r',
        '24',
        '-i',
        join(folder, 'grey.raw'),
      ],
      ...['-f', 'lavfi', '-i', 'sine=frequency=300:sample_rate=48000:duration=0.5'],
      // Audio first: the picture is not the first stream.
      ...['-map', '1:a', '-map', '0:v', '-c:v', 'png', '-pix_fmt', 'rgb48be', '-c:a', 'pcm_s24le'],
      ...['-timecode', '01:00:00:00', join(folder, 'A001C001.mov')],
    );
    rmSync(join(folder, 'grey.raw'));
    const clip = await movie(folder);
    expect(clip.facts.audio).toHaveLength(1);
    const found = await made({
      clip,
      input: { name: 'slog3-sgamut3cine' },
      count: 2,
      others: ['grading-master-exr'],
    });
    for (const [y, cb, cr] of found) {
      expect(Math.abs(y - 400)).toBeLessThanOrEqual(1);
      expect([Math.round(cb), Math.round(cr)]).toEqual([512, 512]);
    }
  });
});
