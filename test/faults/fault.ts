/** The faults that an encode can have, each drawn for a clip and a deliverable as an operation of `ffmpeg-with-a-fault.mjs`. */
import { basename } from 'node:path';
import type { FindingCode } from '../../findings/registry.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Profile } from '../../profiles/schema.ts';
import { formatRatio, timecodeBase } from '../../media/time/rate.ts';
import { graded, type GradedName, gradedNames, isClaimed } from './graded.ts';
import type { Operation, Stage } from './operation.ts';
import type { Random } from './random.ts';

/** What a fault is drawn for. */
export interface Situation {
  readonly facts: ClipFacts;
  readonly profile: Profile;
  readonly outcome: Outcome;
  /** Another clip of the same length, rate, raster and audio; null when there is none. */
  readonly otherClip: string | null;
}

/** null: there is no such fault here. */
type Draw = (situation: Situation, random: Random) => Operation | null;

/** 0, 1, …, count - 1. */
const inOrder = (count: number): number[] => Array.from({ length: count }, (_, index) => index);
const clamped = (value: number, count: number): number => Math.min(count - 1, Math.max(0, value));

/** A fault of the order of pictures: `mapOf` gives, for each picture that comes out, which one is shown. null: too short for it. */
function order(stages: readonly Stage[], mapOf: (count: number, random: Random) => number[] | null): Draw {
  return ({ profile, outcome }, random) => {
    const stage = random.of(stages);
    const map = mapOf(outcome.frames, random);
    return map === null ? null : { do: 'frames', stage, profile: profile.name, map, count: outcome.frames };
  };
}

const everywhere = ['decoder', 'encoder', 'file'] as const;
/** A decoder that gives intact packets as pictures in another order deceives fingerprints and deliverable alike: nothing here promises to find that (README, Limits). */
const behind = ['encoder', 'file'] as const;

/** Filters on the picture. Of a fault behind the decoder every deliverable is hit; the profile says what the picture is there. */
function filtered(
  stages: readonly Stage[],
  filtersOf: (situation: Situation, random: Random, stage: Stage) => string | null,
  retag = true,
): Draw {
  return (situation, random) => {
    const stage = random.of(stages);
    const filters = filtersOf(situation, random, stage);
    return filters === null ? null : { do: 'filter', stage, profile: situation.profile.name, filters, retag };
  };
}

const SCALER = 'flags=bicubic+accurate_rnd+full_chroma_int+full_chroma_inp+bitexact';

/** Levels of black: 16 of 8 bits, or 0 in full range. */
function blackAt(situation: Situation, stage: Stage, when: string): string | null {
  const { colour, pixelFormat } = stage === 'decoder' ? situation.facts.video : situation.outcome;
  if (!pixelFormat.startsWith('yuv')) return null;
  const chroma = '(maxval+minval)/2';
  return `lutyuv=y=${colour.range === 'full' ? '0' : 'minval'}:u=${chroma}:v=${chroma}:enable='${when}'`;
}

/** The same levels read as the other range and written as this one. */
function otherLevels({ outcome: { colour } }: Situation): string {
  const [from, to] = colour.range === 'full' ? ['full', 'limited'] : ['limited', 'full'];
  return `scale=${SCALER}:in_range=${from}:out_range=${to}`;
}

/** Names of matrices as the scaler has them. */
const scalerMatrix = (name: string | null): string => (name === 'bt601' ? 'smpte170m' : (name ?? 'bt709'));

function otherMatrix({ outcome: { colour } }: Situation, random: Random): string {
  const range = colour.range ?? 'limited';
  const to = random.of(
    ['bt709', 'smpte170m', 'bt2020'].filter((name) => name !== scalerMatrix(colour.matrix)),
  );
  return `scale=${SCALER}:in_range=${range}:out_range=${range}:in_color_matrix=${scalerMatrix(colour.matrix)}:out_color_matrix=${to}`;
}

const otherProfile: Readonly<Record<string, readonly string[]>> = {
  dnxhr_lb: ['dnxhr_sq', 'dnxhr_hq'],
  dnxhr_sq: ['dnxhr_lb', 'dnxhr_hq'],
  dnxhr_hq: ['dnxhr_sq'],
  proxy: ['lt', 'standard'],
  lt: ['proxy'],
  standard: ['proxy', 'hq'],
};

function stereoTrack({ outcome }: Situation, random: Random): number | null {
  const stereo = outcome.audio.flatMap((track, index) => (track.channels === 2 ? [index] : []));
  return stereo.length === 0 ? null : random.of(stereo);
}

/** Sample formats are converted on both sides, since no conversion comes by itself in the night's command. */
function onAudio(
  filtersOf: (situation: Situation, track: number, random: Random) => string,
  trackOf: (situation: Situation, random: Random) => number | null = ({ outcome }, random) =>
    outcome.audio.length === 0 ? null : random.below(outcome.audio.length),
): Draw {
  return (situation, random) => {
    const track = trackOf(situation, random);
    return track === null
      ? null
      : {
          do: 'audio',
          stage: random.of(behind),
          profile: situation.profile.name,
          track,
          filters: `aresample,${filtersOf(situation, track, random)},aresample`,
        };
  };
}

/** In front of the scaler what lies everywhere and in every frame is proved against the source; a place is met by chance. */
const inFrontOfScaler: ReadonlySet<GradedName> = new Set<GradedName>([
  'mixed-with-the-frame-before',
  'chroma-exchanged',
  'weaker-colours',
  'brightness',
  'contrast',
]);

/** A fault that comes in sizes, in one frame or in all, most often as large as is promised. */
function sized(name: GradedName): Draw {
  return ({ facts, profile, outcome }, random) => {
    const stage = random.of(['encoder', 'encoder', 'encoder', 'scaler', 'file'] as const);
    const codec = outcome.codec;
    if (codec !== 'vc3' && codec !== 'rdd36' && codec !== 'h264') return null;
    if (stage === 'scaler' && !inFrontOfScaler.has(name)) return null;
    const scope = outcome.frames < 2 ? 'all' : random.of(['one', 'all'] as const);
    const { strengths, filters } = graded[name];
    const claimed = (strength: number): boolean =>
      stage === 'file' || isClaimed(name, codec, strength, stage === 'scaler' ? 'one' : scope);
    const enough = strengths.filter(claimed);
    const strength = enough.length === 0 || random.below(8) === 0 ? random.of(strengths) : random.of(enough);
    const { width, height, pixelFormat } = stage === 'scaler' ? facts.video : outcome;
    const spot = {
      across: random.below(1000) / 999,
      down: random.below(1000) / 999,
      frame: scope === 'all' ? null : random.between(1, outcome.frames - 1),
    };
    return {
      do: 'filter',
      stage,
      profile: profile.name,
      filters: filters(strength, { width, height, pixelFormat }, spot),
      retag: true,
      claimed: claimed(strength),
    };
  };
}

const ofSizes = Object.fromEntries(gradedNames.map((name) => [name, sized(name)])) as Record<
  GradedName,
  Draw
>;

/** By name, so that a table of them is complete. */
export const faults = {
  ...ofSizes,
  'frame-dropped': order(everywhere, (count, random) => {
    const lost = random.below(count);
    return count < 2 ? null : inOrder(count).filter((index) => index !== lost);
  }),
  'frame-repeated': order(everywhere, (count, random) => {
    const twice = random.below(count);
    return inOrder(count).flatMap((index) => (index === twice ? [index, index] : [index]));
  }),
  'one-dropped-another-repeated': order(behind, (count, random) => {
    if (count < 3) return null;
    const [lost, twice] = random.shuffled(inOrder(count)) as [number, number];
    return inOrder(count).flatMap((index) =>
      index === lost ? [] : index === twice ? [index, index] : [index],
    );
  }),
  'two-swapped': order(behind, (count, random) => {
    if (count < 2) return null;
    const one = random.below(count - 1);
    // Neighbours as often as any two.
    const other = random.below(2) === 0 ? one + 1 : random.between(one + 1, count - 1);
    return inOrder(count).map((index) => (index === one ? other : index === other ? one : index));
  }),
  'all-shifted': order(behind, (count, random) => {
    const by = random.of([1, -1]);
    return inOrder(count).map((index) => clamped(index + by, count));
  }),
  'shifted-from-a-frame': order(behind, (count, random) => {
    if (count < 3) return null;
    const from = random.between(1, count - 2);
    const by = random.of([-1, 1, -2, 2, -5]);
    return inOrder(count).map((index) => (index < from ? index : clamped(index + by, count)));
  }),
  'ten-frozen': order(behind, (count, random) => {
    if (count < 12) return null;
    const from = random.below(count - 10);
    return inOrder(count).map((index) => (index > from && index < from + 10 ? from : index));
  }),
  'frame-black': filtered(behind, (situation, random, stage) =>
    blackAt(situation, stage, `eq(n,${random.below(situation.outcome.frames)})`),
  ),
  'frame-of-another-clip': ({ profile, outcome, otherClip }, random) =>
    otherClip === null
      ? null
      : {
          do: 'other-clip',
          stage: random.of(behind),
          profile: profile.name,
          clip: otherClip,
          at: random.below(outcome.frames),
        },
  'wrong-clip': ({ profile, otherClip }, random) =>
    otherClip === null
      ? null
      : { do: 'other-clip', stage: random.of(everywhere), profile: profile.name, clip: otherClip, at: null },
  mirrored: filtered(everywhere, (_situation, random) => random.of(['hflip', 'vflip', 'hflip,vflip'])),
  'frame-mirrored': filtered(
    behind,
    ({ outcome }, random) => `hflip=enable='eq(n,${random.below(outcome.frames)})'`,
  ),
  'wrong-crop': filtered(everywhere, ({ outcome, facts }, random, stage) => {
    const { width, height } = stage === 'decoder' ? facts.video : outcome;
    const by = random.of([4, 8, 16]);
    const [left, top] = random.of([
      [0, 0],
      [by, 0],
      [0, by],
      [by, by],
      [by / 2, by / 2],
    ] as const);
    // What follows a decoder expects the decoder's own format.
    const format = stage === 'decoder' ? `,format=${facts.video.pixelFormat}` : '';
    return `crop=w=${width - by}:h=${height - by}:x=${left}:y=${top}:exact=1,scale=w=${width}:h=${height}:${SCALER}${format},setsar=1`;
  }),
  'wrong-field-order': ({ facts: { video } }) => {
    const parity =
      video.fieldOrder === 'top-first'
        ? ['tff', 'bff']
        : video.fieldOrder === 'bottom-first'
          ? ['bff', 'tff']
          : null;
    return parity === null
      ? null
      : { do: 'graph', stage: 'encoder', from: `parity=${parity[0]}`, to: `parity=${parity[1]}` };
  },
  'wrong-range': filtered(behind, otherLevels),
  'wrong-range-tag': filtered(
    behind,
    ({ outcome: { colour } }) => `setparams=range=${colour.range === 'full' ? 'limited' : 'full'}`,
    false,
  ),
  'wrong-matrix': filtered(behind, otherMatrix),
  'wrong-matrix-tag': filtered(
    behind,
    ({ outcome: { colour } }) => `setparams=colorspace=${colour.matrix === 'bt709' ? 'smpte170m' : 'bt709'}`,
    false,
  ),
  'wrong-size': filtered(behind, ({ outcome }, random) => {
    const [width, height] = random.of([
      [-2, 0],
      [2, 0],
      [0, -2],
      [0, 2],
    ] as const);
    return `scale=w=${outcome.width + width}:h=${outcome.height + height}:${SCALER},setsar=1`;
  }),
  'wrong-rate': filtered(behind, ({ outcome: { rate } }) => {
    if (rate.den !== 1001) return null;
    const whole = Math.round(rate.num / rate.den);
    return `settb=1/${whole},setpts=N,fps=${whole}`;
  }),
  'wrong-profile': ({ profile }, random) => {
    const { video } = profile;
    if (video.codec === 'ffv1') return null;
    const ours =
      video.codec === 'vc3' ? `dnxhr_${video.quality}` : video.codec === 'h264' ? 'high' : video.quality;
    const others = ours === 'high' ? ['main', 'baseline'] : otherProfile[ours];
    return others === undefined
      ? null
      : {
          do: 'option',
          stage: 'encoder',
          profile: profile.name,
          option: '-profile:v',
          value: random.of(others),
        };
  },
  'bit-flipped': ({ profile, outcome }, random) => ({
    do: 'bit',
    stage: 'file',
    profile: profile.name,
    stream: outcome.audio.length > 0 && random.below(4) === 0 ? 'soun' : 'vide',
    sample: random.below(1_000_000),
    bit: random.below(100_000_000),
  }),
  truncated: ({ profile }, random) => ({
    do: 'truncate',
    stage: 'file',
    profile: profile.name,
    bytes: random.of([1, 4, 100, 5_000, 50_000, 10_000_000]),
  }),
  'timecode-off-by-one': ({ profile, outcome }, random) =>
    outcome.timecode === null
      ? null
      : { do: 'timecode', stage: 'file', profile: profile.name, frames: random.of([1, -1]), dropFlag: true },
  'source-rate-kept': filtered(behind, ({ outcome: { cadence } }) => {
    const captured = cadence.offSpeed?.captured;
    return captured === undefined
      ? null
      : `settb=${captured.den}/${captured.num},setpts=N,fps=${formatRatio(captured)}`;
  }),
  'grid-off-by-one': ({ outcome: { cadence } }) =>
    cadence.constant === null ? null : { do: 'graph', stage: 'encoder', from: 'ceil((PTS', to: 'floor((PTS' },
  'timecode-base-wrong': ({ profile, facts, outcome: { cadence } }) =>
    cadence.offSpeed === null
      ? null
      : {
          do: 'timecode',
          stage: 'file',
          profile: profile.name,
          frames: 0,
          dropFlag: true,
          base: timecodeBase(facts.video.rate),
        },
  'audio-stretched': onAudio(
    ({ outcome: { cadence } }) => `atempo=${cadence.offSpeed === null ? 1 : '0.5'}`,
    ({ outcome: { audio, cadence } }, random) =>
      cadence.offSpeed === null || audio.length === 0 ? null : random.below(audio.length),
  ),
  'drop-flag-lost': ({ profile, outcome }) =>
    outcome.timecode?.drop !== true
      ? null
      : { do: 'timecode', stage: 'file', profile: profile.name, frames: 0, dropFlag: false },
  'track-lost': ({ profile, outcome }, random) =>
    outcome.audio.length === 0
      ? null
      : { do: 'lose-track', stage: 'file', profile: profile.name, track: random.below(outcome.audio.length) },
  'tracks-swapped': ({ profile, outcome: { audio } }, random) =>
    audio.length < 2 || audio[0]?.channels !== audio[1]?.channels
      ? null
      : { do: 'swap-tracks', stage: random.of(behind), profile: profile.name },
  'channels-swapped': onAudio(() => 'channelmap=map=1|0:channel_layout=stereo', stereoTrack),
  'audio-late': onAudio(
    ({ outcome }, track) =>
      `adelay=delays=${Math.round((outcome.audio[track]?.sampleRate ?? 48000) / 1000)}S:all=1`,
  ),
  'audio-silent': onAudio(() => 'volume=0:precision=fixed'),
  'polarity-turned': onAudio(() => 'volume=-1:precision=float'),
  'damage-concealed': ({ facts }, random) =>
    facts.kind !== 'movie'
      ? null
      : {
          do: 'damage',
          stage: 'decoder',
          sample: random.below(facts.video.frames),
          from: random.between(30, 90) / 100,
          bytes: random.of([16, 64, 256]),
        },
  'nothing-written': () => ({ do: 'nothing' }),
} as const satisfies Record<string, Draw>;

export type FaultName = keyof typeof faults;
export const faultNames = Object.keys(faults) as FaultName[];

export function drawFault(name: FaultName, situation: Situation, random: Random): Operation | null {
  return (faults[name] as Draw)(situation, random);
}

const ORDER = [
  'frames-shifted',
  'frames-swapped',
  'frame-missing',
  'frame-repeated',
  'frames-frozen',
] as const;
const STRANGE = ['frame-foreign', 'picture-damaged'] as const;

/** Of a part of the picture, or of all of it: what it looks like depends on its size. */
const ALTERED = [
  ...ORDER,
  ...STRANGE,
  'picture-error-frame',
  'picture-error-region',
  'picture-error-stated',
  'picture-error-drift',
  'picture-error-large',
  'encoder-input-differs',
  'frame-colour-differs',
  'levels-differ',
  'range-wrong',
  'matrix-wrong',
  'picture-displaced',
] as const;

/** What a fault should be reported as: one of these; as another bitstream where the finished file was spoiled; as another decode where the decoder gave it. Whatever else is reported may be a wrong alarm. */
export const apt = {
  ...(Object.fromEntries(gradedNames.map((name) => [name, ALTERED])) as Record<GradedName, typeof ALTERED>),
  'frame-dropped': ['frame-count-differs', 'encoder-failed', 'decode-times-differ'],
  'frame-repeated': ['frame-count-differs', 'encoder-failed', 'decode-times-differ'],
  'one-dropped-another-repeated': ORDER,
  'two-swapped': ORDER,
  'all-shifted': ORDER,
  'shifted-from-a-frame': ORDER,
  'ten-frozen': ORDER,
  'frame-black': ['frame-black', ...STRANGE],
  'frame-of-another-clip': STRANGE,
  'wrong-clip': [
    ...STRANGE,
    'decode-other-clip',
    'source-read-differs',
    'audio-foreign',
    'levels-differ',
    'frame-missing',
  ],
  mirrored: ['picture-turned'],
  'frame-mirrored': STRANGE,
  'wrong-crop': ['picture-displaced'],
  'wrong-field-order': ['fields-reversed'],
  'wrong-range': ['range-wrong', 'levels-differ'],
  'wrong-range-tag': ['colour-tags-differ'],
  'wrong-matrix': ['matrix-wrong', 'levels-differ'],
  'wrong-matrix-tag': ['colour-tags-differ'],
  'wrong-size': ['raster-differs'],
  'wrong-rate': ['duration-differs'],
  'wrong-profile': ['codec-differs'],
  'bit-flipped': ['does-not-decode'],
  truncated: ['deliverable-unreadable', 'does-not-decode'],
  'timecode-off-by-one': ['timecode-differs'],
  'source-rate-kept': ['duration-differs'],
  'timecode-base-wrong': ['timecode-differs'],
  'grid-off-by-one': ORDER,
  'audio-stretched': ['audio-altered', 'audio-foreign', 'audio-displaced'],
  'drop-flag-lost': ['timecode-differs'],
  'track-lost': ['audio-differs'],
  'tracks-swapped': ['audio-foreign', 'audio-altered', 'audio-channels-wrong'],
  'channels-swapped': ['audio-channels-wrong'],
  'audio-late': ['audio-displaced'],
  'audio-silent': ['audio-altered', 'audio-foreign'],
  'polarity-turned': ['audio-altered'],
  'damage-concealed': [
    ...STRANGE,
    'source-read-differs',
    'clip-decode-error',
    'decode-other-clip',
    'encoder-failed',
  ],
  'nothing-written': ['encoder-failed', 'encoder-wrote-nothing'],
} as const satisfies Record<FaultName, readonly FindingCode[]>;

export function isApt(name: FaultName, operation: Operation, codes: readonly string[]): boolean {
  const stage = 'stage' in operation ? operation.stage : null;
  const wanted: readonly string[] = [
    ...apt[name],
    ...(stage === 'file' ? ['bitstream-differs'] : stage === 'decoder' ? ['decode-other-clip'] : []),
  ];
  return codes.some((code) => wanted.includes(code));
}

/** The operation in a few words, for people. */
export function describeOperation(operation: Operation): string {
  if (operation.do === 'none' || operation.do === 'nothing' || operation.do === 'hang') return operation.do;
  const { do: what, ...rest } = operation;
  if (what === 'frames') {
    const { map, count } = operation;
    const moved = map.flatMap((from, index) => (from === index ? [] : [`${index}<${from}`]));
    return `${operation.stage} ${operation.profile} ${map.length} of ${count} pictures, ${moved.length} moved: ${moved.slice(0, 4).join(' ')}${moved.length > 4 ? ' …' : ''}`;
  }
  return [
    what,
    ...Object.entries(rest).map(([key, value]) =>
      key === 'stage' || key === 'profile'
        ? String(value)
        : `${key}=${key === 'clip' ? basename(String(value)) : String(value)}`,
    ),
  ].join(' ');
}
