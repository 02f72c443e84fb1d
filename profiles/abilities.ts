/** What ffmpeg must have for a profile, and whether this one has it. */
import { type Finding, finding } from '../findings/finding.ts';
import type { Abilities } from '../process/locate.ts';
import { audioEncoders, traitsOf } from './codecs.ts';
import { encoderOf } from './ffmpeg-names.ts';
import { masterMovie } from './master/movie.ts';
import { type AnyProfile, drawsText, givesFrames, isMaster } from './schema.ts';

/** Filters that every recipe uses. */
const pictureFilters = [
  'showinfo',
  'setparams',
  'settb',
  'setpts',
  'fps',
  'split',
  'scale',
  'format',
  'crop',
  'setsar',
  'lutyuv',
  'lutrgb',
  'pad',
  'vstack',
  'copy',
] as const;
/** A master takes the decoded frames as they are; the fingerprints are taken beside. */
const masterFilters = ['showinfo', 'split', 'scale', 'format', 'crop'] as const;
const audioFilters = ['asetpts', 'aresample', 'atrim', 'adelay', 'apad', 'aformat'] as const;
/** Channels of a recording, and its clock. */
const recordingFilters = ['pan', 'asetrate'] as const;

export function neededAbilities(profile: AnyProfile): { encoders: string[]; filters: string[] } {
  const deinterlacer =
    profile.interlaced === 'deinterlace' || profile.interlaced === 'split' ? ['bwdif'] : [];
  if (givesFrames(profile)) return { encoders: [], filters: [...masterFilters, ...deinterlacer] };
  // What feeds the encoder is no filter of ffmpeg.
  if (isMaster(profile))
    return {
      encoders: [encoderOf(masterMovie.video), ...audioEncoders(masterMovie.audio.format)],
      filters: [...new Set([...masterFilters, ...pictureFilters, ...audioFilters, ...deinterlacer])],
    };
  const isRecorded = profile.audio.production_sound !== undefined;
  const isAudible = profile.audio.tracks !== 'none' || isRecorded;
  return {
    encoders: [encoderOf(profile.video), ...(isAudible ? audioEncoders(profile.audio.format) : [])],
    filters: [
      ...pictureFilters,
      ...(isAudible ? audioFilters : []),
      ...(isRecorded ? recordingFilters : []),
      ...deinterlacer,
      ...(traitsOf(profile.video).lossless ? ['mergeplanes'] : []),
      ...(drawsText(profile) ? ['drawtext'] : []),
      ...(drawsText(profile) || profile.raster.policy === 'pad' ? ['hstack'] : []),
    ],
  };
}

export function missingAbilities(profile: AnyProfile, abilities: Abilities): Finding[] {
  const needed = neededAbilities(profile);
  return [
    ...needed.encoders
      .filter((name) => !abilities.encoders.has(name))
      .map((name) =>
        finding('profile-tool-lacks', `no encoder ${name}`, `the encoder ${name}`, { profile: profile.name }),
      ),
    ...needed.filters
      .filter((name) => !abilities.filters.has(name))
      .map((name) =>
        finding('profile-tool-lacks', `no filter ${name}`, `the filter ${name}`, { profile: profile.name }),
      ),
  ];
}
