/** Tools and profiles of a night: located, asked what they can do, loaded, and fit for each other. */
import { FindingError } from '../../findings/finding.ts';
import { type Toolchain, toolchainOf } from '../../ledger/toolchain.ts';
import { abilitiesOf, locateTools, type MediaTools } from '../../process/locate.ts';
import { defaultProfiles, loadProfiles } from '../../profiles/load.ts';
import type { AskedProfiles } from '../settings/interpret.ts';
import type { Settings } from '../settings/read.ts';

export interface ToolRequest {
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
}

export function toolsOf(request: ToolRequest): Promise<MediaTools> {
  return locateTools({
    ...(request.ffmpeg === undefined ? {} : { ffmpeg: request.ffmpeg }),
    ...(request.ffprobe === undefined ? {} : { ffprobe: request.ffprobe }),
  });
}

export interface ProfileRequest {
  /** Names or files, of the command line; empty: none were given. */
  readonly profiles: readonly string[];
  readonly settings: Settings;
  /** How many stills of each clip, of the command line; absent: it says nothing. */
  readonly stills?: number | undefined;
}

/** The command line counts for every clip; without it each goes by the settings, and by the defaults where these say nothing. */
function wantedOf({ profiles, settings }: ProfileRequest): readonly string[] {
  if (profiles.length > 0) return profiles;
  const usual = settings.file.show?.profiles === undefined ? defaultProfiles : [];
  return [...usual, ...settings.profiles];
}

/** What the profiles say by themselves, whatever the tools can do. Throws FindingError (exit 2). */
export async function checkProfiles(request: ProfileRequest): Promise<void> {
  const { findings } = await loadProfiles({ wanted: wantedOf(request) });
  if (findings.length > 0) throw new FindingError(findings, 2);
}

/** Throws FindingError: 2 for a profile that is wrong, 3 for tools that are missing or lack what a profile needs. */
export async function prepare(
  request: ProfileRequest,
  located: Promise<MediaTools>,
): Promise<AskedProfiles & { readonly tools: MediaTools; readonly toolchain: Toolchain }> {
  await checkProfiles(request);
  const tools = await located;
  const { profiles, findings } = await loadProfiles({
    wanted: wantedOf(request),
    abilities: await abilitiesOf(tools.ffmpeg),
  });
  if (findings.length > 0)
    throw new FindingError(findings, findings.every((item) => item.code === 'profile-tool-lacks') ? 3 : 2);
  const names = profiles.map(({ profile }) => profile.name);
  return {
    tools,
    toolchain: toolchainOf(tools),
    profiles,
    stated: request.profiles.length > 0 ? names : null,
    usual: defaultProfiles,
    stills: request.stills,
  };
}
