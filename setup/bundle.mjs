/**
 * The programs in dist/program/: every file that Node is started on, as a process or as a thread, with all that it imports in
 * a few files instead of some six hundred. Looking those up and reading them one by one took half of the time to start.
 * The single modules in dist/ remain for the tests, and for whoever measures one of them.
 */
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { projectFolder, say, stop } from './say.mjs';

/** Below dist/ and below dist/program/ alike (files/installation.ts: `programFile`). */
export const programs = [
  'coordinator/cli.js',
  // No program, but what the tests run commands with (test/support/commands.mjs).
  'coordinator/command-line.js',
  'coordinator/survey/reader-process.js',
  'worker/main.js',
  'worker/renewal-thread.js',
  'worker/master/thread.js',
  'worker/master/spot-thread.js',
  'check/master/thread.js',
  'ledger/lease-thread.js',
  'coordinator/live/thread.js',
  'files/manifest/hash-thread.js',
];

/** Stays a package of its own: it chooses a native file for the machine that it runs on. */
const apart = ['@node-rs/xxhash'];

/** Bundles what `compile()` left in dist/, unless that was done from the same. */
export async function bundle() {
  const target = join(projectFolder, 'dist', 'program');
  const stamp = (folder) => join(folder, '.rushlight-sources');
  const wanted = createHash('sha256')
    .update(readFileSync(stamp(join(projectFolder, 'dist'))))
    .update(readFileSync(new URL(import.meta.url)))
    .digest('hex');
  if (existsSync(stamp(target)) && readFileSync(stamp(target), 'utf8') === wanted) return;
  say('bundling into dist/program/');
  const { rolldown } = await import('rolldown');
  const beside = `${target}.${process.pid}`;
  rmSync(beside, { recursive: true, force: true });
  const build = await rolldown({
    input: Object.fromEntries(
      programs.map((name) => [name.replace(/\.js$/, ''), join(projectFolder, 'dist', name)]),
    ),
    platform: 'node',
    external: apart,
    // CommonJS packages name these; a module of the bundle has them under other names.
    transform: { define: { __dirname: 'import.meta.dirname', __filename: 'import.meta.filename' } },
    onLog: (_level, { message }) => stop(`the program does not bundle: ${message}`),
  });
  const { output } = await build.write({
    dir: beside,
    format: 'esm',
    chunkFileNames: 'parts/[name]-[hash].js',
  });
  await build.close();
  const modules = output.flatMap((part) => part.moduleIds ?? []);
  writeFileSync(join(beside, 'LICENSES.txt'), licences(modules));
  writeFileSync(stamp(beside), wanted);
  // Whole or not at all: a program that starts meanwhile finds the old files or the new ones.
  const old = `${target}.old`;
  rmSync(old, { recursive: true, force: true });
  if (existsSync(target)) renameSync(target, old);
  renameSync(beside, target);
  rmSync(old, { recursive: true, force: true });
}

/** Packages whose code is in the bundle ask that their licence goes along with it. */
function licences(modules) {
  const inPackage = /^(.*[\\/]node_modules[\\/](?:@[^\\/]+[\\/])?[^\\/]+)[\\/]/;
  const folders = [
    ...new Set(modules.map((id) => inPackage.exec(id)?.[1]).filter((folder) => folder !== undefined)),
  ];
  return folders
    .sort()
    .map((folder) => {
      const { name, version, license } = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
      const file = readdirSync(folder).find((entry) => /^(licen[cs]e|copying)/i.test(entry));
      const text = file === undefined ? '' : `\n${readFileSync(join(folder, file), 'utf8').trim()}\n`;
      return `${name} ${version} (${license})\n${text}`;
    })
    .join(`\n${'-'.repeat(72)}\n\n`);
}
