/** Which sound tracks come out, and how long: always exactly as long as the picture. */
import { type Finding, finding, type FindingSubject } from '../../findings/finding.ts';
import type { AudioFacts, ClipFacts } from '../../media/facts.ts';
import { framesToSamples } from '../../media/rate.ts';
import { soundFormats } from '../codecs.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';

/** ffmpeg's default layouts by number of channels: what a file without a layout is written and read back as. */
const usualLayouts = ['mono', 'stereo', '2.1', '4.0', '5.0', '5.1', '6.1', '7.1'] as const;

/** QuickTime and MP4 write a layout for one and two channels in every form; for more only where the source has one. */
function layoutOf(track: AudioFacts): string | null {
  return track.layout ?? usualLayouts[track.channels - 1] ?? null;
}

export function soundOf(facts: ClipFacts, profile: Profile, subject: FindingSubject): { audio: Outcome['audio']; findings: Finding[] } {
  const findings: Finding[] = [];
  const format = soundFormats[profile.audio.format];
  const { frames, rate } = facts.video;
  const tracks = profile.audio.tracks === 'none' ? [] : profile.audio.tracks === 'first' ? facts.audio.slice(0, 1) : facts.audio;
  const audio = tracks.map((track, sourceTrack) => {
    const own = framesToSamples(frames, rate, track.sampleRate);
    const allowed = framesToSamples(profile.audio.tolerance_frames, rate, track.sampleRate);
    const end = track.startOffset + track.samples;
    const about = `track ${sourceTrack + 1}`;
    if (Math.abs(end - own) > allowed || Math.abs(track.startOffset) > allowed) {
      findings.push(finding('sound-length', `${about}: samples ${track.startOffset} to ${end}`, `samples 0 to ${own} (${frames} frames), ${allowed} more or fewer`, subject));
    } else if (end !== own || track.startOffset !== 0) {
      findings.push(finding('sound-fitted', `${about}: samples ${track.startOffset} to ${end}`, `samples 0 to ${own} (${frames} frames)`, subject));
    }
    const sampleRate = profile.audio.rate === 'source' ? track.sampleRate : profile.audio.rate;
    if (track.channels > format.channels || (format.rates !== null && !format.rates.includes(sampleRate))) {
      findings.push(finding('sound-not-offered', `${about}: ${track.channels} channels at ${sampleRate} Hz`, `${profile.audio.format}: at most ${format.channels} channels${format.rates === null ? '' : `, one of ${format.rates.join(', ')} Hz`}`, subject));
    }
    return { sourceTrack, codec: format.encoder, sampleRate, channels: track.channels, layout: layoutOf(track), samples: framesToSamples(frames, rate, sampleRate), tolerance: format.block };
  });
  return { audio, findings };
}
