/**
 * How small a fault between the encoder's input and the file may be and still be found: measured, for a kind, a codec and a size of picture. Cheap: no
 * queue and no night. The encoder's input is kept as raw pictures with its sketch; a case is one encode, one decode, and the comparison that the check makes. Of codecs
 * that code each frame alone a fault in one frame is that frame of the spoiled file among those of the intact one, so that one encode gives
 * as many cases as it has frames.
 */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createReadStream } from 'node:fs';
import { join } from 'node:path';
import { quantiserReader } from '../../check/quantiser.ts';
import { runTool } from '../../process/run.ts';
import { ValueCollector } from '../../proof/collect.ts';
import { type ErrorSketch, sketchGrid, sketchNumbers, type SketchForm } from '../../proof/sketch/form.ts';
import { maskPicture, maskSeed } from '../../proof/sketch/mask.ts';
import { h264Plain, h265Plain, mostLost } from '../../proof/sketch/most-lost.ts';
import { maskInput, sketchChains, sketchValues } from '../../proof/sketch/tap.ts';
import { comparePictureError, type PictureErrorVerdict, type Reference } from '../../proof/sketch/verdict.ts';
import { type Canvas, graded, type GradedName, gradedNames } from '../faults/graded.ts';
import { type Random, randomOf } from '../faults/random.ts';
import { newWatched, watchLine } from '../../worker/watch.ts';

interface Coder {
  readonly pixels: string;
  readonly options: readonly string[];
  readonly codec: 'vc3' | 'rdd36' | 'h264' | 'h265';
  /** As our records name it. */
  readonly codecProfile: string | null;
  readonly leastPsnr: number;
}

/** As the built-in profiles have them. */
export const coders = {
  'vc3-lb': {
    pixels: 'yuv422p',
    options: ['-c:v', 'dnxhd', '-profile:v', 'dnxhr_lb'],
    codec: 'vc3',
    codecProfile: 'DNXHR LB',
    leastPsnr: 28,
  },
  'vc3-hqx': {
    pixels: 'yuv422p10le',
    options: ['-c:v', 'dnxhd', '-profile:v', 'dnxhr_hqx'],
    codec: 'vc3',
    codecProfile: 'DNXHR HQX',
    leastPsnr: 28,
  },
  'rdd36-proxy': {
    pixels: 'yuv422p10le',
    options: ['-c:v', 'prores_ks', '-profile:v', 'proxy'],
    codec: 'rdd36',
    codecProfile: 'Proxy',
    leastPsnr: 25,
  },
  'rdd36-4444': {
    pixels: 'yuv444p10le',
    options: ['-c:v', 'prores_ks', '-profile:v', '4444'],
    codec: 'rdd36',
    codecProfile: '4444',
    leastPsnr: 40,
  },
  'h264-21': {
    pixels: 'yuv420p',
    options: [
      '-c:v',
      'libx264',
      '-profile:v',
      'high',
      '-preset',
      'veryfast',
      '-crf',
      '21',
      '-g',
      '24',
      '-threads',
      '4',
      '-flags:v',
      '+psnr',
    ],
    codec: 'h264',
    codecProfile: null,
    leastPsnr: 28,
  },
  'h265-19': {
    pixels: 'yuv420p10le',
    options: [
      ...['-c:v', 'libx265', '-profile:v', 'main10', '-preset', 'veryfast', '-crf', '19'],
      ...['-x265-params', 'frame-threads=1:pools=4:info=0:open-gop=0:keyint=24:psnr=1:log-level=info'],
    ],
    codec: 'h265',
    codecProfile: null,
    leastPsnr: 28,
  },
} as const satisfies Record<string, Coder>;
export type CoderName = keyof typeof coders;
/** Frames of it are predicted from others: none can be exchanged for that of another file. */
export const isPredicted = (name: CoderName): boolean => !isIntra(coders[name]);
const isIntra = ({ codec }: Coder): boolean => codec === 'vc3' || codec === 'rdd36';
export const coderNames = Object.keys(coders) as CoderName[];

export interface Size {
  readonly width: number;
  readonly height: number;
}

const still = (source: string): string =>
  `${source},trim=end_frame=1,loop=loop=-1:size=1:start=0,setpts=N/24/TB`;
/** Pictures with motion of their own, and one that stands still but for its grain. */
export const scenes = {
  pan: ({ width, height }, take) =>
    `${still(`mandelbrot=s=${2 * width}x${height}:r=24:start_scale=${0.5 + take}`)},crop=w=${width}:h=${height}:x=3*n:y=0,noise=alls=4:allf=t:all_seed=${take}`,
  zoom: ({ width, height }, take) =>
    `mandelbrot=s=${width}x${height}:r=24:start_scale=${1 + take},noise=alls=4:allf=t:all_seed=${take}`,
  soft: ({ width, height }, take) =>
    `${still(`mandelbrot=s=${width + 64}x${height + 64}:r=24:start_scale=${2 - take}`)},gblur=sigma=6,crop=w=${width}:h=${height}:x=2*n:y=n,noise=alls=3:allf=t:all_seed=${take}`,
  chart: ({ width, height }, take) =>
    `testsrc2=s=${width}x${height}:r=24,trim=start_frame=${24 * take},setpts=N/24/TB`,
  'locked-off': ({ width, height }, take) =>
    `${still(`mandelbrot=s=${width}x${height}:r=24:start_scale=${1 + take}`)},noise=alls=6:allf=t:all_seed=${take}`,
  dark: ({ width, height }, take) =>
    `mandelbrot=s=${width}x${height}:r=24:start_scale=${1 + take},lutyuv=y='16+val/12':u='128+(val-128)/6':v='128+(val-128)/6',noise=alls=3:allf=t:all_seed=${take}`,
} as const satisfies Record<string, (size: Size, take: number) => string>;
export type SceneName = keyof typeof scenes;
export const sceneNames = Object.keys(scenes) as SceneName[];

const QUIET = ['-hide_banner', '-nostdin', '-y', '-v', 'error', '-noauto_conversion_filters'];
async function ran(...args: readonly string[]): Promise<void> {
  const { exitCode, stderr } = await runTool('ffmpeg', [...QUIET, ...args]);
  if (exitCode !== 0) throw new Error(`${args.join(' ')}: ${stderr}`);
}

interface Coded {
  readonly values: Uint16Array;
  readonly reference: Reference;
  readonly stated: readonly number[] | null;
}

/** One scene, as an encoder takes it. */
export interface Bench {
  readonly coder: Coder;
  readonly canvas: Canvas;
  readonly frames: number;
  readonly input: ErrorSketch;
  code(filters: string): Promise<Coded>;
  readonly intact: Coded;
}

export interface BenchRequest {
  readonly folder: string;
  readonly coder: CoderName;
  readonly scene: SceneName;
  readonly take: number;
  readonly size: Size;
  readonly frames: number;
}

export async function benchOf({
  folder,
  coder: name,
  scene,
  take,
  size,
  frames,
}: BenchRequest): Promise<Bench> {
  mkdirSync(folder, { recursive: true });
  const coder: Coder = coders[name];
  const form: SketchForm = { ...size, pixelFormat: coder.pixels, grid: sketchGrid(size, 'coarse') };
  const seed = maskSeed(scene, name);
  const [pictures, mask, coded] = ['input.nut', 'mask.raw', `coded.${isIntra(coder) ? 'mov' : 'mp4'}`].map(
    (file) => join(folder, file),
  ) as [string, string, string];
  writeFileSync(mask, maskPicture(seed, form));
  const source = scenes[scene](size, take);
  await ran(
    ...['-f', 'lavfi', '-i', `${source},scale=out_color_matrix=bt709:out_range=tv,format=${coder.pixels}`],
    ...['-frames:v', String(frames), '-c:v', 'rawvideo', pictures],
  );
  const sketchOf = async (path: string): Promise<Uint16Array> => {
    const out = join(folder, 'sketch.raw');
    await ran(
      ...['-threads', '1', '-i', path, ...maskInput(mask, form)],
      ...[
        '-filter_complex',
        ['[0:v]null[from]', ...sketchChains({ from: 'from', to: 'to', maskInput: 1, form })].join(';'),
      ],
      ...['-map', '[to]', '-fps_mode', 'passthrough', '-f', 'rawvideo', out],
      ...(!isIntra(coder) || path === pictures
        ? []
        : ['-map', '0:v', '-c:v', 'copy', '-f', 'data', join(folder, 'packets')]),
    );
    const collector = new ValueCollector();
    await collector.read(createReadStream(out));
    return sketchValues(collector, form);
  };
  const code = async (filters: string): Promise<Coded> => {
    const watched = newWatched();
    const run = await runTool(
      'ffmpeg',
      [
        ...[
          '-hide_banner',
          '-nostdin',
          '-y',
          '-nostats',
          '-loglevel',
          'repeat+level+info',
          '-noauto_conversion_filters',
          '-threads',
          '1',
          '-i',
          pictures,
        ],
        ...['-filter_complex', `[0:v]${filters}[out]`, '-map', '[out]'],
        ...['-fps_mode', 'passthrough', ...coder.options, '-pix_fmt', coder.pixels, coded],
      ],
      { onStderrLine: (line) => watchLine(watched, line) },
    );
    if (run.exitCode !== 0) throw new Error(`${filters}: ${run.stderr}`);
    const values = await sketchOf(coded);
    if (!isIntra(coder))
      return {
        values,
        reference: 'stated',
        stated: (coder.codec === 'h265' ? watched.psnrOfH265 : watched.psnr)[0] ?? null,
      };
    const packets = join(folder, 'packets');
    const bytes = readFileSync(packets).length;
    const reader = quantiserReader(coder.codec, coder.codec === 'vc3' ? bytes / frames : null);
    await reader?.read(createReadStream(packets));
    const quantisers = reader?.quantisers() ?? null;
    const most = mostLost(coder.codecProfile);
    if (quantisers === null || most === null) throw new Error(`${name}: no quantisers`);
    return { values, reference: { ...quantisers, most }, stated: null };
  };
  const given = await sketchOf(pictures);
  const intact = await code('null');
  return {
    coder,
    canvas: { ...size, pixelFormat: coder.pixels },
    frames: given.length / sketchNumbers(form),
    input: { ...form, seed, frames: given.length / sketchNumbers(form), values: given, stated: null },
    code,
    intact,
  };
}

export function verdictOf(
  { input, coder }: Bench,
  { values, reference, stated }: Coded,
): PictureErrorVerdict {
  const verdict = comparePictureError({
    input: { ...input, stated },
    output: { pixelFormat: coder.pixels, values },
    leastPsnr: coder.leastPsnr,
    reference,
    plain: mostLost(coder.codecProfile)?.plain ?? (coder.codec === 'h265' ? h265Plain : h264Plain),
  });
  if (verdict === null) throw new Error('two sketches that cannot be compared');
  return verdict;
}

/** The intact file with one frame of the spoiled one. */
export function spliced({ intact, input, frames }: Bench, spoiled: Coded, frame: number): Coded {
  const numbers = sketchNumbers(input);
  const values = intact.values.slice();
  values.set(spoiled.values.subarray(frame * numbers, (frame + 1) * numbers), frame * numbers);
  const [kept, taken] = [intact.reference, spoiled.reference];
  if (kept === 'stated' || taken === 'stated') throw new Error('frames that are predicted from others');
  const one = (own: readonly number[], other: readonly number[]): number[] =>
    Array.from({ length: frames }, (_, at) => (at === frame ? other : own)[at] as number);
  return {
    values,
    stated: null,
    reference: {
      most: kept.most,
      mean: one(kept.mean, taken.mean),
      greatest: one(kept.greatest, taken.greatest),
    },
  };
}

export interface LimitRow {
  readonly kind: GradedName;
  readonly strength: number;
  readonly scope: 'one' | 'all';
  readonly scene: SceneName;
  readonly found: boolean;
  readonly kinds: readonly string[];
}

export interface LimitRequest {
  readonly bench: Bench;
  readonly scene: SceneName;
  readonly random: Random;
  readonly kinds: readonly GradedName[];
  /** Places that are drawn for a kind that has one. */
  readonly places: number;
  /** Frames of a spoiled file that are looked at one by one. */
  readonly single: number;
  readonly strengths?: (kind: GradedName) => readonly number[];
}

export async function limitRows(request: LimitRequest): Promise<LimitRow[]> {
  const { bench, scene, random, kinds, places, single } = request;
  const { canvas, frames } = bench;
  const rows: LimitRow[] = [];
  const early = 2;
  const drawFrame = (): number => random.between(early, frames - early);
  for (const kind of kinds) {
    const { placed, filters, strengths } = graded[kind];
    for (const strength of request.strengths?.(kind) ?? strengths) {
      const take = (scope: 'one' | 'all', coded: Coded): void => {
        const { faults } = verdictOf(bench, coded);
        rows.push({
          kind,
          strength,
          scope,
          scene,
          found: faults.length > 0,
          kinds: [...new Set(faults.map((fault) => fault.kind))],
        });
      };
      for (let number = 0; number < (placed ? places : 1); number += 1) {
        const spot = { across: random.below(1000) / 999, down: random.below(1000) / 999 };
        const all = await bench.code(filters(strength, canvas, { ...spot, frame: null }));
        take('all', all);
        if (!isIntra(bench.coder))
          take('one', await bench.code(filters(strength, canvas, { ...spot, frame: drawFrame() })));
        else
          for (const frame of random
            .shuffled(Array.from({ length: frames - 2 * early }, (_, at) => at + early))
            .slice(0, single))
            take('one', spliced(bench, all, frame));
      }
    }
  }
  return rows;
}

export const limitRandom = (seed: number, ...names: readonly string[]): Random =>
  randomOf(seed, 'limits', ...names);
export const everyKind: readonly GradedName[] = gradedNames;
