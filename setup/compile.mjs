/** The compiled program in dist/: made again when a source, the compiler's settings or the compiler changed. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { projectFolder, say, stop } from './say.mjs';

export const rooms = [
  'findings',
  'files',
  'process',
  'media',
  'proof',
  'profiles',
  'ledger',
  'check',
  'handover',
  'serve',
  'coordinator',
  'worker',
];

/** Every file below a folder, in order; none when the folder is not there. */
export function filesOf(folder) {
  return filesBelow(folder, '');
}

function filesBelow(folder, ending) {
  if (!existsSync(folder)) return [];
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith(ending))
    .map((entry) => join(entry.parentPath ?? entry.path, entry.name))
    .sort();
}

/** One digest over all that decides what the compiler writes. Content, not times: a checkout gives every file a new time. */
export function sourceDigest(folders, settings) {
  const hash = createHash('sha256');
  const files = [
    ...settings.map((name) => join(projectFolder, name)),
    ...folders.flatMap((folder) => filesBelow(join(projectFolder, folder), '.ts')),
  ];
  for (const file of files) {
    const bytes = readFileSync(file);
    hash.update(`${file.slice(projectFolder.length)} ${bytes.length}\n`).update(bytes);
  }
  return hash.digest('hex');
}

/** Compiled files whose source is gone would still be found by whoever imports them. */
function removeLeftovers(target, folders) {
  for (const folder of folders) {
    for (const file of filesBelow(join(projectFolder, target, folder), '.js')) {
      const source = join(
        projectFolder,
        file.slice(join(projectFolder, target).length).replace(/\.js$/, '.ts'),
      );
      if (existsSync(source)) continue;
      rmSync(file, { force: true });
      rmSync(`${file}.map`, { force: true });
    }
  }
}

/** Compiles `settings` into `target` unless that was done from the same sources. */
export function compile({
  settings = 'tsconfig.build.json',
  target = 'dist',
  folders = rooms,
  proof = 'coordinator/cli.js',
} = {}) {
  const stampFile = join(projectFolder, target, '.rushlight-sources');
  const wanted = sourceDigest(folders, ['package-lock.json', 'tsconfig.json', settings]);
  const whole = existsSync(join(projectFolder, target, proof));
  if (whole && existsSync(stampFile) && readFileSync(stampFile, 'utf8') === wanted) return;
  say(`compiling into ${target}/`);
  rmSync(stampFile, { force: true });
  // An incremental record that speaks of files which are gone would keep the compiler from writing them again.
  if (!whole) rmSync(join(projectFolder, target, '.tsbuildinfo'), { force: true });
  const compiler = join(projectFolder, 'node_modules', 'typescript', 'bin', 'tsc');
  const run = spawnSync(process.execPath, [compiler, '-p', settings], {
    cwd: projectFolder,
    stdio: ['ignore', 2, 2],
  });
  if (run.status !== 0)
    stop(
      "the sources do not compile; the compiler's words stand above. An unchanged checkout compiles: `git status` shows what differs.",
    );
  removeLeftovers(target, folders);
  if (!existsSync(join(projectFolder, target, proof)))
    stop(`the compiler wrote no ${target}/${proof}. Delete ${target}/ and run this again.`);
  writeFileSync(stampFile, wanted);
}
