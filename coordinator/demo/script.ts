/**
 * What the demo's shoot day holds: day 3 of "The Third Casting", an invented short film about a bell foundry that casts
 * the same bell for the third time. Two cameras, two rates, one of them drop-frame.
 */
import type { TakeWords } from './bell-sound.ts';
import { LOG_INPUT } from './log-frame.ts';
import { bell, clay, type Picture, pour } from './pictures.ts';

export const TITLE = 'The Third Casting';
export const DAY = 'day-03';

export interface DemoClip {
  readonly name: string;
  /** What is to be seen, for people. */
  readonly scene: string;
  readonly picture: Picture;
  readonly rate: string;
  readonly frames: number;
  /** Samples per channel at 48 kHz that fill those frames exactly or to the nearest sample. */
  readonly samples: number;
  /** Label as ffmpeg takes it; `;` for drop-frame. */
  readonly timecode: string;
  readonly codec: 'rdd36' | 'h264';
  /** Frequency of the bell that is heard, Hz. */
  readonly tone: number;
}

/** The scene of `scene.ts`, recorded raw (a folder of frames, and a sound file beside it) or as log (a movie). */
export interface DemoShot
  extends Pick<DemoClip, 'name' | 'scene' | 'rate' | 'frames' | 'samples' | 'timecode' | 'tone'> {
  readonly recorded: 'raw' | 'log';
}

/** A take of the sound recorder: what it heard beside a clip, with a second before it and behind it. */
export interface DemoTake extends Pick<DemoClip, 'scene' | 'rate' | 'timecode' | 'samples' | 'tone'> {
  readonly name: string;
  readonly words: TakeWords;
}

export interface DemoRoll {
  readonly name: string;
  readonly clips: readonly DemoClip[];
  /** Of a roll that has no clips of its own drawing: shots of one scene. */
  readonly shots?: readonly DemoShot[];
  /** Of a roll of the sound recorder. */
  readonly takes?: readonly DemoTake[];
  /** `mhl`: an ASC MHL generation in a folder of manifests. `sums`: a checksum file in the roll, as copying tools leave one. */
  readonly manifest: 'mhl' | 'sums';
  readonly expected: 'ready' | 'held';
}

const FILM = '24000/1001';
const HIGH = '60000/1001';
const film = { rate: FILM, frames: 36, samples: 72_072, codec: 'rdd36' } as const;
const high = { rate: HIGH, frames: 60, samples: 48_048, codec: 'h264' } as const;

/** 2002 samples a frame. Both cameras have the timecode of one clock. */
const yard = { rate: FILM, frames: 12, samples: 24_024, timecode: '19:04:30:00', tone: 165 } as const;

const dawn = ['141c28', '141c28', 'd8a06a', '6f7f9a'];
const dusk = ['1a1420', '3c2634', '9a5a48', '2a2c44'];
const white = ['fff0b0', 'ff8a1c', '8a2204', '120402'];
const red = ['ffb060', 'd83a10', '5a1006', '0c0202'];
const earth = ['2a1a10', '7a5230', 'c89860', '3a2616'];

const beside = { rate: FILM, samples: film.samples } as const;
const words = { tape: 'S001', tracks: ['Mix L', 'Mix R'] } as const;

export const rolls: readonly DemoRoll[] = [
  {
    name: 'A001',
    manifest: 'mhl',
    expected: 'ready',
    clips: [
      {
        ...film,
        name: 'A001C001.mov',
        scene: 'the second bell, at dawn',
        picture: bell(FILM, dawn, 1.6),
        timecode: '06:41:10:03',
        tone: 196,
      },
      {
        ...film,
        name: 'A001C002.mov',
        scene: 'sweeping the clay',
        picture: clay(FILM, earth),
        timecode: '06:58:44:20',
        tone: 147,
      },
    ],
  },
  {
    name: 'A002',
    manifest: 'mhl',
    expected: 'ready',
    clips: [
      {
        ...film,
        name: 'A002C001.mov',
        scene: 'the furnace is tapped',
        picture: pour(FILM, white, 7),
        timecode: '11:20:00:00',
        tone: 131,
      },
    ],
  },
  {
    name: 'A003',
    manifest: 'mhl',
    expected: 'ready',
    clips: [],
    shots: [{ ...yard, name: 'A003C001', scene: 'the yard at dusk, raw', recorded: 'raw' }],
  },
  {
    name: 'B003',
    manifest: 'mhl',
    expected: 'ready',
    clips: [],
    shots: [{ ...yard, name: 'B003C001.mov', scene: 'the yard at dusk, log', recorded: 'log' }],
  },
  {
    name: 'B001',
    manifest: 'sums',
    expected: 'ready',
    clips: [
      {
        ...high,
        name: 'B001C001.mov',
        scene: 'the pour, slow motion',
        picture: pour(HIGH, red, 19),
        timecode: '11:20:02;14',
        tone: 262,
      },
    ],
  },
  {
    name: 'B002',
    manifest: 'sums',
    expected: 'held',
    clips: [
      {
        ...high,
        name: 'B002C001.mov',
        scene: 'the third bell, at dusk',
        picture: bell(HIGH, dusk, 1.1),
        timecode: '18:59:59;56',
        tone: 220,
      },
    ],
  },
  {
    name: 'S001',
    manifest: 'mhl',
    expected: 'ready',
    clips: [],
    takes: [
      {
        ...beside,
        name: '7A-T02.wav',
        scene: 'the second bell, as the boom heard it',
        timecode: '06:41:10:03',
        tone: 196,
        words: { ...words, scene: '7A', take: '2', note: 'the bell rings true' },
      },
      {
        ...beside,
        name: '9-T01.wav',
        scene: 'the furnace, as the boom heard it',
        timecode: '11:20:00:00',
        tone: 131,
        words: { ...words, scene: '9', take: '1', note: 'roar of the furnace' },
      },
    ],
  },
];

/** What the demo makes: proxies as the built-in profile of that name has them, with the mix of the sound recorder where one ran. */
export const PROFILE = `# ${TITLE}: proxies with production sound, and the camera's own behind it.
version: 1
name: foundry-proxy
summary: Editorial VC-3 with the mix of the sound recorder
extends: editorial-vc3
audio: { production_sound: { carry: mix, clip_tracks: behind } }
`;

/** What the settings of the show say: the log roll has no tags that name its curve, and came with the CDL of the day. */
export const SETTINGS = `# ${TITLE}, ${DAY}: what no camera file says.
version: 1
rolls:
  # Recorded in log: by which curve and gamut, and the ASC CDL that the day was watched with.
  B003:
    input: { name: ${LOG_INPUT} }
    cdl: { slope: [1.03, 1, 0.965], offset: [0, 0, 0], power: [1, 1, 1], saturation: 1.1 }
`;

/** The copy that was damaged on purpose: one bit of one byte, in the middle of a file. */
export const DAMAGED = { copy: 'drive-c', roll: 'B002', clip: 'B002C001.mov' } as const;
/** The working copy comes first. */
export const COPIES = ['drive-a', 'drive-b', 'drive-c'] as const;
