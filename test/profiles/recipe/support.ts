/** What the tests of the recipe share: three built-in profiles at the size of the source, and what is read of files. */
import { writeFileSync } from 'node:fs';
import { runForOutput } from '../../../process/run.ts';
import { builtInProfiles } from '../../../profiles/load.ts';
import type { Recipe } from '../../../profiles/recipe/index.ts';
import { maskBytes } from '../../../profiles/recipe/sketch.ts';
import type { Profile } from '../../../profiles/schema.ts';
import { everyRow } from '../../support/lane.ts';
import { expect } from 'vitest';

export const asShot: Profile['raster'] = {
  policy: 'native',
  width: null,
  height: null,
  multiple_of: 2,
  enlarge: false,
};

/** VC-3, RDD 36 and H.264. */
export async function recipeProfiles(): Promise<{ vc3: Profile; rdd36: Profile; review: Profile }> {
  const [vc3, rdd36, review] = (await builtInProfiles()).map((item) => ({
    ...item.profile,
    raster: asShot,
  })) as [Profile, Profile, Profile];
  return { vc3, rdd36, review };
}

/** Of a table whose rows are not about the codec: `npm test` makes one profile of each row, by turns; the long lane all of them. */
export function byTurns(profiles: readonly Profile[], row: number): readonly Profile[] {
  return everyRow ? profiles : profiles.slice(row % profiles.length, (row % profiles.length) + 1);
}

/** Frames as decoded, in the file's own pixel format: nothing is converted. */
export async function planes(path: string, bytesPerFrame: number): Promise<Buffer[]> {
  const run = await runForOutput('ffmpeg', [
    '-v',
    'error',
    '-noautorotate',
    '-i',
    path,
    '-map',
    '0:v:0',
    '-fps_mode',
    'passthrough',
    '-f',
    'rawvideo',
    '-',
  ]);
  expect(run.stderr).toBe('');
  return Array.from({ length: run.stdout.length / bytesPerFrame }, (_, index) =>
    run.stdout.subarray(index * bytesPerFrame, (index + 1) * bytesPerFrame),
  );
}

export const tags = (primaries: string, transfer: string, matrix: string, range: string): string =>
  `setparams=color_primaries=${primaries}:color_trc=${transfer}:colorspace=${matrix}:range=${range}`;
export const lossless = [
  '-c:v',
  'libx264',
  '-qp',
  '0',
  '-preset',
  'ultrafast',
  '-frames:v',
  '3',
  '-timecode',
  '01:00:00:00',
];

/** Writes what the recipe's filters read, texts and masks; the input options of the source and of what else it takes. */
export function inputsOf(recipe: Recipe, source: string): string[] {
  for (const { path, text } of recipe.textFiles) writeFileSync(path, text);
  for (const mask of recipe.masks) if (mask !== null) writeFileSync(mask.path, maskBytes('a test', mask));
  return ['-i', source, ...recipe.furtherInputs];
}
