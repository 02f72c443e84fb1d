/** `rushlight profiles`: which there are, what one says field by field, and whether a file of the user's own is right. */
import { FindingError } from '../../findings/finding.ts';
import { abilitiesOf, locateTool } from '../../process/locate.ts';
import { describeProfile } from '../../profiles/describe.ts';
import { builtInProfiles, defaultProfiles, lintProfileFile, loadProfiles } from '../../profiles/load.ts';
import { printJson, printText } from '../show/output.ts';
import { findingsText } from '../show/words.ts';

export async function profilesListCommand(options: { readonly json?: boolean }): Promise<0> {
  const all = await builtInProfiles();
  const isDefault = (name: string): boolean => (defaultProfiles as readonly string[]).includes(name);
  if (options.json === true) {
    printJson({
      version: 0,
      kind: 'profiles',
      profiles: all.map(({ profile, hash, origin }) => ({
        name: profile.name,
        summary: profile.summary,
        hash,
        origin,
        default: isDefault(profile.name),
      })),
    });
    return 0;
  }
  const width = Math.max(...all.map(({ profile }) => profile.name.length));
  printText(
    `${all.map(({ profile }) => `${isDefault(profile.name) ? '*' : ' '} ${profile.name.padEnd(width)}  ${profile.summary}`).join('\n')}\n\n* made when no --profile is given. Name a profile file of your own by its path.`,
  );
  return 0;
}

export async function profilesShowCommand(options: {
  readonly name: string;
  readonly json?: boolean;
}): Promise<0> {
  const { profiles, findings } = await loadProfiles({ wanted: [options.name] });
  const [loaded] = profiles;
  if (findings.length > 0 || loaded === undefined) throw new FindingError(findings, 2);
  const fields = describeProfile(loaded.profile);
  if (options.json === true) {
    printJson({
      version: 0,
      kind: 'profile',
      name: loaded.profile.name,
      hash: loaded.hash,
      origin: loaded.origin,
      profile: loaded.profile,
      fields,
    });
    return 0;
  }
  const left = fields.map(({ field, value }) => (value === '' ? field : `${field}: ${value}`));
  const width = Math.min(44, Math.max(...left.map((text) => text.length)));
  const lines = fields.map(
    ({ meaning, allowed }, index) =>
      `${(left[index] as string).padEnd(width)}  ${meaning}${allowed === '' ? '' : ` (${allowed})`}`,
  );
  printText(`${loaded.profile.name}, ${loaded.origin}\nhash ${loaded.hash}\n\n${lines.join('\n')}`);
  return 0;
}

/** Without ffmpeg only the file is judged. */
export async function profilesLintCommand(options: {
  readonly file: string;
  readonly ffmpeg?: string;
  readonly json?: boolean;
}): Promise<0 | 2> {
  const located = await locateTool('ffmpeg', options.ffmpeg).catch((error: unknown) => {
    if (options.ffmpeg !== undefined || !(error instanceof FindingError)) throw error;
    return null;
  });
  const { loaded, findings } = await lintProfileFile(
    options.file,
    located === null ? undefined : await abilitiesOf(located),
  );
  const good = loaded !== null && findings.length === 0;
  if (options.json === true)
    printJson({
      version: 0,
      kind: 'profile-lint',
      file: options.file,
      verdict: good ? 'right' : 'wrong',
      hash: loaded?.hash ?? null,
      findings,
    });
  else printText(good ? `${loaded.profile.name} is valid. hash ${loaded.hash}` : findingsText(findings));
  return good ? 0 : 2;
}
