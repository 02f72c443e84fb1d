/** Survey of a roll whose intake holds: clips and facts, each finding with the roll's name and at its clip. */
import { printable } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { Recording } from '../../ledger/recording.ts';
import type { IntakeResult } from '../../ledger/roll.ts';
import type { ClipReaders } from '../../media/raw/clip-readers.ts';
import type { MediaTools } from '../../process/locate.ts';
import type { GateClip } from '../gate/input.ts';
import { decodersFor } from '../settings/decoders.ts';
import { type AskedProfiles, understand } from '../settings/interpret.ts';
import type { SettingsFile } from '../settings/schema.ts';
import { spannedRules } from '../settings/spanned.ts';
import type { DeclaredDecoders } from '../../media/raw/decoders/declared/all.ts';
import { findClips, type FindOptions, namelessPaths, surveyRoll } from '../survey/index.ts';
import { contentsOf } from '../survey/signatures.ts';
import { soundRoll, soundsBeside } from '../survey/sounds-beside.ts';

export interface RollSurvey {
  readonly clips: GateClip[];
  /** Of a sound roll; not yet laid beside the clips of the day. */
  readonly recordings: readonly Recording[];
  readonly otherFiles: string[];
  /** Of the roll as a whole. */
  readonly findings: Finding[];
}

export async function surveyOf(
  intake: IntakeResult,
  tools: MediaTools,
  options: Omit<FindOptions, 'declared' | 'contents' | 'spanned'> & {
    readonly settings: SettingsFile;
    readonly asked: AskedProfiles;
    readonly decoders: DeclaredDecoders;
    readonly signal: AbortSignal;
    readonly clipReaders: ClipReaders;
    readonly onMeasured: (measured: number, clips: number) => void;
  },
): Promise<RollSurvey> {
  const decoders = await decodersFor(options.settings, intake.roll, options.decoders);
  const declared = (path: string): 'movie' | 'frames' | null =>
    decoders.declared(path)?.declared.takes.clips ?? null;
  const contents = await contentsOf(intake.folder, namelessPaths(intake.files, declared));
  const found = findClips(intake.files, {
    ...options,
    declared,
    contents,
    spanned: spannedRules(options.settings, intake.roll),
  });
  const ofRoll = (item: Finding): Finding => ({ ...item, roll: intake.roll });
  let measured = 0;
  options.onMeasured(0, found.clips.length);
  const surveyed = await surveyRoll(found.clips, intake.folder, tools, {
    signal: options.signal,
    readers: options.clipReaders,
    decoders: decoders.raw,
    declared: decoders.declared,
    statedRate: options.statedRate,
    onClip: () => {
      measured += 1;
      options.onMeasured(measured, found.clips.length);
    },
  });
  const ids = new Set(found.clips.map((clip) => clip.id));
  const sounds = await soundsBeside(intake, found.sounds, surveyed);
  const recorded =
    found.clips.length === 0
      ? await soundRoll(intake.folder, found.sounds)
      : { recordings: [], findings: [] };
  return {
    otherFiles: found.others.filter((path) => !sounds.used.has(path)),
    findings: [
      ...found.findings.filter((item) => item.clip === undefined || !ids.has(item.clip)),
      ...sounds.findings,
      ...recorded.findings,
      ...clipsAbsent(options.settings, intake.roll, found.clips),
    ].map(ofRoll),
    recordings: recorded.recordings,
    clips: sounds.clips.map(({ clip, facts, findings }) => {
      const understood = understand(facts, { roll: intake.roll, clip }, options.settings, options.asked);
      const reported = understood.findings.map((item) => ({ ...item, clip: clip.id }));
      return {
        clip,
        facts: understood.facts,
        settings: understood.settings,
        findings: [...found.findings.filter((item) => item.clip === clip.id), ...findings, ...reported].map(
          ofRoll,
        ),
      };
    }),
  };
}

/** Settings for a clip that the roll does not have: a slip of the pen, by which another clip is made otherwise than somebody thinks. */
function clipsAbsent(
  settings: SettingsFile,
  roll: string,
  clips: readonly { readonly id: string; readonly name: string }[],
): Finding[] {
  const rolls = settings.rolls ?? {};
  const ofClips = Object.hasOwn(rolls, roll) ? (rolls[roll]?.clips ?? {}) : {};
  return Object.keys(ofClips)
    .filter((name) => !clips.some((clip) => clip.id === name || clip.name === name))
    .map((name) =>
      finding('settings-clip-absent', `settings for ${printable(name)}`, 'a clip of the roll', { roll }),
    );
}
