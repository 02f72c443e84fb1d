/** "The Third Casting", a day with everything that makes relinking hard: drop-frame, off-speed, spanned, numbered frames, over midnight. */
import type { DayRoll } from '../../handover/day.ts';
import type { Clip } from '../../ledger/clip.ts';
import { ratio } from '../../media/time/rate.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { audioFor, clipFacts, clipNamed } from './facts.ts';
import { type ModelClip, modelRoll } from './day-model.ts';

const NTSC = { num: 30_000, den: 1001 };
const PROXY = 'editorial-vc3';
const MASTER = 'grading-master-exr';

/** What a master needs to know of log pictures, as settings state it. */
const log: Pick<ReturnType<typeof clipFacts>, 'interpretation'> = {
  interpretation: {
    input: { name: 'slog3-sgamut3cine' },
    inputFrom: 'camera',
    raw: { whiteBalance: 'as-shot', exposureStops: 0, anchor: 'sensor' },
    owner: '',
    comments: '',
  },
};

/** Drop-frame over the end of a minute that is no tenth, and over midnight. */
const dropFrame = (name: string, label: string, frames: number): ModelClip => ({
  clip: clipNamed(name),
  facts: clipFacts({
    reel: 'A001',
    audio: [audioFor(frames, NTSC)],
    timecode: parseTimecode(label, NTSC),
    video: { frames, rate: NTSC },
    ...log,
  }),
  profiles: [PROXY, MASTER],
});

/** Recorded at 48 frames a second for a project of 24; its reel has more than eight characters. */
const offSpeed = (name: string, label: string, frames: number): ModelClip => ({
  clip: clipNamed(name),
  facts: clipFacts({
    reel: 'B001C001_310304_R2CD',
    timecode: parseTimecode(label, 48),
    audio: [],
    timing: { projectRate: ratio(24), offSpeed: 'project-rate' },
    video: { frames, rate: { num: 48, den: 1 } },
    ...log,
  }),
  profiles: [PROXY, MASTER],
});

const spannedClip: Clip = {
  ...clipNamed('C001C001'),
  place: {
    kind: 'spanned',
    parts: [
      { file: 'C001C001_001.mov', bytes: 1, checksum: 'xxh3:00' },
      { file: 'C001C001_002.mov', bytes: 1, checksum: 'xxh3:01' },
      { file: 'C001C001_003.mov', bytes: 1, checksum: 'xxh3:02' },
    ],
    namedBy: 'suffix',
    continuesBy: 'timecode',
  },
};
const PARTS = [40, 40, 16] as const;

const spanned = (): ModelClip => ({
  clip: spannedClip,
  facts: clipFacts({
    reel: null,
    audio: [],
    timecode: parseTimecode('10:00:00:00', 24),
    video: { frames: 96, rate: ratio(24) },
    parts: PARTS.map((frames, at) => ({
      file: `C001C001_00${at + 1}.mov`,
      frames,
      firstTime: 0,
      timeBase: { num: 1, den: 24 },
      timecode: null,
      audio: [],
    })),
    ...log,
  }),
  profiles: [PROXY, MASTER],
});

const numbered = (): ModelClip => ({
  clip: {
    ...clipNamed('C001C002'),
    place: {
      kind: 'sequence',
      folder: 'C001C002',
      prefix: 'C001C002_',
      suffix: '.dpx',
      padding: 6,
      first: 900,
      count: 50,
      statedRate: null,
    },
  },
  facts: clipFacts({
    kind: 'sequence',
    container: 'dpx',
    reel: null,
    audio: [],
    timecode: parseTimecode('23:59:59:00', 24),
    video: { frames: 50, rate: ratio(24), codec: 'dpx', pixelFormat: 'gbrp10be', width: 1920, height: 1080 },
    firstNumber: 900,
    ...log,
  }),
  profiles: [MASTER],
});

export async function mixedDay(): Promise<DayRoll[]> {
  return [
    await modelRoll('A001', [
      dropFrame('A001C001', '01:00:50;00', 600),
      dropFrame('A001C002', '23:59:55;00', 400),
    ]),
    await modelRoll('B001', [
      offSpeed('B001C001', '10:00:00:10', 480),
      offSpeed('B001C002', '23:59:59:40', 96),
    ]),
    await modelRoll('C001', [spanned(), numbered()]),
  ];
}
