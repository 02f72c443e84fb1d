/** Names that clips of several rolls of the day have: a CDL of such a name alone is of no one clip. By the names of files and folders, before anything is read. */
import { isSystemPath } from '../../files/system-files.ts';
import { walkFolder } from '../../files/walk.ts';
import { codeOf } from '../../files/error-code.ts';
import { isMediaName } from '../intake/discover.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import { nameKey, namesOfPath } from '../settings/match-cdls.ts';
import type { Settings } from '../settings/read.ts';

async function namesIn({ folder }: DiscoveredRoll, signal: AbortSignal): Promise<Set<string>> {
  try {
    const { files } = await walkFolder(folder, { signal });
    return new Set(
      files
        .filter(({ path }) => !isSystemPath(path) && isMediaName(path))
        .flatMap(({ path }) => namesOfPath(path).map(nameKey)),
    );
  } catch (error) {
    signal.throwIfAborted();
    if (codeOf(error) === '') throw error;
    // What cannot be listed is held by verification.
    return new Set();
  }
}

/** The settings as they are on this day. Without CDLs nothing is looked at. */
export async function settingsOfDay(
  settings: Settings,
  rolls: readonly DiscoveredRoll[],
  signal: AbortSignal,
): Promise<Settings> {
  const { show } = settings.file;
  if (show?.cdls === undefined) return settings;
  const seen = new Set<string>();
  const shared = new Set<string>();
  for (const roll of rolls)
    for (const name of await namesIn(roll, signal)) (seen.has(name) ? shared : seen).add(name);
  return {
    ...settings,
    file: { ...settings.file, show: { ...show, cdls: { ...show.cdls, shared } } },
  };
}
