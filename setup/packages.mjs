/** The packages of package-lock.json in node_modules: installed when they are missing or other ones than the lock file names. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { projectFolder, say, stop } from './say.mjs';

const modules = join(projectFolder, 'node_modules');
const stampFile = join(modules, '.rushlight-lock');

/** Native packages differ per platform and processor: a node_modules carried to another machine is made again. */
function wantedStamp() {
  const lock = readFileSync(join(projectFolder, 'package-lock.json'));
  return createHash('sha256').update(lock).update(`${process.platform}-${process.arch}`).digest('hex');
}

/**
 * Pure: do these installed packages answer to the lock file? `lock` and `installed` are the `packages` of
 * package-lock.json and of node_modules/.package-lock.json, which npm itself writes as the last step of an install.
 * Optional packages may be absent: their download may be refused, and most are for other platforms.
 */
export function sameAsLock(lock, installed) {
  return Object.entries(lock).every(([path, wanted]) => {
    if (path === '') return true;
    const found = installed[path];
    if (found === undefined) return wanted.optional === true || wanted.devOptional === true;
    return found.version === wanted.version;
  });
}

/** A node_modules that somebody filled with npm by hand is as good as ours. */
function installedByHand() {
  const record = join(modules, '.package-lock.json');
  if (!existsSync(record)) return false;
  try {
    const lock = JSON.parse(readFileSync(join(projectFolder, 'package-lock.json'), 'utf8'));
    return sameAsLock(lock.packages, JSON.parse(readFileSync(record, 'utf8')).packages);
  } catch {
    // A torn record: not to be relied on, and `npm ci` makes a new one.
    return false;
  }
}

export function installPackages() {
  const wanted = wantedStamp();
  if (existsSync(stampFile) && readFileSync(stampFile, 'utf8') === wanted) return;
  // Only where no stamp contradicts: a stamp for another platform means that the native packages are wrong.
  if (existsSync(stampFile) || !installedByHand()) {
    say(existsSync(modules) ? 'the packages changed: npm ci' : 'packages: npm ci (once, about a minute)');
    // The compiler is a development package, and native parts are optional packages of other packages: both are needed
    // whatever npm is set to leave out. npm's own lines go to stderr, since stdout belongs to the command's results.
    const run = spawnSync('npm', ['ci', '--include=dev', '--include=optional', '--no-audit', '--no-fund'], {
      cwd: projectFolder,
      stdio: ['ignore', 2, 2],
    });
    if (run.error !== undefined)
      stop(
        `npm could not be started (${run.error.message}). Install npm, which comes with Node, and run this again.`,
      );
    if (run.status !== 0)
      stop(
        'npm ci failed; its own words stand above. Mend that (most often the network or a proxy) and run this again.',
      );
  }
  writeFileSync(stampFile, wanted);
}
