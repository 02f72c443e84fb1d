/** How large a deliverable becomes: exact where the codec fixes it, otherwise an estimate on the safe side. */
import type { VideoFacts } from '../../media/facts.ts';
import { planesOf } from '../../media/pixel-format.ts';
import { rdd36TargetBits, audioTraits, vc3FrameBytes } from '../codecs.ts';
import { AAC_KILOBITS } from '../limits.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';

/** Index entries and atoms: about 24 bytes a frame and less than 64 KiB besides (measured on MOV and MP4 of this recipe). */
const INDEX_PER_FRAME = 24;
const WRAPPER = 64 * 1024;

/** Random noise in RDD 36 took 1.4 to 1.7 times the encoder's target (measured, 1080p at 29.97). */
const NOISE_PER_CENT = { proxy: 170, lt: 170, standard: 145, hq: 145, '4444': 145, '4444-xq': 145 } as const;

/**
 * As many bytes as the samples have bits, and what each slice begins to learn with. Pictures of cameras take half to three quarters of that; noise
 * through and through took 1.04 to 1.17 times at 1280x720, and up to 1.26 times at 320x240 (measured).
 */
const SLICE_BYTES = 4096;
function losslessBytes(video: VideoFacts, slices: number): number {
  const samples = planesOf(video.pixelFormat).reduce(
    (sum, plane) => sum + Math.ceil(video.width / plane.across) * Math.ceil(video.height / plane.down),
    0,
  );
  return (Math.ceil((samples * video.bitDepth) / 8) + slices * SLICE_BYTES) * video.frames;
}

function pictureBytes(
  profile: Pick<Profile, 'video'>,
  source: VideoFacts,
  width: number,
  height: number,
): number {
  const { frames } = source;
  const fixed = vc3FrameBytes(profile.video, width, height);
  if (fixed !== null) return fixed * frames;
  const { video } = profile;
  if (video.codec === 'ffv1') return losslessBytes(source, video.slices);
  if (video.codec === 'rdd36')
    return (
      Math.ceil((rdd36TargetBits(video.quality, width, height) * NOISE_PER_CENT[video.quality]) / 800) *
      frames
    );
  // Constant quality follows the picture: a quarter of a bit a pixel at quality 20 is a restless, grainy picture; every 6 steps halve or double it
  // (the quantiser doubles every 6, ITU-T H.264 8.5.9). H.265 takes no more (its quantiser is the same, 8.6). Only an estimate: nothing but disk planning rests on it.
  const quality = video.codec === 'h264' || video.codec === 'h265' ? video.quality : 20;
  return Math.ceil((width * height * 0.25 * 2 ** ((20 - quality) / 6)) / 8) * frames;
}

export function estimatedBytes(
  profile: Pick<Profile, 'video' | 'audio'>,
  video: VideoFacts,
  raster: { width: number; height: number },
  audio: Outcome['audio'],
): number {
  const { frames } = video;
  const audioBytes = audio.reduce((sum, track) => {
    const bytesPerSample = audioTraits(profile.audio.format, track.codec)?.bytesPerSample ?? null;
    if (bytesPerSample !== null) return sum + track.samples * track.channels * bytesPerSample;
    return sum + Math.ceil((track.samples / track.sampleRate) * track.channels * ((1000 * AAC_KILOBITS) / 8));
  }, 0);
  return (
    pictureBytes(profile, video, raster.width, raster.height) +
    audioBytes +
    frames * INDEX_PER_FRAME * (1 + audio.length) +
    WRAPPER
  );
}
