/** Shoot days for tests: folders of rolls with manifests as `md5sum` itself writes them. */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { makeMovie, type MovieOptions } from './media.ts';

/** Writes `checksums.md5` into the roll, made by the coreutils program over every file of the roll. */
export function writeMd5Manifest(roll: string): void {
  execFileSync(
    'sh',
    [
      '-c',
      'rm -f checksums.md5; find . -type f ! -name checksums.md5 -print0 | sort -z | sed -z "s|^\\./||" | xargs -0 -r md5sum -- > ../.sum && mv ../.sum checksums.md5',
    ],
    { cwd: roll },
  );
}

export type RollPlan = Readonly<Record<string, MovieOptions>>;

/** Makes `<folder>/<roll>/<clip file>` for every entry and a manifest for every roll; returns the day folder. */
export async function makeDay(folder: string, rolls: Readonly<Record<string, RollPlan>>): Promise<string> {
  for (const [roll, clips] of Object.entries(rolls)) {
    mkdirSync(join(folder, roll), { recursive: true });
    for (const [name, options] of Object.entries(clips)) await makeMovie(join(folder, roll, name), options);
    writeMd5Manifest(join(folder, roll));
  }
  return folder;
}

export function copyDay(from: string, to: string): string {
  cpSync(from, to, { recursive: true });
  return to;
}
