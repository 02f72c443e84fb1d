/**
 * From what was measured to what doctor says: one line per thing, with found, expected and, where it differs, the
 * remedy. Pure. A thing that could not be measured is never taken for good.
 */
import { describeFinding, type Finding, finding, blocks } from '../../findings/finding.ts';
import type { FoundTool } from '../../process/locate.ts';
import {
  type AbilityNeed,
  abilityKinds,
  type AllAbilities,
  type MachineFacts,
  type Sought,
  type StoreProgram,
  type VolumeFacts,
} from './facts.ts';

const lineStates = ['good', 'note', 'lacking'] as const;
export interface DoctorLine {
  readonly what: string;
  /** `lacking`: required and not there. `note`: works, with something to know. */
  readonly state: (typeof lineStates)[number];
  readonly found: string;
  readonly expected: string;
  readonly code: string | null;
  readonly remedy: string | null;
}

export const OLDEST_NODE = { major: 20, minor: 19 } as const;
const RECOMMENDED_FFMPEG = { major: 7, minor: 1 } as const;
/** BullMQ 6, recommendedMinimumVersion in its classes/redis-connection. Valkey began at 7.2. */
const OLDEST_REDIS = { major: 6, minor: 2 } as const;
const GIB = 1024 ** 3;
/** About an hour of 1920-wide VC-3 at its lightest, 36 Mbit/s at 24 frames/s (value from memory). */
const LITTLE_ROOM_BYTES = 16 * GIB;
const LITTLE_MEMORY_BYTES = 2 * GIB;
/** A night writes a few files per clip; 10 000 is a large day with its records. */
const FEW_FILES = 10_000;

type Version = { readonly major: number; readonly minor: number };
const older = (one: Version, other: Version): boolean =>
  one.major < other.major || (one.major === other.major && one.minor < other.minor);
const parseVersion = (text: string): Version | null => {
  const match = /(\d+)\.(\d+)/.exec(text);
  return match === null ? null : { major: Number(match[1]), minor: Number(match[2]) };
};
const gib = (bytes: number): string => `${(bytes / GIB).toFixed(1)} GiB`;

const good = (what: string, found: string, expected: string): DoctorLine => ({
  what,
  state: 'good',
  found,
  expected,
  code: null,
  remedy: null,
});
const differs = (what: string, item: Finding): DoctorLine => ({
  what,
  state: blocks(item) ? 'lacking' : 'note',
  found: item.found,
  expected: item.expected,
  code: item.code,
  remedy: describeFinding(item).remedy,
});

function nodeLine(node: string): DoctorLine {
  const expected = `${OLDEST_NODE.major}.${OLDEST_NODE.minor} or newer`;
  const version = parseVersion(node);
  return version === null || older(version, OLDEST_NODE)
    ? differs('Node', finding('node-too-old', node, expected))
    : good('Node', node, expected);
}

const RULES: Readonly<Record<string, string>> = {
  option: 'named by option',
  environment: 'named by environment variable',
  path: 'on PATH',
  package: 'from the optional package',
};
const placeOf = (tool: { path: string; from: string; version: string }): string =>
  `${tool.version}, ${tool.path} (${RULES[tool.from] ?? tool.from})`;

function toolLines(what: string, tool: Sought<FoundTool>): DoctorLine[] {
  if ('findings' in tool) return tool.findings.map((item) => differs(what, item));
  const expected = '5.1 or newer, 7.1 recommended';
  const { found } = tool;
  const dated = found.release !== null && older(found.release, RECOMMENDED_FFMPEG);
  return [
    dated
      ? differs(what, finding('tool-not-recommended', placeOf(found), expected))
      : good(what, placeOf(found), expected),
    ...found.passedOver.map((item) => differs(what, finding('tool-passed-over', item.found, item.expected))),
  ];
}

function abilityLines(abilities: Sought<AllAbilities> | null, needs: readonly AbilityNeed[]): DoctorLine[] {
  // Without ffmpeg its own line says all there is to say.
  if (abilities === null) return [];
  if ('findings' in abilities) return abilities.findings.map((item) => differs('abilities of ffmpeg', item));
  const sets = {
    encoder: abilities.found.encoders,
    decoder: abilities.found.decoders,
    filter: abilities.found.filters,
  };
  return abilityKinds.flatMap((kind) => {
    const ofKind = needs.filter((need) => need.kind === kind);
    const present = ofKind.filter((need) => sets[kind].has(need.name)).map((need) => need.name);
    const absent = ofKind.filter((need) => !sets[kind].has(need.name));
    return [
      ...(present.length === 0
        ? []
        : [
            good(
              `${kind}s`,
              present.join(', '),
              present.length === ofKind.length ? 'all that is needed' : `${ofKind.length} of them`,
            ),
          ]),
      ...absent.map((need) =>
        differs(
          `${kind} ${need.name}`,
          finding(
            need.required ? 'profile-tool-lacks' : 'decoder-missing',
            'not in this ffmpeg',
            `needed for ${need.neededFor.join(', ')}`,
          ),
        ),
      ),
    ];
  });
}

function storeLine(store: Sought<StoreProgram>): DoctorLine[] {
  const what = 'redis-server or valkey-server';
  if ('findings' in store) return store.findings.map((item) => differs(what, item));
  const expected = `Redis ${OLDEST_REDIS.major}.${OLDEST_REDIS.minor} or newer, or any Valkey`;
  const version = parseVersion(store.found.version);
  const reported = `${store.found.product} ${placeOf(store.found)}`;
  if (store.found.product === 'Redis' && (version === null || older(version, OLDEST_REDIS)))
    return [differs(what, finding('queue-too-old', reported, expected))];
  return [good(what, reported, expected)];
}

const ROLES = {
  delivery: 'delivery folder',
  work: 'work folder',
  here: 'this folder',
  scratch: 'folder for temporary files',
} as const;

function volumeLines(volume: VolumeFacts): DoctorLine[] {
  const what = ROLES[volume.role];
  const place =
    volume.measured === volume.folder
      ? volume.folder
      : `${volume.folder} (not there yet; measured at ${volume.measured})`;
  if (volume.error !== null || volume.freeBytes === null)
    return [
      differs(
        what,
        finding(
          'folder-unusable',
          `${place}: ${volume.error ?? 'free space unknown'}`,
          'a folder that can be written',
        ),
      ),
    ];
  // What lies here is not written to unless it is named.
  if (!volume.writable && volume.role !== 'here')
    return [
      differs(
        what,
        finding(
          'folder-unusable',
          `${place}: may not be written by this user`,
          'a folder that can be written',
        ),
      ),
    ];
  const found = `${gib(volume.freeBytes)} free, ${place}`;
  const expected = 'what `rushlight plan` says the night will write';
  if (volume.freeBytes < LITTLE_ROOM_BYTES) return [differs(what, finding('space-low', found, expected))];
  if (volume.freeFiles !== null && volume.freeFiles < FEW_FILES)
    return [
      differs(
        what,
        finding('space-low', `room for ${volume.freeFiles} more files, ${place}`, `room for ${FEW_FILES}`),
      ),
    ];
  return [good(what, found, expected)];
}

function sizeLines(facts: MachineFacts): DoctorLine[] {
  const cores =
    facts.cores < 2
      ? differs('cores', finding('machine-small', String(facts.cores), '2 or more'))
      : good('cores', String(facts.cores), '2 or more');
  const memory = gib(facts.memoryBytes);
  const enough = `${gib(LITTLE_MEMORY_BYTES)} or more`;
  return [
    cores,
    facts.memoryBytes < LITTLE_MEMORY_BYTES
      ? differs('memory', finding('machine-small', memory, enough))
      : good('memory', memory, enough),
  ];
}

/** Masters are made frame by frame in this program's own kernels; raw frames that ours cannot read go to LibRaw. */
function masterLines({ kernels, libraw }: MachineFacts): DoctorLine[] {
  const broken = kernels.filter(({ error }) => error !== null);
  return [
    broken.length === 0
      ? good('kernels', kernels.map(({ name }) => name).join(', '), 'all that masters are made with')
      : differs(
          'kernels',
          finding(
            'kernel-missing',
            broken.map(({ name, error }) => `${name}: ${error}`).join('; '),
            kernels.map(({ name }) => name).join(', '),
          ),
        ),
    libraw === null
      ? differs('LibRaw', finding('raw-reader-missing', 'not on PATH', 'unprocessed_raw of LibRaw'))
      : good('LibRaw', libraw, 'any version'),
  ];
}

/** What the profiles at hand need besides ffmpeg: `font`: one burns text into the picture; `masters`: one is a master. */
export interface ProfileNeeds {
  readonly abilities: readonly AbilityNeed[];
  readonly font: boolean;
  readonly masters: boolean;
}

export function judge(facts: MachineFacts, needs: ProfileNeeds): DoctorLine[] {
  const queue = facts.queue;
  const expectedFont = 'the font of burnt-in text';
  return [
    nodeLine(facts.node),
    ...toolLines('ffmpeg', facts.ffmpeg),
    ...toolLines('ffprobe', facts.ffprobe),
    ...abilityLines(facts.abilities, needs.abilities),
    ...(needs.masters ? masterLines(facts) : []),
    ...(facts.store === null ? [] : storeLine(facts.store)),
    ...(queue === null
      ? []
      : queue.findings.length === 0
        ? [good('queue', queue.address, 'an answer')]
        : queue.findings.map((item) => differs('queue', item))),
    ...(needs.font
      ? [
          facts.font === null
            ? differs('font', finding('font-missing', 'not there', expectedFont))
            : good('font', facts.font, expectedFont),
        ]
      : []),
    ...sizeLines(facts),
    ...facts.volumes.flatMap(volumeLines),
  ];
}

export function isFit(lines: readonly DoctorLine[]): boolean {
  return lines.every((line) => line.state !== 'lacking');
}
