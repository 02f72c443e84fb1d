/** Float pictures through real programs: what OpenColorIO, by way of OpenImageIO, and zscale make of given values. */
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Triple } from '../../media/colour/matrix.ts';
import { runTool } from '../../process/run.ts';
import { sharedFolder } from './folder.ts';
import { ffmpeg } from './media.ts';

/** What the program writes to stdout. Throws with its stderr when it fails. */
export async function outputOf(program: string, args: readonly string[]): Promise<Buffer> {
  const parts: Buffer[] = [];
  const result = await runTool(program, args, {
    onStdout: async (stream) => {
      for await (const part of stream) parts.push(part as Buffer);
    },
  });
  if (result.reason !== 'exited' || result.exitCode !== 0)
    throw new Error(`${program} ${args.join(' ')}\n${result.startError ?? result.stderr}`);
  return Buffer.concat(parts);
}

/** Planes of gbrpf32le as R, G, B of each pixel. */
export function pixelsOf(raw: Buffer): Triple[] {
  const count = raw.length / 12;
  const at = (plane: number, index: number): number => raw.readFloatLE((plane * count + index) * 4);
  return Array.from({ length: count }, (_, index): Triple => [at(2, index), at(0, index), at(1, index)]);
}

export function planesOf(pixels: readonly Triple[]): Buffer {
  const raw = Buffer.alloc(pixels.length * 12);
  for (const [index, pixel] of pixels.entries())
    for (const [place, channel] of [1, 2, 0].entries())
      raw.writeFloatLE(pixel[channel] as number, (place * pixels.length + index) * 4);
  return raw;
}

/**
 * Each row as a float EXR of one line; equal rows are written once, all that are missing by one start of ffmpeg. All have the
 * same number of pixels.
 */
async function picturesOf(rows: readonly (readonly Triple[])[]): Promise<string[]> {
  const folder = join(sharedFolder, 'rows');
  mkdirSync(folder, { recursive: true });
  const all = rows.map((pixels) => {
    const planes = planesOf(pixels);
    const digest = createHash('sha256').update(planes).digest('hex').slice(0, 16);
    return { planes, path: join(folder, `${digest}.exr`) };
  });
  const missing = new Map(
    all.filter(({ path }) => !existsSync(path)).map(({ path, planes }) => [path, planes]),
  );
  if (missing.size > 0) {
    const part = mkdtempSync(join(folder, 'part-'));
    writeFileSync(join(part, 'rows.raw'), Buffer.concat([...missing.values()]));
    const size = `${rows[0]?.length ?? 0}x1`;
    await ffmpeg(
      ...['-f', 'rawvideo', '-pix_fmt', 'gbrpf32le', '-s', size, '-i', join(part, 'rows.raw')],
      ...['-c:v', 'exr', '-format', 'float', '-start_number', '0', join(part, '%d.exr')],
    );
    for (const [index, path] of [...missing.keys()].entries()) renameSync(join(part, `${index}.exr`), path);
    rmSync(part, { recursive: true });
  }
  return all.map(({ path }) => path);
}

/**
 * Pixels, float32 exactly, through oiiotool with that OpenColorIO configuration and those of its arguments; one start of each
 * program for all. All conversions have the same number of pixels.
 */
export async function throughOcio(
  folder: string,
  config: string,
  conversions: readonly { readonly args: readonly string[]; readonly pixels: readonly Triple[] }[],
): Promise<Triple[][]> {
  writeFileSync(join(folder, 'config.ocio'), config);
  const given = await picturesOf(conversions.map(({ pixels }) => pixels));
  const made = (index: number | string): string => join(folder, `out-${index}.exr`);
  await outputOf('oiiotool', [
    // Or it writes its whole command line into each file, longer than ffmpeg takes an attribute to be.
    '--nosoftwareattrib',
    ...['--colorconfig', join(folder, 'config.ocio')],
    ...conversions.flatMap(({ args }, index) => [
      ...[given[index] as string, ...args, '-d', 'float', '-o', made(index)],
    ]),
  ]);
  const raw = await outputOf('ffmpeg', [
    ...['-v', 'error', '-start_number', '0', '-i', made('%d')],
    ...['-f', 'rawvideo', '-pix_fmt', 'gbrpf32le', '-'],
  ]);
  const bytes = raw.length / conversions.length;
  return conversions.map((_, index) => pixelsOf(raw.subarray(index * bytes, (index + 1) * bytes)));
}

/** The same pixels in each conversion. */
export async function throughOcioEach(
  folder: string,
  config: string,
  conversions: readonly (readonly string[])[],
  pixels: readonly Triple[],
): Promise<Triple[][]> {
  return await throughOcio(
    folder,
    config,
    conversions.map((args) => ({ args, pixels })),
  );
}

/** A configuration with colour spaces `source-0` and on, each brought to `reference` by its transform (in OpenColorIO's YAML). */
export const ocioConfigOf = (transforms: readonly string[]): string =>
  [
    'ocio_profile_version: 2',
    'search_path: ""',
    'roles: {default: reference}',
    'displays: {none: [!<View> {name: none, colorspace: reference}]}',
    'colorspaces:',
    '  - !<ColorSpace>',
    '    name: reference',
    ...transforms.flatMap((transform, index) => [
      '  - !<ColorSpace>',
      `    name: source-${index}`,
      `    to_scene_reference: ${transform}`,
    ]),
    '',
  ].join('\n');

/** Arguments that apply the transform of that number. */
export const toReference = (index: number): readonly string[] => [
  '--colorconvert',
  `source-${index}`,
  'reference',
];
