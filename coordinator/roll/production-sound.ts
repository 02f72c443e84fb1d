/** Production sound of the clips whose profiles ask for it: found before their jobs are planned, so that a job names what it reads. */
import { seenDigest } from '../../files/seen.ts';
import { printable } from '../../files/names.ts';
import { blocks, type Finding, finding } from '../../findings/finding.ts';
import { checksumOf, contentDigest } from '../../ledger/content-digest.ts';
import type { SoundRollOfJob } from '../../ledger/job.ts';
import type { ClipBeside, Recording } from '../../ledger/recording.ts';
import type { RollFile } from '../../ledger/roll.ts';
import type { AudioFacts } from '../../media/facts.ts';
import type { GateClip } from '../gate/input.ts';
import type { DiscoveredRoll } from '../intake/index.ts';
import { carriedOf } from '../survey/carried-sound.ts';
import { matchRecordings } from '../survey/recordings.ts';
import { besideAsHeard } from './heard-together.ts';
import { addFindings, type KnownRoll, type RollContext } from './know.ts';
import { isSoundRoll, mayBeSoundRoll } from './sound-rolls.ts';

type Asked = Pick<RollContext, 'profiles'>;

/** Whether any profile of the run carries production sound. */
export const asksProductionSound = ({ profiles }: Asked): boolean =>
  profiles.some(({ profile }) => profile.kind === 'movie' && profile.audio.production_sound !== undefined);

/** Rolls that may be sound rolls; nobody looks where no profile asks. Throws the signal's reason. */
export async function soundRollsByName(
  rolls: readonly DiscoveredRoll[],
  asked: Asked,
  signal: AbortSignal,
): Promise<string[]> {
  const names: string[] = [];
  if (asksProductionSound(asked))
    for (const roll of rolls) if (await mayBeSoundRoll(roll, signal)) names.push(roll.name);
  return names;
}

function asks({ settings }: GateClip, { profiles }: Asked): boolean {
  const due = profiles.filter(({ profile }) => settings.profiles.includes(profile.name));
  return asksProductionSound({ profiles: due });
}

/** Nothing speaks against it, and every byte of it is as its manifest says. */
const isUsable = ({ isSurveyed, intake, findings }: KnownRoll): boolean =>
  isSurveyed && intake !== null && ![...intake.findings, ...findings].some(blocks);

/** Sound rolls of the day of which nothing may be used: not verified, held, or not read by this run. */
function unusable(rolls: readonly KnownRoll[], maybe: readonly string[]): string[] {
  const held = rolls.filter((one) => isSoundRoll(one) && !isUsable(one)).map(({ roll }) => roll.name);
  const unread = maybe.filter((name) => {
    const known = rolls.find(({ roll }) => roll.name === name);
    return known === undefined || (!isSoundRoll(known) && !isUsable(known));
  });
  return [...new Set([...held, ...unread])];
}

interface Choice {
  readonly sound: KnownRoll;
  readonly recording: Recording;
  readonly beside: ClipBeside;
}

/** The longest beside the clip comes first. */
function choicesOf(entry: GateClip, roll: string, sounds: readonly KnownRoll[]): Choice[] {
  const clip = { roll, clip: entry.clip.id, facts: entry.facts };
  const seconds = ({ beside, recording }: Choice): number => beside.overlapSamples / recording.sampleRate;
  return sounds
    .flatMap((sound) =>
      matchRecordings(sound.recordings, [clip]).flatMap((recording): Choice[] =>
        recording.wild ? [] : recording.clips.map((beside) => ({ sound, recording, beside })),
      ),
    )
    .sort((one, other) => seconds(other) - seconds(one));
}

const filesOf = ({ intake }: KnownRoll, paths: readonly string[]): RollFile[] =>
  paths.map((path) => {
    const file = intake?.files.find((one) => one.path === path);
    if (file === undefined) throw new RangeError(`${path} is not among the files of its roll`);
    return file;
  });

/** What a job needs to read these tracks as they were verified. */
function soundRollOf(sound: KnownRoll, tracks: readonly AudioFacts[]): SoundRollOfJob {
  const paths = [...new Set(tracks.flatMap(({ recording }) => recording?.file ?? []))];
  const files = filesOf(sound, paths);
  const seen = new Map((sound.intake?.files ?? []).map((file) => [file.path, file.seen ?? null]));
  return {
    roll: sound.roll.name,
    folder: sound.roll.folder,
    files: files.map(({ path, bytes }) => ({ path, bytes })),
    contentDigest: contentDigest(files),
    source: seenDigest(
      paths.map((path) => [path, seen.get(path) ?? null] as const),
      'without-numbers',
    ),
  };
}

const inWords = ({ sound, recording, beside }: Choice): string =>
  `${printable(sound.roll.name)} ${printable(recording.files[0] ?? '')}, ${(beside.overlapSamples / recording.sampleRate).toFixed(2)} s`;

function leftFinding(left: readonly Choice[], clip: string, carried: Choice): Finding[] {
  const [first] = left;
  return first === undefined
    ? []
    : [
        finding(
          'production-sound-left',
          `${inWords(first)} of it${left.length === 1 ? '' : `, and ${left.length - 1} more`}`,
          inWords(carried),
          { clip },
        ),
      ];
}

/** `rolls`: all of the day, as far as they are known; sound rolls are. Throws the signal's reason. */
export async function addProductionSound(
  known: KnownRoll,
  rolls: readonly KnownRoll[],
  context: Pick<RollContext, 'profiles' | 'tools' | 'signal' | 'heardTogether' | 'maybeSoundRolls'>,
): Promise<void> {
  if (!known.clips.some((entry) => asks(entry, context))) return;
  const lacking = unusable(rolls, context.maybeSoundRolls);
  const sounds = rolls.filter(isSoundRoll);
  const found: Finding[] = [];
  const clips: GateClip[] = [];
  for (const entry of known.clips) {
    context.signal.throwIfAborted();
    if (entry.facts === null || !asks(entry, context)) {
      clips.push(entry);
      continue;
    }
    const clip = entry.clip.id;
    if (lacking.length > 0)
      found.push(
        finding(
          'production-sound-unread',
          `${lacking.slice(0, 5).map(printable).join(', ')}${lacking.length > 5 ? ` and ${lacking.length - 5} more` : ''}`,
          'every sound roll of the day verified, and nothing that holds it',
          { clip },
        ),
      );
    const [carried, ...left] = lacking.length > 0 ? [] : choicesOf(entry, known.roll.name, sounds);
    if (carried === undefined) {
      clips.push(entry);
      continue;
    }
    const { sound, recording } = carried;
    const beside = await besideAsHeard({ ...carried, of: known }, context);
    const tracks = carriedOf({
      ...{ roll: sound.roll.name, recording, beside, clip: entry.facts },
      checksumOf: (file) => checksumOf(filesOf(sound, [file])[0] as RollFile),
    });
    found.push(...leftFinding(left, clip, carried));
    if (tracks.length > 0) known.soundRolls.set(clip, [soundRollOf(sound, tracks)]);
    clips.push({ ...entry, facts: { ...entry.facts, audio: [...entry.facts.audio, ...tracks] } });
  }
  known.clips = clips;
  addFindings(known, found);
}
