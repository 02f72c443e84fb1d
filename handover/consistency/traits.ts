/** What an editor notices of a deliverable, each trait in words. Pure. */
import { formatRatio, type Ratio } from '../../media/time/rate.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { type AnyOutcome, isMasterOutcome } from '../../profiles/outcome/any.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { lookName } from '../../profiles/shown/name.ts';
import type { Shown } from '../../profiles/shown/schema.ts';

/** In the order in which they are shown. */
export const traits = [
  'form',
  'codec',
  'level',
  'raster',
  'pixels',
  'colour',
  'rate',
  'audio',
  'naming',
  'look',
  'burn-in',
] as const;
export type Trait = (typeof traits)[number];

export const traitNames: Readonly<Record<Trait, string>> = {
  form: 'file form',
  codec: 'codec',
  level: 'level',
  raster: 'raster',
  pixels: 'pixels',
  colour: 'colour tags',
  rate: 'rate',
  audio: 'audio layout',
  naming: 'file names',
  look: 'look',
  'burn-in': 'burnt-in text',
};

/** Of H.264 ten times its number, of H.265 thirty times. */
const LEVELS: Readonly<Record<string, number>> = { h264: 10, h265: 30 };

function rasterText({
  width,
  height,
  pixelAspect,
}: {
  readonly width: number;
  readonly height: number;
  readonly pixelAspect: Ratio;
}): string {
  const { num, den } = pixelAspect;
  return `${width}x${height}${num === den ? '' : `, pixels of ${num}:${den}`}`;
}

function rateText({ rate, cadence }: Pick<AnyOutcome, 'rate' | 'cadence'>): string {
  const policies = [
    ...(cadence.offSpeed === null ? [] : ['off-speed clips at the rate of the project']),
    ...(cadence.constant === null ? [] : ['a varying rate made constant']),
    ...(cadence.split === null ? [] : ['each field a frame']),
  ];
  return [`${formatRatio(rate)} frames/s`, ...policies].join(', ');
}

function audioText(audio: Outcome['audio']): string {
  if (audio.length === 0) return 'no audio';
  const kinds = new Map<string, number>();
  const own = new Set<string>();
  for (const { codec, sampleRate, channels, layout, recording } of audio) {
    const kind = `${layout ?? `${channels} channels`} ${codec} ${sampleRate} Hz`;
    if (recording === null) kinds.set(kind, (kinds.get(kind) ?? 0) + 1);
    // How many tracks a take has, the recordist decides for each.
    else
      own.add(
        `production sound (${recording.form === 'mix' ? 'mix' : 'all tracks'}) ${codec} ${sampleRate} Hz`,
      );
  }
  return [...own, ...[...kinds].map(([kind, tracks]) => `${tracks} x ${kind}`)].join(', ');
}

/** Exposure and CDL are of the clip, and change from shot to shot: they are no trait of a day. */
function lookText(shown: Shown | null): string {
  if (shown === null) return lookName(null);
  const { look } = shown.way;
  const words = lookName({ ...shown, way: { ...shown.way, exposure: 0, cdl: null } });
  // Two files can have one name.
  return look === null ? words : `${words} (${look.sha256.slice(0, 8)})`;
}

const colourText = ({ primaries, transfer, matrix, range }: Outcome['colour']): string =>
  [primaries, transfer, matrix, range].map((tag) => tag ?? 'not tagged').join(', ');

function movieTraits(outcome: Outcome): [Trait, string][] {
  const { container, codec, codecProfile, maxLevel, fieldOrder, burnIn } = outcome;
  const times = LEVELS[codec];
  return [
    ['form', container],
    ['codec', codecProfile === null ? codec : `${codec} ${codecProfile}`],
    ...(maxLevel === null || times === undefined
      ? []
      : [['level', `at most ${maxLevel / times}`] as [Trait, string]]),
    ['raster', `${rasterText(outcome)}${fieldOrder === 'progressive' ? '' : `, ${fieldOrder}`}`],
    ['pixels', outcome.pixelFormat],
    ['colour', colourText(outcome.colour)],
    ['rate', rateText(outcome)],
    ['audio', audioText(outcome.audio)],
    ['look', lookText(outcome.shown)],
    ['burn-in', burnIn.length === 0 ? 'none' : burnIn.map(({ text }) => text).join(', ')],
  ];
}

function frameTraits(outcome: MasterOutcome): [Trait, string][] {
  const { format, compression, extension } = outcome;
  return [
    ['form', `frames, ${extension}`],
    ['codec', format === 'exr' ? `${format} ${compression}` : format],
    ['raster', rasterText(outcome)],
    ['rate', rateText(outcome)],
  ];
}

/** `profile`: as it was written; null: not known. */
export function traitsOf(
  outcome: AnyOutcome,
  profile: Readonly<Record<string, unknown>> | null,
): readonly (readonly [Trait, string])[] {
  const naming = profile?.file_name;
  return [
    ...(isMasterOutcome(outcome) ? frameTraits(outcome) : movieTraits(outcome)),
    ...(typeof naming === 'string' ? [['naming', naming] as [Trait, string]] : []),
  ];
}
