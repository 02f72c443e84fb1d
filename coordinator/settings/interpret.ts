/** What a clip's values mean and what is to be made of it, by the command line, the settings and its own tags. Pure. */
import type { AppliedSetting, AppliedSettings, SettingOrigin } from '../../ledger/applied-settings.ts';
import { append } from '../../findings/append.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { gamutOf, samePrimaries } from '../../media/colour/gamuts.ts';
import { gamutOfInput, inputName, inputOfTags, type InputTransform } from '../../media/colour/input.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { chromaticitiesText } from '../../media/formats/exr/source.ts';
import type { Interpretation } from '../../media/interpretation.ts';
import { isMaster, type LoadedProfile } from '../../profiles/schema.ts';
import type { StillsAsked } from '../../profiles/stills/schema.ts';
import { usualStills } from '../../profiles/stills/usual.ts';
import { type Level, levelsOf, nearest } from './levels.ts';
import { pictureTexts } from './picture-texts.ts';
import type { SettingsFile } from './schema.ts';
import { frameLineOf, frameLineText } from './frame-line.ts';
import { timingOf } from './timing.ts';
import { wayOfClip } from './way.ts';

/** Which profiles a night makes where. */
export interface AskedProfiles {
  /** All that any clip may be due. */
  readonly profiles: readonly LoadedProfile[];
  /** Names given on the command line, which count before every level of the settings; null: none were. */
  readonly stated: readonly string[] | null;
  /** Names of what is made where nobody says. */
  readonly usual: readonly string[];
  /** How many stills of each clip, given on the command line, which counts before every level; absent: none was. */
  readonly stills?: number | undefined;
}

export interface Understood {
  /** null: the clip could not be measured. */
  readonly facts: ClipFacts | null;
  readonly settings: AppliedSettings;
  readonly findings: readonly Finding[];
}

/** Names and values of a setting with parts, as the settings file writes them. */
const written = (value: unknown): string =>
  value === null ? 'not known' : typeof value === 'string' ? value : JSON.stringify(value);

interface Stated<Value> {
  readonly value: Value;
  readonly from: SettingOrigin;
}

function stated<Value>(
  levels: readonly Level[],
  of: (part: Level['part']) => Value | undefined,
  otherwise: Value,
): Stated<Value> {
  const found = nearest(levels, of);
  return found === null ? { value: otherwise, from: 'nobody' } : { value: found.value, from: found.said };
}

/** How many stills, and of which form; null: none. */
function stillsOf(
  levels: readonly Level[],
  commandLine: number | undefined,
): { readonly asked: StillsAsked | null; readonly from: SettingOrigin } {
  const count =
    commandLine === undefined
      ? stated(levels, (part) => part.stills?.count, usualStills.count)
      : { value: commandLine, from: 'command line' as const };
  const asked = {
    count: count.value,
    width: stated(levels, (part) => part.stills?.width, usualStills.width).value,
    bits: stated(levels, (part) => part.stills?.bits, usualStills.bits).value,
  };
  return { asked: asked.count === 0 ? null : asked, from: count.from };
}

/** The facts of a clip with what the settings say of it, its profiles, and where each setting was stated. */
export function understand(
  facts: ClipFacts | null,
  { roll, clip }: { readonly roll: string; readonly clip: { readonly id: string; readonly name: string } },
  settings: SettingsFile,
  asked: AskedProfiles,
): Understood {
  const { levels, cameras } = levelsOf(settings, roll, clip, facts);
  const due: Stated<readonly string[]> =
    asked.stated !== null
      ? { value: asked.stated, from: 'command line' }
      : stated<readonly string[]>(levels, (part) => part.profiles, asked.usual);
  const applied: AppliedSetting[] = [{ setting: 'profiles', value: due.value.join(', '), from: due.from }];
  const stills = stillsOf(levels, asked.stills);
  if (stills.from !== 'nobody')
    applied.push({
      setting: 'stills',
      value:
        stills.asked === null
          ? 'none'
          : `${stills.asked.count}, at most ${stills.asked.width} pixels wide, ${stills.asked.bits} bits`,
      from: stills.from,
    });
  const findings: Finding[] =
    cameras.length < 2
      ? []
      : [
          finding(
            'settings-camera-ambiguous',
            `a clip of ${cameras.join(' and of ')}`,
            'one camera of the settings at most',
          ),
        ];
  const camera = cameras.length === 1 ? (cameras[0] ?? null) : null;
  // What is recorded for a display and looked at on it needs no meaning of its values.
  const needsMeaning =
    stills.asked !== null ||
    asked.profiles.some(
      ({ profile }) =>
        due.value.includes(profile.name) && (isMaster(profile) || profile.display !== undefined),
    );
  const of = {
    camera,
    profiles: [...due.value],
    ...(stills.asked === null ? {} : { stills: stills.asked }),
  };
  if (facts === null) return { facts, settings: { ...of, applied }, findings };
  const way = wayOfClip(levels, settings.show?.cdls, { roll, name: clip.name, facts });
  const framed = framedBy(levels, facts);
  append(findings, framed.findings);
  append(applied, framed.applied);
  const time = timingOf(levels, settings.show?.time_zone);
  append(applied, time.applied);
  const texts = pictureTexts({
    levels,
    show: settings.show,
    camera,
    roll,
    facts,
    profiles: asked.profiles.flatMap(({ profile }) => (due.value.includes(profile.name) ? [profile] : [])),
  });
  const seen = {
    ...framed.facts,
    ...(way.way === null ? {} : { way: way.way }),
    ...(time.timing === null ? {} : { timing: time.timing }),
    ...(texts.burnIn === null ? {} : { burnIn: texts.burnIn }),
  };
  append(findings, way.findings);
  append(applied, texts.applied);
  if (!needsMeaning) {
    append(applied, way.applied);
    return { facts: seen, settings: { ...of, applied }, findings };
  }
  const input = stated<InputTransform | null>(levels, (part) => part.input, null);
  const tagged = facts.raw === undefined ? inputOfTags(facts.video.colour) : null;
  const whiteBalance = stated(levels, (part) => part.raw?.white_balance, 'as-shot' as const);
  const exposureStops = stated(levels, (part) => part.raw?.exposure_stops, 0);
  const anchor = stated(levels, (part) => part.raw?.anchor, 'sensor' as const);
  const corrections = stated(levels, (part) => part.raw?.corrections, 'apply' as const);
  const owner = stated(levels, (part) => part.owner, '');
  const comments = stated(levels, (part) => part.comments, '');
  const say = (setting: string, { value, from }: Stated<unknown>): void =>
    void applied.push({ setting, value: written(value), from });
  if (facts.raw === undefined)
    say('input', input.value === null && tagged !== null ? { value: tagged, from: 'tags' } : input);
  else {
    say('raw.white_balance', whiteBalance);
    say('raw.exposure_stops', exposureStops);
    say('raw.anchor', anchor);
    say('raw.corrections', corrections);
    // Chosen before the files were read, when names alone were known.
    const decoder = nearest(levelsOf(settings, roll, null, null).levels, (part) => part.raw?.decoder);
    say('raw.decoder', { value: facts.raw.decoder.name, from: decoder?.said ?? 'nobody' });
  }
  append(applied, way.applied);
  const timeZone = settings.show?.time_zone;
  if (timeZone !== undefined) say('time_zone', { value: timeZone, from: 'show' });
  say('owner', owner);
  say('comments', comments);
  const saidBy = nearest(levels, (part) => part.input)?.said ?? null;
  const interpretation: Interpretation = {
    input: input.value ?? tagged,
    inputFrom: saidBy ?? (tagged === null ? null : 'tags'),
    raw: {
      whiteBalance: whiteBalance.value,
      exposureStops: exposureStops.value,
      anchor: anchor.value,
      corrections: corrections.value,
    },
    ...(timeZone === undefined ? {} : { timeZone }),
    owner: owner.value,
    comments: comments.value,
  };
  return {
    facts: { ...seen, interpretation },
    settings: { ...of, applied },
    findings:
      input.value === null || saidBy === null
        ? findings
        : [...findings, ...contradictions(facts, tagged, input.value, `by the ${saidBy}`)],
  };
}
/** The facts with the frame line that the settings state for the clip. */
function framedBy(
  levels: readonly Level[],
  facts: ClipFacts,
): { readonly facts: ClipFacts; readonly applied: AppliedSetting[]; readonly findings: Finding[] } {
  const said = nearest(levels, (part) => part.frame_line);
  if (said === null) return { facts, applied: [], findings: [] };
  const line = frameLineOf(said.value, facts.video);
  const applied = [{ setting: 'frame_line', value: written(said.value), from: said.said }];
  if (line === null) return { facts, applied, findings: [] };
  if ('code' in line) return { facts, applied, findings: [line] };
  const found = `${frameLineText(line, facts.video)}, by the ${said.said}`;
  return {
    facts: { ...facts, video: { ...facts.video, frameLine: line } },
    applied,
    findings: [finding('frame-line-shown', found, 'what was framed for')],
  };
}

/** What the file says against the settings: its tags, or the chromaticities of its frames. */
function contradictions(
  { exr }: ClipFacts,
  tagged: InputTransform | null,
  stated: InputTransform,
  said: string,
): Finding[] {
  const findings: Finding[] = [];
  const expected = `${inputName(stated)}, ${said}`;
  if (tagged !== null && inputName(stated) !== inputName(tagged))
    findings.push(finding('input-differs-from-tags', `tags of ${inputName(tagged)}`, expected));
  const chromaticities = exr?.chromaticities ?? null;
  const gamut = gamutOfInput(stated);
  if (chromaticities !== null && gamut !== null && !samePrimaries(chromaticities, gamut))
    findings.push(
      finding(
        'input-differs-from-tags',
        `chromaticities of ${gamutOf(chromaticities) ?? 'a space that is not known here'} in the frames (${chromaticitiesText(chromaticities)})`,
        expected,
      ),
    );
  return findings;
}
