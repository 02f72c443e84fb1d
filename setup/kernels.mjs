/**
 * The kernels in dist/kernels/: WebAssembly modules, compiled from media/kernels/assembly when a source or the compiler
 * changed. Nothing native is built, and the same source gives the same module on every machine.
 */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { projectFolder, say, stop } from './say.mjs';

const sources = join(projectFolder, 'media', 'kernels', 'assembly');
const target = join(projectFolder, 'dist', 'kernels');

/** Every module has a region of the shared memory for its constants, and the frames lie behind all of them (media/kernels/memory.ts). */
const FIRST_REGION = 64 * 1024;
const REGION = 512 * 1024;

/** Files without exports of their own (`common*.ts`) are compiled into those that import them. */
const modules = () =>
  readdirSync(sources)
    .filter((name) => name.endsWith('.ts') && !name.startsWith('common'))
    .sort();

export function compileKernels() {
  const names = modules();
  const hash = createHash('sha256')
    .update(readFileSync(join(projectFolder, 'package-lock.json')))
    .update(readFileSync(new URL(import.meta.url)));
  for (const name of readdirSync(sources).sort())
    if (name.endsWith('.ts')) hash.update(name).update(readFileSync(join(sources, name)));
  const wanted = hash.digest('hex');
  const stampFile = join(target, '.rushlight-sources');
  const wasm = (name) => join(target, name.replace(/\.ts$/, '.wasm'));
  if (
    existsSync(stampFile) &&
    readFileSync(stampFile, 'utf8') === wanted &&
    names.every((name) => existsSync(wasm(name)))
  )
    return;
  say('compiling the kernels into dist/kernels/');
  mkdirSync(target, { recursive: true });
  // Beside, and renamed one by one: a program that runs meanwhile finds a whole module, the old one or the new one.
  const beside = mkdtempSync(join(target, '.compiling-'));
  for (const [index, name] of names.entries()) {
    const compiler = join(projectFolder, 'node_modules', 'assemblyscript', 'bin', 'asc.js');
    // No memory of their own and no runtime: kernels work on the memory that they are given. `-O3` without relaxed SIMD keeps results the same everywhere.
    const options = [
      '--config',
      'none',
      '-O3',
      '--noAssert',
      '--runtime',
      'stub',
      '--importMemory',
      '--initialMemory',
      '0',
      '--memoryBase',
      String(FIRST_REGION + index * REGION),
      '--enable',
      'simd',
      '--enable',
      'bulk-memory',
      '--use',
      'abort=',
    ];
    const run = spawnSync(
      process.execPath,
      [compiler, join(sources, name), '-o', join(beside, name), ...options],
      { cwd: projectFolder, stdio: ['ignore', 2, 2] },
    );
    if (run.status !== 0)
      stop(
        `the kernel ${name} does not compile; the compiler's words stand above. An unchanged checkout compiles: \`git status\` shows what differs.`,
      );
  }
  for (const name of names) renameSync(join(beside, name), wasm(name));
  rmSync(beside, { recursive: true, force: true });
  writeFileSync(stampFile, wanted);
}
