/** One clip of the demo as ffmpeg makes it: the whole command line, from the script alone. Pure. */
import type { DemoClip } from './script.ts';

/**
 * A bell as it sounds: hum, prime, tierce, quint and nominal stand as 1 : 2 : 2.4 : 3 : 4 (the tuning of founders'
 * bells; value from memory), each dying away in its own time. Seconds: how fast; weight: how loud.
 */
const partials = [
  { ratio: 0.5, weight: 0.2, decay: 0.6 },
  { ratio: 1, weight: 0.22, decay: 1.1 },
  { ratio: 1.2, weight: 0.16, decay: 1.6 },
  { ratio: 1.5, weight: 0.08, decay: 2.4 },
  { ratio: 2, weight: 0.14, decay: 3.2 },
] as const;

function bellAudio(tone: number): string {
  const voice = (detune: number): string =>
    partials
      .map(
        ({ ratio, weight, decay }) =>
          `${weight}*exp(-${decay}*t)*sin(2*PI*${(tone * ratio * detune).toFixed(3)}*t)`,
      )
      .join('+');
  return `aevalsrc='${voice(1)}|${voice(1.002)}':s=48000:c=stereo`;
}

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
