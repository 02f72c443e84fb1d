/** Where this program is installed: its package folder, the same from source and compiled. */
import { existsSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

function findPackageFolder(): string {
  let folder = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(folder, 'package.json'))) {
    const parent = dirname(folder);
    if (parent === folder) throw new Error('package.json not found above this program');
    folder = parent;
  }
  return folder;
}

/** The folder that holds package.json. */
export const packageFolder = findPackageFolder();

/**
 * The compiled file that a process or a thread of ours is started on, also when this runs from source: Node starts none on
 * TypeScript. `name`: as below dist/, `worker/main.js`; each is in the list of setup/bundle.mjs. Throws when it is not there.
 */
export function programFile(name: string): string {
  const file = join(packageFolder, 'dist', 'program', name);
  if (!existsSync(file)) throw new Error(`the program is not compiled: ${file} is missing`);
  return file;
}

export function packageVersion(): string {
  return (JSON.parse(readFileSync(join(packageFolder, 'package.json'), 'utf8')) as { version: string })
    .version;
}

/** The font of burnt-in text: shipped as a package, so that every machine draws the same pixels. */
export function burnInFont(): string {
  return createRequire(import.meta.url).resolve('dejavu-fonts-ttf/ttf/DejaVuSansMono.ttf');
}
