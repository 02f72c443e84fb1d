/** Tools and profiles of a night: located, asked what they can do, loaded, and fit for each other. */
import { FindingError } from '../../findings/finding.ts';
import { type Toolchain, toolchainOf } from '../../ledger/toolchain.ts';
import { abilitiesOf, locateTools, type MediaTools } from '../../process/locate.ts';
import { defaultProfiles, loadProfiles } from '../../profiles/load.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';

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

const orDefaults = (wanted: readonly string[]): readonly string[] =>
  wanted.length === 0 ? defaultProfiles : wanted;

/** What the profiles say by themselves, whatever the tools can do. Throws FindingError (exit 2). */
export async function checkProfiles(wanted: readonly string[]): Promise<void> {
  const { findings } = await loadProfiles({ wanted: orDefaults(wanted) });
  if (findings.length > 0) throw new FindingError(findings, 2);
}

/** Throws FindingError: 2 for a profile that is wrong, 3 for tools that are missing or lack what a profile needs. */
export async function prepare(
  wanted: readonly string[],
  located: Promise<MediaTools>,
): Promise<{ tools: MediaTools; toolchain: Toolchain; profiles: LoadedProfile[] }> {
  await checkProfiles(wanted);
  const tools = await located;
  const { profiles, findings } = await loadProfiles({
    wanted: orDefaults(wanted),
    abilities: await abilitiesOf(tools.ffmpeg),
  });
  if (findings.length > 0)
    throw new FindingError(findings, findings.every((item) => item.code === 'profile-tool-lacks') ? 3 : 2);
  return { tools, toolchain: toolchainOf(tools), profiles };
}
