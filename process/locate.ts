/**
 * Where ffmpeg and ffprobe are: option, then environment, then PATH, then the optional packages.
 * A program that is named must work: there is no silent fall to the next place. One that merely lies on PATH and will not
 * do (too old, as on some systems that are still in use) gives way to the package's, and `passedOver` says so.
 */
import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import { type Finding, FindingError, finding } from '../findings/finding.ts';
import { isProgram, programsOnPath } from './program.ts';
import { runForAnswer } from './answer.ts';
import type { RunResult } from './run.ts';

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
  /** Programs on the way that would not do, each with its reason. */
  readonly passedOver: readonly Finding[];
}
/** Whether a program is of that release or a later one; snapshots are taken as new. */
export const isAtLeast = (
  release: FoundTool['release'],
  { major, minor }: { readonly major: number; readonly minor: number },
): boolean =>
  release === null || release.major > major || (release.major === major && release.minor >= minor);

export interface MediaTools {
  readonly ffmpeg: FoundTool;
  readonly ffprobe: FoundTool;
}

const OLDEST = { major: 5, minor: 1 };

type ToolName = FoundTool['name'];
type Place = Pick<FoundTool, 'path' | 'from'>;

/** Where the optional package says its program is; null when the package is not installed or has none for this platform. */
async function packaged(name: ToolName): Promise<string | null> {
  // The names are variables so that the compiler asks for no types of packages that may be absent.
  const packageName = name === 'ffmpeg' ? 'ffmpeg-static' : '@ffprobe-installer/ffprobe';
  try {
    const found = (await import(packageName)) as { default: string | null | { path: string } };
    return typeof found.default === 'string' ? found.default : (found.default?.path ?? null);
  } catch {
    // Not installed (its download may have been refused), or it throws because it has no program for this platform.
    return null;
  }
}

/** Every place that has something under this name, in order. A named one is the only one. */
async function places(name: ToolName, option: string | undefined): Promise<Place[]> {
  if (option !== undefined) return [{ path: resolve(option), from: 'option' }];
  const variable = process.env[name === 'ffmpeg' ? 'RUSHLIGHT_FFMPEG' : 'RUSHLIGHT_FFPROBE'];
  if (variable !== undefined && variable !== '') return [{ path: resolve(variable), from: 'environment' }];
  const onPath = programsOnPath(name)[0];
  const path = await packaged(name);
  return [
    ...(onPath === undefined ? [] : [{ path: onPath, from: 'path' as const }]),
    ...(path === null || !existsSync(path) ? [] : [{ path, from: 'package' as const }]),
  ];
}

const wanted = (name: ToolName): string => `${name} ${OLDEST.major}.${OLDEST.minor} or newer`;

/** The program at this place, or the finding that says why it will not do. */
async function tryPlace(
  name: ToolName,
  place: Place,
  patienceMilliseconds: number,
): Promise<FoundTool | Finding> {
  const { path, from } = place;
  if (!isProgram(path)) {
    // An install without install scripts leaves the package's program without its execute bit.
    return finding(
      'tool-missing',
      `${path} (${from}) ${existsSync(path) ? 'may not be executed by this user' : 'is not there'}`,
      wanted(name),
      { file: name },
    );
  }
  const run = await runForAnswer(path, ['-version'], { stallMilliseconds: patienceMilliseconds });
  const { text } = run;
  const version = new RegExp(`^${name} version (\\S+)`).exec(text)?.[1];
  if (run.reason !== 'exited' || run.exitCode !== 0 || version === undefined || !run.whole) {
    return finding(
      'tool-unusable',
      `${path} (${from}) -version: ${whatItDid(run, version === undefined ? 'no such line' : 'cut off, twice')}`,
      `a line \`${name} version …\``,
      { file: name },
    );
  }
  const numbers = /^n?(\d+)\.(\d+)/.exec(version);
  const release = numbers === null ? null : { major: Number(numbers[1]), minor: Number(numbers[2]) };
  if (release !== null && !isAtLeast(release, OLDEST)) {
    return finding('tool-too-old', `${path} (${from}): ${version}`, wanted(name), { file: name });
  }
  return {
    name,
    path,
    from,
    version,
    release,
    build: createHash('sha256').update(text).digest('hex'),
    passedOver: [],
  };
}

/** `lacking`: what is wrong with the answer of a run that ended well. */
function whatItDid(run: RunResult, lacking: 'no such line' | 'cut off, twice'): string {
  if (run.reason === 'stalled') return 'no answer';
  if (run.reason === 'exited' && run.exitCode === 0) return lacking;
  return run.startError ?? run.signal ?? `exit code ${run.exitCode}`;
}

/**
 * Throws FindingError (exit 3) with one finding per place that was tried when the program is absent, does not run, or is
 * too old. `patienceMilliseconds`: how long `-version` may stay silent.
 */
export async function locateTool(
  name: ToolName,
  option?: string,
  patienceMilliseconds = 20_000,
): Promise<FoundTool> {
  const passedOver: Finding[] = [];
  for (const place of await places(name, option)) {
    const tried = await tryPlace(name, place, patienceMilliseconds);
    if (!('code' in tried)) return { ...tried, passedOver };
    passedOver.push(tried);
  }
  throw new FindingError(
    passedOver.length > 0
      ? passedOver
      : [
          finding('tool-missing', 'not named, not on PATH, not among the packages', wanted(name), {
            file: name,
          }),
        ],
    3,
  );
}

export async function locateTools(options: { ffmpeg?: string; ffprobe?: string } = {}): Promise<MediaTools> {
  const [ffmpeg, ffprobe] = await Promise.all([
    locateTool('ffmpeg', options.ffmpeg),
    locateTool('ffprobe', options.ffprobe),
  ]);
  return { ffmpeg, ffprobe };
}

/** What this build can make. Starting it costs more than reading its answer: its decoders are asked for apart. */
export interface Abilities {
  readonly encoders: ReadonlySet<string>;
  readonly filters: ReadonlySet<string>;
}

const CODEC_LINE = /^ [VASF.][A-Z.]{5} (\S+)/gm;

/** Builds differ, so ask before planning. Throws FindingError (exit 3) when it does not answer. */
export async function abilitiesOf(ffmpeg: FoundTool): Promise<Abilities> {
  const [encoders, filters] = await Promise.all([
    listOf(ffmpeg, '-encoders', CODEC_LINE),
    listOf(ffmpeg, '-filters', /^ [A-Z.]{2,3} (\S+) +\S+->\S+/gm),
  ]);
  return { encoders, filters };
}

/** Throws as `abilitiesOf` does. */
export function decodersOf(ffmpeg: FoundTool): Promise<ReadonlySet<string>> {
  return listOf(ffmpeg, '-decoders', CODEC_LINE);
}

async function listOf({ path }: FoundTool, what: string, line: RegExp): Promise<ReadonlySet<string>> {
  const run = await runForAnswer(path, ['-hide_banner', what], { stallMilliseconds: 20_000 });
  // An empty list, or half of one, would read as "this build has no such encoder".
  if (run.reason !== 'exited' || run.exitCode !== 0 || !run.whole)
    throw new FindingError(
      [
        finding('tool-unusable', `${path} ${what}: ${whatItDid(run, 'cut off, twice')}`, 'a list', {
          file: 'ffmpeg',
        }),
      ],
      3,
    );
  return new Set([...run.text.matchAll(line)].map((match) => match[1] as string));
}
