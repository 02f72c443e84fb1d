/** The text of a settings file for a day, from what its clips say of themselves; what nobody can measure stands there as a remark, to be decided. Pure. */
import { printable } from '../../files/names.ts';
import { type InputTransform, inputOfTags } from '../../media/colour/input.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { type CameraIdentity, cameraIdentity } from './camera.ts';
import type { SurveyedRoll } from './unmatched.ts';

interface SeenClip {
  readonly roll: string;
  readonly name: string;
  readonly facts: ClipFacts;
}

interface SeenCamera {
  readonly name: string;
  /** Flow of YAML. */
  readonly knownBy: string;
  readonly clips: readonly SeenClip[];
}

/** Double quotes of YAML take what JSON writes; what is no letter is escaped. */
const quoted = (text: string): string =>
  JSON.stringify(text).replace(/[\u007f-\uffff]/g, (letter) =>
    /[\p{L}\p{N}]/u.test(letter) ? letter : `\\u${letter.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
/** One line of a remark. */
const remark = (text: string): string => `# ${printable(text).replace(/\s+/g, ' ')}`;

const isSaid = (identity: CameraIdentity): boolean => Object.values(identity).some((value) => value !== null);

/** Roll names of one camera: its letters and a number of three digits (common practice, no source). */
const ROLL = /^([A-Za-z]{1,2})\d{3}$/;

function grouped<Item>(items: readonly Item[], keyOf: (item: Item) => string): Map<string, Item[]> {
  const groups = new Map<string, Item[]>();
  for (const item of items) groups.set(keyOf(item), [...(groups.get(keyOf(item)) ?? []), item]);
  return groups;
}

/** Names that reports can carry, each once. */
function nameOf(wanted: string, taken: Set<string>): string {
  const plain =
    wanted
      .replace(/[/\p{Cc}\s]+/gu, ' ')
      .trim()
      .slice(0, 50)
      .trim() || 'camera';
  let name = plain;
  for (let number = 2; taken.has(name); number += 1) name = `${plain} ${number}`;
  taken.add(name);
  return name;
}

/** By what files say of their camera; where they say nothing, by the rolls, unless others of them do. */
function camerasOf(clips: readonly SeenClip[]): { cameras: SeenCamera[]; left: SeenClip[] } {
  const said = clips.filter(({ facts }) => isSaid(cameraIdentity(facts)));
  const silent = clips.filter((clip) => !said.includes(clip));
  const taken = new Set<string>();
  const cameras: SeenCamera[] = [];
  for (const group of grouped(said, ({ facts }) =>
    JSON.stringify(cameraIdentity(facts)).toLowerCase(),
  ).values()) {
    const [first] = group as [SeenClip];
    const identity = cameraIdentity(first.facts);
    const letters = new Set(group.map(({ roll }) => ROLL.exec(roll)?.[1] ?? ''));
    const [letter = ''] = letters;
    const known = Object.entries(identity).flatMap(([field, value]) =>
      value === null ? [] : [`${field}: ${quoted(value)}`],
    );
    cameras.push({
      name: nameOf(letters.size === 1 && letter !== '' ? letter : (identity.model ?? 'camera'), taken),
      knownBy: `{ ${known.join(', ')} }`,
      clips: group,
    });
  }
  const mixed = new Set(said.map(({ roll }) => roll));
  const letterOf = (roll: string): string => ROLL.exec(roll)?.[1] ?? '';
  const mixedLetters = new Set([...mixed].map(letterOf));
  const alone = silent.filter(({ roll }) => !mixed.has(roll));
  for (const [letter, group] of grouped(alone, ({ roll }) => letterOf(roll) || roll)) {
    const rolls = [...new Set(group.map(({ roll }) => roll))];
    // A pattern that would take in the rolls of another camera says too much.
    const isPattern = rolls.every((roll) => ROLL.test(roll)) && !mixedLetters.has(letter);
    const patterns = isPattern ? [`${letter}###`] : rolls;
    cameras.push({
      name: nameOf(letter, taken),
      knownBy: `{ rolls: [${patterns.map(quoted).join(', ')}] }`,
      clips: group,
    });
  }
  return { cameras, left: silent.filter(({ roll }) => mixed.has(roll)) };
}

const tag = (value: string | null): string => value ?? 'untagged';
const rateText = ({ num, den }: { readonly num: number; readonly den: number }): string =>
  den === 1 ? String(num) : `${num}/${den}`;

/** What a clip is, as far as it matters to settings. */
function formOf({ kind, container, video, raw, audio }: ClipFacts): string {
  const { codec, pixelFormat, width, height, rate, colour } = video;
  const picture = `${width}x${height} at ${rateText(rate)}`;
  const sound =
    audio.length === 0 ? '' : `, ${audio.length} audio ${audio.length === 1 ? 'track' : 'tracks'}`;
  if (raw !== undefined) return `raw frames (${container}), ${picture}, read by ${raw.decoder.name}`;
  // ffprobe names every form that one reader takes; the first is enough for people.
  const form = container.split(',')[0] ?? container;
  const { primaries, transfer, matrix } = colour;
  const tags = [primaries, transfer, matrix].every((one) => one === null)
    ? 'no colour tags'
    : `tags ${tag(primaries)} ${tag(transfer)} ${tag(matrix)}`;
  return `${kind === 'sequence' ? `${form} frames` : `${codec} in ${form}`}, ${pixelFormat}, ${picture}, ${tags}${sound}`;
}

const named = (input: InputTransform | null): string | null =>
  input !== null && 'name' in input ? input.name : null;

/** What must be said, and what is only to be looked at. */
function decisions(clips: readonly SeenClip[]): string[] {
  const lines: string[] = [];
  const raw = clips.filter(({ facts }) => facts.raw !== undefined);
  const coded = clips.filter(({ facts }) => facts.raw === undefined);
  if (raw.length > 0)
    lines.push(
      remark('Raw frames: masters of them are for grading, proxies show them through the colour way.'),
      '# profiles: [editorial-vc3, grading-master-exr]',
      '# raw: { white_balance: as-shot, exposure_stops: 0 }',
    );
  const untagged = coded.filter(({ facts }) => inputOfTags(facts.video.colour) === null);
  if (untagged.length > 0)
    lines.push(
      remark(
        `Not known, and asked for where a master is made: what the code values mean (${untagged.length} of ${clips.length} clips; their tags leave it open).`,
      ),
      '# input: { name: slog3-sgamut3cine }',
    );
  const tags = new Set(coded.flatMap(({ facts }) => named(inputOfTags(facts.video.colour)) ?? []));
  if (tags.size > 0)
    lines.push(
      remark(
        `Tagged as ${[...tags].join(', ')}. Cameras often tag log pictures so: state \`input\` if these are log.`,
      ),
      ...(untagged.length > 0 ? [] : ['# input: { name: slog3-sgamut3cine }']),
    );
  const without = (what: string, test: (facts: ClipFacts) => boolean): string[] => {
    const found = clips.filter(({ facts }) => test(facts));
    return found.length === 0
      ? []
      : [
          remark(
            `${found.length} of ${clips.length} clips without ${what}: ${found
              .slice(0, 5)
              .map(({ roll, name }) => `${roll} ${name}`)
              .join(', ')}${found.length > 5 ? ', …' : ''}`,
          ),
        ];
  };
  return [
    ...lines,
    ...without('timecode', ({ timecode }) => timecode === null),
    ...(clips.some(({ facts }) => facts.timecode === null) ? ['# timecode_missing: time-of-day'] : []),
    ...without('a reel name', ({ reel }) => reel === null),
  ];
}

const indented = (lines: readonly string[], by: number): string[] =>
  lines.map((line) => `${' '.repeat(by)}${line}`);

function cameraLines({ name, knownBy, clips }: SeenCamera): string[] {
  const rolls = [...new Set(clips.map(({ roll }) => roll))];
  const forms = grouped(clips, ({ facts }) => formOf(facts));
  return [
    remark(`${clips.length} ${clips.length === 1 ? 'clip' : 'clips'} in ${rolls.join(', ')}`),
    ...[...forms].map(([form, of]) => remark(`  ${of.length}: ${form}`)),
    `- name: ${quoted(name)}`,
    ...indented([`known_by: ${knownBy}`, ...decisions(clips)], 2),
  ];
}

/** `schema`: path of the JSON Schema of settings, for editors that complete by it. `notes`: what was found on the way, in words. */
export function newSettings(
  day: string,
  rolls: readonly SurveyedRoll[],
  { schema, notes }: { readonly schema: string; readonly notes: readonly string[] },
): string {
  const clips = rolls.flatMap(({ roll, clips: of }) =>
    of.flatMap(({ clip, facts }) => (facts === null ? [] : [{ roll, name: clip.name, facts }])),
  );
  const unmeasured = rolls.flatMap(({ roll, clips: of }) =>
    of.filter(({ facts }) => facts === null).map(({ clip }) => `${roll} ${clip.name}`),
  );
  const { cameras, left } = camerasOf(clips);
  return `${[
    remark(
      `Settings for ${day}, written from what its clips say of themselves. What begins with # is for you to decide.`,
    ),
    remark(
      'Every field with its meaning: docs/settings.md. Check this file: rushlight settings lint <file> --day <day>',
    ),
    remark(`yaml-language-server: $schema=${schema}`),
    'version: 1',
    'show:',
    ...indented(
      [
        "owner: ''",
        remark('In which zone the camera clocks run, for dates that do not say it.'),
        '# time_zone: Europe/Berlin',
        remark('Rate of the project, and what becomes of clips that were recorded faster.'),
        '# project_rate: 24000/1001',
        '# off_speed: project-rate',
        '# profiles: [editorial-vc3, review-h264]',
        remark('How pictures are to look, where they are viewed; masters say it and bake none of it.'),
        '# exposure: 0',
        '# cdls: { path: cdls, space: acescct }',
        '# look: { file: show.cube, from: acescct, to: bt1886-bt709 }',
        '# output: aces-2',
      ],
      2,
    ),
    ...(cameras.length === 0 ? [remark('No clip could be measured.')] : ['cameras:']),
    ...cameras.flatMap((camera) => indented(cameraLines(camera), 2)),
    ...(left.length === 0
      ? []
      : [
          remark(
            `${left.length} clips in rolls of several cameras do not say theirs: state what they need below \`rolls\`: ${left.map(({ roll, name }) => `${roll} ${name}`).join(', ')}`,
          ),
        ]),
    ...(unmeasured.length === 0 ? [] : [remark(`Not measured: ${unmeasured.join(', ')}`)]),
    ...notes.map((note) => remark(`Found: ${note}`)),
    '# rolls:',
    ...rolls.map(({ roll }) => `#   ${quoted(roll)}: {}`),
  ].join('\n')}\n`;
}
