/** What ffmpeg must have for a profile, and whether this one has it. */
import { type Finding, finding } from '../findings/finding.ts';
import type { Abilities } from '../media/tools/locate.ts';
import { soundFormats, traitsOf } from './codecs.ts';
import type { Profile } from './schema.ts';

/** Filters that every recipe uses. */
const pictureFilters = ['showinfo', 'setparams', 'settb', 'setpts', 'fps', 'split', 'scale', 'format', 'crop', 'setsar'] as const;
const soundFilters = ['asetpts', 'aresample', 'atrim', 'adelay', 'apad', 'aformat'] as const;

export function neededAbilities(profile: Profile): { encoders: string[]; filters: string[] } {
  const sound = profile.audio.tracks !== 'none';
  return {
    encoders: [traitsOf(profile.video).encoder, ...(sound ? [soundFormats[profile.audio.format].encoder] : [])],
    filters: [
      ...pictureFilters,
      ...(sound ? soundFilters : []),
      ...(profile.interlaced === 'deinterlace' ? ['bwdif'] : []),
      ...(profile.burn_in.length > 0 ? ['drawtext'] : []),
    ],
  };
}

export function missingAbilities(profile: Profile, abilities: Pick<Abilities, 'encoders' | 'filters'>): Finding[] {
  const needed = neededAbilities(profile);
  return [
    ...needed.encoders.filter((name) => !abilities.encoders.has(name)).map((name) => finding('profile-tool-lacks', `no encoder ${name}`, `the encoder ${name}`, { profile: profile.name })),
    ...needed.filters.filter((name) => !abilities.filters.has(name)).map((name) => finding('profile-tool-lacks', `no filter ${name}`, `the filter ${name}`, { profile: profile.name })),
  ];
}
