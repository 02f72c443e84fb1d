/** The clips of a day as their headers say them, without reading and verifying their bytes: what settings are written from and held against. */
import { append } from '../../findings/append.ts';
import type { Finding } from '../../findings/finding.ts';
import { isSystemPath } from '../../files/system-files.ts';
import { walkFolder } from '../../files/walk.ts';
import type { ClipReaders } from '../../media/raw/clip-readers.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { GateClip } from '../gate/input.ts';
import type { Settings } from '../settings/read.ts';
import type { NightFolders } from './folders.ts';
import { findRolls } from './rolls.ts';
import { settingsOfDay } from './shared-names.ts';
import { surveyOf } from './survey-roll.ts';

export interface SeenDay {
  readonly rolls: readonly { readonly roll: string; readonly clips: readonly GateClip[] }[];
  readonly findings: readonly Finding[];
  /** As they are on this day. */
  readonly settings: Settings;
}

export interface LookRequest {
  readonly folders: Pick<NightFolders, 'day' | 'dayName' | 'copies' | 'manifests'>;
  readonly settings: Settings;
  readonly tools: MediaTools;
  readonly clipReaders: ClipReaders;
  readonly signal: AbortSignal;
}

/** Writes nothing. Throws FindingError when a program fails, and the signal's reason when stopped. */
export async function lookAtDay(request: LookRequest): Promise<SeenDay> {
  const { folders, tools, clipReaders, signal } = request;
  const { rolls, findings } = await findRolls(folders);
  const settings = await settingsOfDay(request.settings, rolls, signal);
  const found: Finding[] = [...findings];
  const seen: SeenDay['rolls'][number][] = [];
  for (const { name, folder } of rolls) {
    signal.throwIfAborted();
    const { files } = await walkFolder(folder, { signal });
    const survey = await surveyOf(
      {
        day: folders.dayName,
        roll: name,
        folder,
        manifests: [],
        copies: [],
        // Nobody read them: what digests say of them is compared with nothing.
        files: files
          .filter(({ path }) => !isSystemPath(path))
          .map(({ path, bytes }) => ({ path, bytes, hashes: { unread: '' } })),
        findings: [],
      },
      tools,
      {
        settings: settings.file,
        asked: { profiles: [], stated: null, usual: [] },
        decoders: settings.decoders,
        statedRate: null,
        ignore: [],
        signal,
        clipReaders,
        onMeasured: () => undefined,
      },
    );
    append(found, survey.findings);
    for (const { findings: ofClip } of survey.clips) append(found, ofClip);
    seen.push({ roll: name, clips: survey.clips });
  }
  return { rolls: seen, findings: found, settings };
}
