/** How large a deliverable becomes: exact where the codec fixes it, otherwise an estimate on the safe side. */
import { soundFormats, rdd36TargetBits, vc3FrameBytes } from '../codecs.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';

/** Index entries and atoms: about 24 bytes a frame and less than 64 KiB besides (measured on MOV and MP4 of this recipe). */
const INDEX_PER_FRAME = 24;
const WRAPPER = 64 * 1024;

/** Random noise in RDD 36 took 1.4 to 1.7 times the encoder's target (measured, 1080p at 29.97). */
const NOISE_PER_CENT = { proxy: 170, lt: 170, standard: 145, hq: 145, '4444': 145, '4444-xq': 145 } as const;

function pictureBytes(profile: Profile, width: number, height: number, frames: number): number {
  const fixed = vc3FrameBytes(profile.video, width, height);
  if (fixed !== null) return fixed * frames;
  const { video } = profile;
  if (video.codec === 'rdd36') return Math.ceil((rdd36TargetBits(video.quality, width, height) * NOISE_PER_CENT[video.quality]) / 800) * frames;
  // Constant quality follows the picture: a quarter of a bit a pixel at crf 20 is a restless, grainy picture; every 6 steps halve or double it
  // (the quantiser doubles every 6, ITU-T H.264 8.5.9). Only an estimate: nothing but disk planning rests on it.
  const crf = video.codec === 'h264' ? video.crf : 20;
  return Math.ceil((width * height * 0.25 * 2 ** ((20 - crf) / 6)) / 8) * frames;
}

export function estimatedBytes(profile: Profile, raster: { width: number; height: number }, frames: number, audio: Outcome['audio']): number {
  const { bytesPerSample } = soundFormats[profile.audio.format];
  const sound = audio.reduce((sum, track) => {
    if (bytesPerSample !== null) return sum + track.samples * track.channels * bytesPerSample;
    // 160 kbit/s a channel, as the recipe sets it.
    return sum + Math.ceil((track.samples / track.sampleRate) * track.channels * 20_000);
  }, 0);
  return pictureBytes(profile, raster.width, raster.height, frames) + sound + frames * INDEX_PER_FRAME * (1 + audio.length) + WRAPPER;
}
