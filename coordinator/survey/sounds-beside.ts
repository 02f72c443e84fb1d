/** The sound files of a roll: given to the frames that they were recorded with (sound.ts), or a sound roll's takes (recordings.ts). Read here. */
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath, printable } from '../../files/names.ts';
import type { Finding } from '../../findings/finding.ts';
import { filesOfPlace } from '../../ledger/clip.ts';
import { contentDigest } from '../../ledger/content-digest.ts';
import type { IntakeResult } from '../../ledger/roll.ts';
import { readWave } from '../../media/formats/wave/reader.ts';
import type { SurveyedClip } from './index.ts';
import { type FoundRecordings, recordingsOf } from './recordings.ts';
import { matchSounds, type SoundFile } from './sound.ts';

async function headerOf(path: string): Promise<SoundFile['header']> {
  try {
    const handle = await open(fsPath(path), 'r');
    try {
      return await readWave(handle);
    } finally {
      await handle.close();
    }
  } catch (error) {
    return printable((error as Error).message);
  }
}

async function readSounds(rollFolder: string, sounds: readonly string[]): Promise<SoundFile[]> {
  const files: SoundFile[] = [];
  for (const path of sounds) files.push({ path, header: await headerOf(join(rollFolder, path)) });
  return files;
}

/** Of a roll of a sound recorder, which has no clip; `sounds` as below. */
export const soundRoll = async (rollFolder: string, sounds: readonly string[]): Promise<FoundRecordings> =>
  recordingsOf(await readSounds(rollFolder, sounds));

export interface WithSounds {
  readonly clips: SurveyedClip[];
  /** Sound files that are now parts of clips. */
  readonly used: ReadonlySet<string>;
  /** Of no clip. */
  readonly findings: Finding[];
}

/** `sounds`: paths of those that nobody ignores. */
export async function soundsBeside(
  intake: Pick<IntakeResult, 'folder' | 'files'>,
  sounds: readonly string[],
  surveyed: readonly SurveyedClip[],
): Promise<WithSounds> {
  if (sounds.length === 0 || !surveyed.some(({ clip }) => clip.place.kind === 'sequence'))
    return { clips: [...surveyed], used: new Set(), findings: [] };
  const files = await readSounds(intake.folder, sounds);
  const { matched, findings } = matchSounds(files, surveyed);
  const byPath = new Map(intake.files.map((file) => [file.path, file]));
  const clips = surveyed.map((one): SurveyedClip => {
    const { clip, facts } = one;
    const own = findings.filter((item) => item.clip === clip.id);
    const match = matched.find((item) => item.clip === clip.id);
    if (match === undefined || facts === null || clip.place.kind !== 'sequence')
      return { ...one, findings: [...one.findings, ...own] };
    const place = { ...clip.place, sound: match.place };
    const covered = filesOfPlace(place).flatMap((path) => byPath.get(path) ?? []);
    return {
      clip: {
        ...clip,
        place,
        bytes: covered.reduce((sum, file) => sum + file.bytes, 0),
        contentDigest: contentDigest(covered),
      },
      facts: { ...facts, audio: [match.track] },
      findings: [...one.findings, ...own],
    };
  });
  return {
    clips,
    used: new Set(matched.map(({ place }) => place.file)),
    findings: findings.filter((item) => item.clip === undefined),
  };
}
