/** What a trait of a deliverable follows from, beside its profile: the clip, or the settings. Pure. */
import type { AppliedSettings } from '../../ledger/applied-settings.ts';
import { type ClipFacts, uprightSize } from '../../media/facts.ts';
import { formatRatio } from '../../media/time/rate.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import type { Trait } from './traits.ts';

export interface Origin {
  readonly outcome: Pick<AnyOutcome, 'width' | 'height' | 'rate'>;
  readonly facts: ClipFacts | null;
  readonly settings: AppliedSettings | null;
}

/** Settings that a trait can follow from, by their names in the settings file. */
const SETTINGS: Partial<Readonly<Record<Trait, readonly string[]>>> = {
  look: ['look', 'output'],
  rate: ['project_rate', 'off_speed', 'rate', 'variable_rate'],
  raster: ['frame_line'],
  'burn-in': ['burn_in', 'watermark'],
};

function settingText(trait: Trait, settings: AppliedSettings | null): string | null {
  const names = SETTINGS[trait] ?? [];
  const stated = (settings?.applied ?? []).filter(
    ({ setting, from }) => from !== 'nobody' && from !== 'tags' && names.includes(setting),
  );
  return stated.length === 0
    ? null
    : stated.map(({ setting, value, from }) => `${setting} ${value}, stated for the ${from}`).join('; ');
}

function clipText(trait: Trait, facts: ClipFacts | null): string | null {
  if (facts === null) return null;
  const { video, audio } = facts;
  switch (trait) {
    case 'raster': {
      const { width, height } = uprightSize(video);
      return `recorded in ${width}x${height}`;
    }
    case 'rate':
      return `recorded at ${formatRatio(video.rate)} frames/s`;
    case 'audio':
      return audio.length === 0
        ? 'recorded without audio'
        : `recorded with ${audio.map(({ channels }) => channels).join('+')} channels`;
    case 'colour':
      return `recorded as ${[video.colour.primaries, video.colour.transfer, video.colour.matrix].map((tag) => tag ?? 'not tagged').join(', ')}`;
    default:
      return null;
  }
}

/** null: nothing is known beside the profile. */
export function reasonOf(trait: Trait, { outcome, facts, settings }: Origin): string | null {
  if (trait === 'level')
    return `of ${outcome.width}x${outcome.height} at ${formatRatio(outcome.rate)} frames/s`;
  return settingText(trait, settings) ?? clipText(trait, facts);
}
