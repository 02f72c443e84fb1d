/**
 * Where ffmpeg and ffprobe are: option, then environment, then PATH, then the optional packages.
 * A program that is named must work: there is no silent fall to the next place.
 */
import { createHash } from 'node:crypto';
import { accessSync, constants, statSync } from 'node:fs';
import { delimiter, join, resolve } from 'node:path';
import { FindingError, finding } from '../../findings/finding.ts';
import { runForOutput } from './run.ts';

export const toolPlaces = ['option', 'environment', 'path', 'package'] as const;
export interface FoundTool {
  readonly name: 'ffmpeg' | 'ffprobe';
  readonly path: string;
  readonly from: (typeof toolPlaces)[number];
  /** As it prints it: `5.1.9-0+deb12u1`, `n7.1`, `N-12345-g…`. */
  readonly version: string;
  /** Leading numbers of the version; null for builds numbered otherwise (snapshots), which are taken as new. */
  readonly release: { readonly major: number; readonly minor: number } | null;
  /** SHA-256 over what `-version` prints (version, compiler, configuration, library versions). */
  readonly build: string;
}
export interface MediaTools {
  readonly ffmpeg: FoundTool;
  readonly ffprobe: FoundTool;
}

const OLDEST = { major: 5, minor: 1 };

function isProgram(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return statSync(path).isFile();
  } catch {
    return false;
  }
}

async function packaged(name: 'ffmpeg' | 'ffprobe'): Promise<string | null> {
  try {
    if (name === 'ffmpeg') {
      // Optional: its download may have been refused. The name is a variable so that the compiler asks for no types.
      const packageName = 'ffmpeg-static';
      const found = (await import(packageName)) as { default: string | null };
      return found.default;
    }
    const packageName = '@ffprobe-installer/ffprobe';
    const found = (await import(packageName)) as { default: { path: string } };
    return found.default.path;
  } catch {
    return null;
  }
}

async function candidate(name: 'ffmpeg' | 'ffprobe', option: string | undefined): Promise<{ path: string; from: FoundTool['from'] } | null> {
  if (option !== undefined) return { path: resolve(option), from: 'option' };
  const variable = process.env[name === 'ffmpeg' ? 'RUSHLIGHT_FFMPEG' : 'RUSHLIGHT_FFPROBE'];
  if (variable !== undefined && variable !== '') return { path: resolve(variable), from: 'environment' };
  for (const folder of (process.env.PATH ?? '').split(delimiter)) {
    if (folder !== '' && isProgram(join(folder, name))) return { path: join(folder, name), from: 'path' };
  }
  const path = await packaged(name);
  return path !== null && isProgram(path) ? { path, from: 'package' } : null;
}

/** Throws FindingError (exit 3) when the program is absent, does not run, or is too old. */
export async function locateTool(name: 'ffmpeg' | 'ffprobe', option?: string): Promise<FoundTool> {
  const place = await candidate(name, option);
  if (place === null) {
    throw new FindingError([finding('tool-missing', `${name}: not named, not on PATH, not among the packages`, `${name} ${OLDEST.major}.${OLDEST.minor} or newer`, { file: name })], 3);
  }
  if (!isProgram(place.path)) {
    throw new FindingError([finding('tool-missing', `${place.path} (${place.from}) is not a program`, `${name} ${OLDEST.major}.${OLDEST.minor} or newer`, { file: name })], 3);
  }
  const run = await runForOutput(place.path, ['-version'], { stallMilliseconds: 20_000 });
  const text = run.stdout.toString('utf8');
  const version = new RegExp(`^${name} version (\\S+)`).exec(text)?.[1];
  if (run.reason !== 'exited' || run.exitCode !== 0 || version === undefined) {
    throw new FindingError([finding('tool-unusable', `${place.path} -version: ${run.startError ?? `${run.reason}, exit code ${run.exitCode}`}`, `a line \`${name} version …\``, { file: name })], 3);
  }
  const numbers = /^n?(\d+)\.(\d+)/.exec(version);
  const release = numbers === null ? null : { major: Number(numbers[1]), minor: Number(numbers[2]) };
  if (release !== null && (release.major < OLDEST.major || (release.major === OLDEST.major && release.minor < OLDEST.minor))) {
    throw new FindingError([finding('tool-too-old', `${place.path}: ${version}`, `${OLDEST.major}.${OLDEST.minor} or newer`, { file: name })], 3);
  }
  return { name, path: place.path, from: place.from, version, release, build: createHash('sha256').update(text).digest('hex') };
}

export async function locateTools(options: { ffmpeg?: string; ffprobe?: string } = {}): Promise<MediaTools> {
  const [ffmpeg, ffprobe] = await Promise.all([locateTool('ffmpeg', options.ffmpeg), locateTool('ffprobe', options.ffprobe)]);
  return { ffmpeg, ffprobe };
}

export interface Abilities {
  readonly encoders: ReadonlySet<string>;
  readonly decoders: ReadonlySet<string>;
  readonly filters: ReadonlySet<string>;
}

/** What this build can do; builds differ, so ask before planning. */
export async function abilitiesOf(ffmpeg: FoundTool): Promise<Abilities> {
  const ask = async (what: string, pattern: RegExp): Promise<Set<string>> => {
    const run = await runForOutput(ffmpeg.path, ['-hide_banner', what], { stallMilliseconds: 20_000 });
    return new Set([...run.stdout.toString('utf8').matchAll(pattern)].map((match) => match[1] as string));
  };
  const codecLine = /^ [VASF.][A-Z.]{5} (\S+)/gm;
  const [encoders, decoders, filters] = await Promise.all([ask('-encoders', codecLine), ask('-decoders', codecLine), ask('-filters', /^ [A-Z.]{2,3} (\S+) +\S+->\S+/gm)]);
  return { encoders, decoders, filters };
}
