/** One clip of the demo as ffmpeg makes it: the whole command line, from the script alone. Pure. */
import { FIRST_PIPE } from '../../process/run.ts';
import { bellAudio } from './bell-sound.ts';
import { LOG_PIXELS } from './log-frame.ts';
import { SCENE } from './scene.ts';
import type { DemoClip, DemoShot } from './script.ts';

const codecs = {
  rdd36: {
    picture: ['-c:v', 'prores_ks', '-profile:v', 'standard'],
    pixelFormat: 'yuv422p10le',
    audio: 'pcm_s24le',
  },
  // Long groups with B frames, as small cameras record.
  h264: {
    picture: ['-c:v', 'libx264', '-preset', 'veryfast', '-crf', '18', '-bf', '2', '-g', '30'],
    pixelFormat: 'yuv420p',
    audio: 'pcm_s16le',
  },
} as const;

/** Arguments that write `clip` of the roll `reel` to `path`, a MOV file. */
export function clipArguments(clip: DemoClip, reel: string, path: string): string[] {
  const codec = codecs[clip.codec];
  const audio = clip.picture.sources.length;
  const tags = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';
  // The filters end both streams: `-frames:v` would end the file with the picture, and cut the audio's last block.
  const graph = `${clip.picture.graph},trim=end_frame=${clip.frames},scale=out_color_matrix=bt709:out_range=tv,format=${codec.pixelFormat},${tags}[v];[${audio}]atrim=end_sample=${clip.samples}[a]`;
  return [
    ...['-hide_banner', '-loglevel', 'error', '-nostdin', '-y'],
    ...[...clip.picture.sources, bellAudio(clip.tone)].flatMap((source) => ['-f', 'lavfi', '-i', source]),
    ...['-filter_complex', graph, '-map', '[v]', '-map', '[a]', '-fps_mode', 'passthrough'],
    ...[
      ...codec.picture,
      '-c:a',
      codec.audio,
      '-timecode',
      clip.timecode,
      '-metadata:s:v:0',
      `reel_name=${reel}`,
    ],
    ...['-fflags', '+bitexact', '-flags:v', '+bitexact', '-f', 'mov', path],
  ];
}

/** Arguments that write a shot of the log roll to `path`, a MOV file; its pictures are fed in through the first pipe. */
export function logArguments(
  { rate, tone, samples, timecode }: DemoShot,
  reel: string,
  path: string,
): string[] {
  const { picture, pixelFormat, audio } = codecs.rdd36;
  const graph = `[0]scale=out_color_matrix=bt709:out_range=tv,format=${pixelFormat},setparams=colorspace=bt709:range=tv[v];[1]atrim=end_sample=${samples}[a]`;
  return [
    ...['-hide_banner', '-loglevel', 'error', '-nostdin', '-y'],
    ...['-f', 'rawvideo', '-pixel_format', LOG_PIXELS, '-video_size', `${SCENE.width}x${SCENE.height}`],
    ...['-framerate', rate, '-i', `pipe:${FIRST_PIPE}`, '-f', 'lavfi', '-i', bellAudio(tone)],
    ...['-filter_complex', graph, '-map', '[v]', '-map', '[a]', '-fps_mode', 'passthrough'],
    ...[...picture, '-c:a', audio, '-timecode', timecode, '-metadata:s:v:0', `reel_name=${reel}`],
    ...['-fflags', '+bitexact', '-flags:v', '+bitexact', '-f', 'mov', path],
  ];
}
