/** Profiles from files: read, extended, held against the schema and the rules, and named by their hash. */
import { existsSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import type { Finding } from '../findings/finding.ts';
import { finding } from '../findings/finding.ts';
import { packageFolder } from '../files/installation.ts';
import type { Abilities } from '../process/locate.ts';
import { missingAbilities } from './abilities.ts';
import { type ProfileDocument, readProfile } from './document.ts';
import { extend, type FindProfile } from './extend.ts';
import { profileHash } from './hash.ts';
import type { LoadedProfile } from './schema.ts';
import { validate } from './validate.ts';

export const builtInNames = [
  'editorial-vc3',
  'editorial-rdd36',
  'review-h264',
  'review-hdr',
  'review-hlg',
  'archive-ffv1',
  'grading-master-exr',
  'grading-master-aces',
  'grading-master-4444',
  'dpx-10',
] as const;
/** What a night makes when nobody names a profile: one codec for the editor, one file that plays anywhere. */
export const defaultProfiles = [
  'editorial-vc3',
  'review-h264',
] as const satisfies readonly (typeof builtInNames)[number][];

export const BUILT_IN = 'built in';
const builtInFolder = join(packageFolder, 'profiles', 'builtin');
const isBuiltIn = (name: string): boolean => (builtInNames as readonly string[]).includes(name);

type Read = { document: ProfileDocument } | { findings: Finding[] };
const readBuiltIn = (name: string): Promise<Read> =>
  readProfile(join(builtInFolder, `${name}.yaml`), `${BUILT_IN}: ${name}`);

/** Built-in names first: a file of the same name beside another could otherwise change what a built-in means. */
async function findByName(name: string, folders: readonly string[]): Promise<Read | null> {
  if (isBuiltIn(name)) return readBuiltIn(name);
  // A name is never a path: `../x` must not lead anywhere.
  if (!/^[a-z0-9][a-z0-9-]*$/.test(name)) return null;
  const path = folders
    .map((folder) => join(folder, `${name}.yaml`))
    .find((candidate) => existsSync(candidate));
  return path === undefined ? null : readProfile(path);
}

async function finish(
  document: ProfileDocument,
  folders: readonly string[],
): Promise<{ loaded: LoadedProfile } | { findings: Finding[] }> {
  const find: FindProfile = (name, from) =>
    findByName(name, from.origin.startsWith(`${BUILT_IN}: `) ? [] : [dirname(from.origin), ...folders]);
  const result = await extend(document, find);
  if ('findings' in result) return result;
  const valid = validate(document, result.extended);
  if ('findings' in valid) return valid;
  const builtIn = document.origin.startsWith(`${BUILT_IN}: `);
  if (!builtIn && isBuiltIn(valid.profile.name)) {
    return {
      findings: [
        finding(
          'profile-name-taken',
          `${valid.profile.name} in ${document.origin}`,
          'a name that no built-in profile has',
          { file: document.origin, profile: valid.profile.name },
        ),
      ],
    };
  }
  return {
    loaded: {
      profile: valid.profile,
      hash: profileHash(valid.profile),
      origin: builtIn ? BUILT_IN : document.origin,
    },
  };
}

async function loadOne(
  wanted: string,
  folders: readonly string[],
): Promise<{ loaded: LoadedProfile } | { findings: Finding[] }> {
  const isPath = /\.ya?ml$/i.test(wanted);
  const read = isPath
    ? await readProfile(resolve(wanted))
    : await findByName(
        wanted,
        folders.map((folder) => resolve(folder)),
      );
  if (read === null) {
    const places = folders.length === 0 ? '' : `, or ${wanted}.yaml in ${folders.join(', ')}`;
    return {
      findings: [
        finding(
          'profile-missing',
          JSON.stringify(wanted),
          `${builtInNames.join(', ')}${places}, or the path of a .yaml file`,
          { profile: wanted },
        ),
      ],
    };
  }
  return 'findings' in read
    ? read
    : finish(
        read.document,
        folders.map((folder) => resolve(folder)),
      );
}

export interface LoadResult {
  /** In the order asked, each once. */
  readonly profiles: LoadedProfile[];
  /** Anything here: nothing may run. */
  readonly findings: Finding[];
}

/**
 * Loads profiles by name (built in, or `<name>.yaml` in one of the folders) or by the path of a .yaml file.
 * With `abilities` it also refuses what this ffmpeg cannot do. Never throws for what a file says.
 */
export async function loadProfiles(request: {
  wanted: readonly string[];
  folders?: readonly string[];
  abilities?: Abilities;
}): Promise<LoadResult> {
  const profiles: LoadedProfile[] = [];
  const findings: Finding[] = [];
  for (const wanted of request.wanted) {
    const one = await loadOne(wanted, request.folders ?? []);
    if ('findings' in one) {
      findings.push(...one.findings);
      continue;
    }
    const same = profiles.find((other) => other.profile.name === one.loaded.profile.name);
    if (same === undefined) {
      profiles.push(one.loaded);
      if (request.abilities !== undefined)
        findings.push(...missingAbilities(one.loaded.profile, request.abilities));
    } else if (same.hash !== one.loaded.hash) {
      findings.push(
        finding(
          'profile-name-taken',
          `${one.loaded.profile.name} in ${same.origin} and in ${one.loaded.origin}`,
          'names of their own',
          { file: one.loaded.origin, profile: one.loaded.profile.name },
        ),
      );
    }
  }
  return { profiles, findings };
}

/** The profiles that come with this program. Throws only when the installation itself is damaged. */
export async function builtInProfiles(): Promise<LoadedProfile[]> {
  const { profiles, findings } = await loadProfiles({ wanted: builtInNames });
  if (findings.length > 0)
    throw new Error(`a built-in profile does not load: ${findings.map((item) => item.found).join('; ')}`);
  return profiles;
}

/** Everything that is wrong with one profile file. `loaded` is there when nothing is wrong with the file itself. */
export async function lintProfileFile(
  path: string,
  abilities?: Abilities,
): Promise<{ loaded: LoadedProfile | null; findings: Finding[] }> {
  const read = await readProfile(resolve(path));
  const one = 'findings' in read ? read : await finish(read.document, []);
  if ('findings' in one) return { loaded: null, findings: one.findings };
  return {
    loaded: one.loaded,
    findings: abilities === undefined ? [] : missingAbilities(one.loaded.profile, abilities),
  };
}
