/** What ffmpeg must be able to do: for the profiles at hand, and for the kinds of source that cameras record. Pure. */
import { codecForFfmpeg } from '../../media/codec-names.ts';
import { neededAbilities } from '../../profiles/abilities.ts';
import { audioEncoders } from '../../profiles/codecs.ts';
import { masterMovie } from '../../profiles/master/movie.ts';
import { type AnyProfile, givesFrames, isMaster } from '../../profiles/schema.ts';
import type { AbilityKind, AbilityNeed } from './facts.ts';

/** Decoders by ffmpeg's names; common practice of cameras and recorders, no source. */
const sources: Readonly<Record<string, readonly string[]>> = {
  'RDD 36 sources': ['prores'],
  'VC-3 sources': ['dnxhd'],
  'H.264 sources': ['h264'],
  'HEVC sources': ['hevc'],
  'MPEG-2 sources': ['mpeg2video'],
  'DPX sequences': ['dpx'],
  'TIFF sequences': ['tiff'],
  'OpenEXR sequences': ['exr'],
  'PNG sequences': ['png'],
  'uncompressed audio': ['pcm_s16le', 'pcm_s24le', 'pcm_s16be', 'pcm_s24be', 'pcm_s32le'],
  'AAC audio': ['aac'],
};

export function needsOf(profiles: readonly AnyProfile[]): AbilityNeed[] {
  const needs = new Map<
    string,
    { kind: AbilityKind; name: string; neededFor: string[]; required: boolean }
  >();
  const add = (kind: AbilityKind, name: string, reason: string, required: boolean): void => {
    const key = `${kind} ${name}`;
    const need = needs.get(key) ?? { kind, name, neededFor: [], required: false };
    if (!need.neededFor.includes(reason)) need.neededFor.push(reason);
    need.required ||= required;
    needs.set(key, need);
  };
  for (const profile of profiles) {
    const { encoders, filters } = neededAbilities(profile);
    for (const name of encoders) add('encoder', name, profile.name, true);
    for (const name of filters) add('filter', name, profile.name, true);
    if (givesFrames(profile)) continue;
    const { video, audio } = isMaster(profile) ? masterMovie : profile;
    // What was made is decoded again, whole, before it counts as finished.
    add('decoder', codecForFfmpeg(video.codec), `checking ${profile.name}`, true);
    if (audio.tracks !== 'none')
      for (const name of audioEncoders(audio.format)) add('decoder', name, `checking ${profile.name}`, true);
  }
  for (const [kind, names] of Object.entries(sources))
    for (const name of names) add('decoder', name, kind, false);
  return [...needs.values()];
}
