/** The clips of a campaign: pictures that are hard to tell apart as well as easy ones, in the forms that cameras write. Made once for a campaign, from nothing. */
import { existsSync, mkdirSync, renameSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { bell, clay, pour } from '../../coordinator/demo/pictures.ts';
import type { Timing } from '../../media/time/timing.ts';
import { ffmpeg } from '../support/media.ts';

export interface Form {
  readonly rate: string;
  readonly width: number;
  readonly height: number;
  readonly frames: number;
  readonly timecode: string;
  readonly codec: 'rdd36' | 'vc3' | 'h264' | 'h264-open' | 'h264-fields' | 'mpeg2';
  /** Channels of every audio track. */
  readonly audio: readonly number[];
  /** Absent: 48000. */
  readonly sampleRate?: number;
  readonly silent?: true;
  readonly interlaced: 'no' | 'top-first' | 'bottom-first';
  readonly range: 'limited' | 'full';
  readonly matrix: 'bt709' | 'bt2020nc' | 'smpte170m';
  /** Frames come at times that vary; absent: at one rate. */
  readonly varies?: true;
  /** What the settings say of its time; absent: nothing. */
  readonly timing?: Timing;
}

const film = {
  rate: '24000/1001',
  width: 320,
  height: 180,
  frames: 48,
  timecode: '01:00:00:00',
  codec: 'rdd36',
  audio: [2],
  interlaced: 'no',
  range: 'limited',
  matrix: 'bt709',
} as const satisfies Form;

/** What cameras and editors write as well, and what there is too little of: for clean cases alone. */
const awkwardForms = {
  'one-frame': { ...film, frames: 1 },
  'two-frames': { ...film, frames: 2, codec: 'h264' },
  'fields-odd-raster': { ...film, rate: '25', width: 346, height: 250, frames: 20, interlaced: 'top-first' },
  'fields-coded': {
    ...film,
    rate: '25',
    height: 256,
    frames: 25,
    codec: 'h264-fields',
    interlaced: 'top-first',
  },
  'long-open-group': { ...film, rate: '25', width: 352, height: 208, frames: 75, codec: 'h264-open' },
  'open-group-mpeg2': { ...film, rate: '25', width: 352, height: 288, frames: 60, codec: 'mpeg2' },
  'audio-44100': { ...film, rate: '25', frames: 30, sampleRate: 44_100 },
  'audio-96000': { ...film, frames: 30, sampleRate: 96_000 },
  'eight-channels': { ...film, frames: 24, audio: [8] },
  silence: { ...film, frames: 36, audio: [2, 1], silent: true },
} as const satisfies Record<string, Form>;

/** Small, since a campaign counts cases and not pixels; one large. */
export const forms = {
  film,
  'film-two-tracks': { ...film, width: 384, height: 216, frames: 36, timecode: '23:59:59:12', audio: [2, 2] },
  'film-wide-colour': { ...film, width: 480, height: 200, frames: 30, matrix: 'bt2020nc' },
  pal: {
    ...film,
    rate: '25',
    width: 640,
    height: 360,
    frames: 40,
    timecode: '10:00:00:00',
    codec: 'h264',
    audio: [1, 1],
  },
  'pal-mute': {
    ...film,
    rate: '25',
    width: 426,
    height: 240,
    frames: 25,
    timecode: '00:00:00:00',
    codec: 'vc3',
    audio: [],
  },
  'whole-24': {
    ...film,
    rate: '24',
    width: 360,
    height: 270,
    frames: 72,
    timecode: '05:06:07:08',
    codec: 'vc3',
  },
  'drop-frame-30': {
    ...film,
    rate: '30000/1001',
    width: 320,
    height: 240,
    frames: 45,
    timecode: '00:59:59;20',
    matrix: 'smpte170m',
  },
  'drop-frame-60': { ...film, rate: '60000/1001', frames: 60, timecode: '01:00:59;40', codec: 'h264' },
  'full-range': {
    ...film,
    rate: '50',
    width: 400,
    height: 224,
    frames: 50,
    codec: 'h264',
    range: 'full',
    audio: [2, 1],
  },
  'fields-top': { ...film, rate: '25', width: 320, height: 256, frames: 25, interlaced: 'top-first' },
  'fields-bottom': {
    ...film,
    rate: '30000/1001',
    width: 320,
    height: 240,
    frames: 30,
    timecode: '00:00:00;00',
    interlaced: 'bottom-first',
  },
  'off-speed-60': {
    ...film,
    rate: '60000/1001',
    frames: 36,
    timecode: '10:00:59;40',
    audio: [2, 2],
    timing: {
      projectRate: { num: 24_000, den: 1001 },
      offSpeed: 'project-rate',
      offSpeedAudio: 'real-time',
    },
  },
  'off-speed-50': {
    ...film,
    rate: '50',
    frames: 40,
    timecode: '23:59:59:49',
    codec: 'h264',
    timing: { projectRate: { num: 25, den: 1 }, offSpeed: 'project-rate' },
  },
  varying: {
    ...film,
    rate: '30000/1001',
    frames: 41,
    codec: 'h264',
    varies: true,
    timing: { projectRate: { num: 30_000, den: 1001 }, variableRate: 'constant' },
  },
  upright: { ...film, width: 256, height: 384, frames: 24, codec: 'h264', audio: [1] },
  large: { ...film, width: 1280, height: 720, frames: 24, audio: [2, 2] },
  ...awkwardForms,
} as const satisfies Record<string, Form>;
export type FormName = keyof typeof forms;
/** Of clean cases; the others have what a fault needs. */
export const formNames = Object.keys(forms) as FormName[];
export const plainFormNames = formNames.filter((name) => !(name in awkwardForms));

/** A graph of `lavfi` sources that ends in one picture of size `s` at `rate`; `take` makes another take of the same scene. */
type Draw = (
  form: { readonly s: string; readonly rate: string; readonly width: number; readonly height: number },
  take: number,
) => string;

const still = (s: string, rate: string, source: string): string =>
  `${source}=s=${s}:r=${rate},trim=end_frame=1,loop=loop=-1:size=1:start=0,setpts=N,settb=1/(${rate}),setpts=N,fps=${rate}`;
const demo = (picture: { sources: readonly string[]; graph: string }, s: string): string => {
  const sources = picture.sources.map((source, index) => `${source}[d${index}]`).join(';');
  return `${sources};${picture.graph.replace(/\[(\d)\]/g, '[d$1]')},scale=${s.replace('x', ':')}:flags=bicubic`;
};

/** For clean cases alone: what a fault does to them may be nothing. */
const awkwardPictures = {
  'near-black': ({ s, rate }, take) =>
    `color=c=0x030303:s=${s}:r=${rate},noise=alls=3:allf=t:all_seed=${81 + take}`,
  black: ({ s, rate }, take) => `color=c=0x0${take}0${take}0${take}:s=${s}:r=${rate}`,
  /** White and black in turn. */
  strobe: ({ s, rate }, take) =>
    `${still(s, rate, 'mandelbrot')},lutyuv=y=235:u=128:v=128:enable='eq(mod(n,${2 + take}),1)'`,
  'flat-colour': ({ s, rate }, take) => `color=c=${take === 0 ? '0x2040c0' : '0xc03020'}:s=${s}:r=${rate}`,
  'dark-noise': ({ s, rate }, take) =>
    `color=c=0x101010:s=${s}:r=${rate},noise=alls=40:allf=t:all_seed=${91 + take}`,
} as const satisfies Record<string, Draw>;

const pictures = {
  /** Every part of it moves. */
  chart: ({ s, rate }, take) => `testsrc2=s=${s}:r=${rate},trim=start_frame=${40 * take},setpts=PTS-STARTPTS`,
  zoom: ({ s, rate }, take) =>
    `mandelbrot=s=${s}:r=${rate}:start_x=${take === 0 ? '-0.743643887037158' : '-0.7435'}:start_scale=${take === 0 ? 3 : 2}`,
  bell: ({ s, rate }, take) => demo(bell(rate, ['203050', 'e0a060'], 2 + take), s),
  pour: ({ s, rate }, take) => demo(pour(rate, ['fff0a0', 'd05010', '200804'], 7 + take), s),
  clay: ({ s, rate }, take) =>
    demo(clay(rate, take === 0 ? ['604028', 'a07850', '302014'] : ['605028', 'a08850', '302814']), s),
  /** A tripod: nothing moves but the grain. */
  'locked-off': ({ s, rate }, take) =>
    `${still(s, rate, 'mandelbrot')},noise=alls=6:allf=t:all_seed=${11 + take}`,
  'locked-off-faint': ({ s, rate }, take) =>
    `${still(s, rate, 'testsrc2')},noise=alls=2:allf=t:all_seed=${21 + take}`,
  'locked-off-dark': ({ s, rate }, take) =>
    `${still(s, rate, 'mandelbrot')},lutyuv=y=16+(val-16)/8:u=128+(val-128)/4:v=128+(val-128)/4,noise=alls=5:allf=t:all_seed=${31 + take}`,
  /** Not even grain: pictures are exchanged without any effect. */
  frozen: ({ s, rate }, take) => `${still(s, rate, 'testsrc2')},lutyuv=y=val-${20 * take}`,
  grey: ({ s, rate }, take) => `color=c=0x${take === 0 ? '808080' : '8a8a8a'}:s=${s}:r=${rate}`,
  /** One pixel a picture. */
  pan: ({ s, rate, width, height }, take) =>
    `mandelbrot=s=${2 * width}x${2 * height}:r=${rate},trim=end_frame=1,loop=loop=-1:size=1:start=0,settb=1/(${rate}),setpts=N,crop=w=${width}:h=${height}:x=n+${10 + 60 * take}:y=${height / 2}:exact=1,fps=${rate},scale=${s.replace('x', ':')}`,
  'slow-zoom': ({ s, rate }, take) =>
    `mandelbrot=s=${s}:r=${rate},trim=end_frame=1,zoompan=z=1+0.002*on+0.1*${take}:d=400:s=${s}:fps=${rate}:x=iw/2-iw/zoom/2:y=ih/2-ih/zoom/2`,
  /** A small thing moves in a still picture. */
  'small-motion': ({ s, rate, width, height }, take) =>
    `${still(s, rate, 'mandelbrot')}[ground];color=c=0xe0d0b0:s=16x16:r=${rate}[thing];[ground][thing]overlay=x=${width / 3}+${width / 6}*sin(n/7+${take}):y=${height / 2}:shortest=1`,
  'small-motion-grain': ({ s, rate, width, height }, take) =>
    `${still(s, rate, 'testsrc2')}[ground];color=c=0x201010:s=12x12:r=${rate}[thing];[ground][thing]overlay=x=${width / 2}:y=${height / 3}+${height / 6}*sin(n/5+${2 * take}):shortest=1,noise=alls=3:allf=t:all_seed=${41 + take}`,
  'scrolling-noise': ({ s, rate }, take) =>
    `${still(s, rate, 'color')},lutyuv=y=126,noise=alls=60:allf=u:all_seed=${51 + take},scroll=h=0.004:v=0.002`,
  'static-on-a-screen': ({ s, rate }, take) =>
    `color=c=gray:s=${s}:r=${rate},noise=alls=60:allf=t:all_seed=${61 + take}`,
  cuts: ({ s, rate }, take) =>
    `testsrc2=s=${s}:r=${rate}[one];mandelbrot=s=${s}:r=${rate}[two];[two][one]overlay=enable='lt(mod(n+${5 * take},16),7)'`,
  'fade-in': ({ s, rate }, take) => `mandelbrot=s=${s}:r=${rate}:start_scale=${3 - take},fade=in:s=0:n=20`,
  'fade-out': ({ s, rate }, take) =>
    `testsrc2=s=${s}:r=${rate},trim=start_frame=${30 * take},setpts=PTS-STARTPTS,fade=out:s=6:n=14`,
  flashes: ({ s, rate }, take) =>
    `${still(s, rate, 'mandelbrot')},lutyuv=y=min(235\\,val+90):enable='eq(mod(n+${4 * take},9),4)',noise=alls=3:allf=t:all_seed=${71 + take}`,
  /** Every picture is that before the last. */
  flicker: ({ s, rate }, take) =>
    `${still(s, rate, 'testsrc2')},lutyuv=y=val-${8 + 4 * take}:enable='eq(mod(n,2),1)'`,
  focus: ({ s, rate }, take) =>
    `${still(s, rate, 'testsrc2')},split[sharp][soft];[soft]gblur=sigma=6[soft];[sharp][soft]blend=all_expr='A*(1-min(1,N/60+0.1*${take}))+B*min(1,N/60+0.1*${take})'`,
  ...awkwardPictures,
} as const satisfies Record<string, Draw>;
export type PictureName = keyof typeof pictures;
export const pictureNames = Object.keys(pictures) as PictureName[];
export const plainPictureNames = pictureNames.filter((name) => !(name in awkwardPictures));

export interface ClipName {
  readonly picture: PictureName;
  readonly form: FormName;
  /** 0, or 1 for another take of the same scene. */
  readonly take: number;
}
export const nameOf = ({ picture, form, take }: ClipName): string => `${picture}-${form}-${take + 1}`;

const layouts: Readonly<Record<number, string>> = { 1: 'mono', 2: 'stereo', 8: '7.1' };

/** Voices as far as a level meter and a correlation can tell: noise and tones in syllables, every channel its own. */
function voice(seed: number, channels: number, sampleRate: number): string {
  const one = (channel: number): string => {
    const pitch = 110 + 23 * ((seed + 3 * channel) % 7);
    return `(0.5+0.5*sin(${2 + ((seed + channel) % 3)}*PI*t))*(0.15*sin(2*PI*${pitch}*t+3*sin(2*PI*5*t))+0.08*sin(2*PI*${3 * pitch}*t)+0.1*(random(${channel})-0.5))`;
  };
  return `aevalsrc='${Array.from({ length: channels }, (_, channel) => one(channel)).join('|')}':s=${sampleRate}:c=${layouts[channels] ?? `${channels}c`}`;
}

const tags = {
  bt709: ['bt709', 'bt709'],
  bt2020nc: ['bt2020', 'bt709'],
  smpte170m: ['smpte170m', 'smpte170m'],
} as const;
const scalerMatrix = { bt709: 'bt709', bt2020nc: 'bt2020', smpte170m: 'smpte170m' } as const;
const encoders = {
  rdd36: ['-c:v', 'prores_ks', '-profile:v', 'standard'],
  vc3: ['-c:v', 'dnxhd', '-profile:v', 'dnxhr_hq'],
  h264: ['-c:v', 'libx264', '-preset', 'ultrafast', '-crf', '16', '-bf', '2', '-g', '12', '-threads', '2'],
  /** One group of three seconds whose first pictures are predicted from the one before. */
  'h264-open': [
    ...['-c:v', 'libx264', '-preset', 'veryfast', '-crf', '18', '-bf', '3', '-g', '75', '-keyint_min', '25'],
    ...['-x264-params', 'open-gop=1:keyint=36:scenecut=0', '-threads', '2'],
  ],
  /** Fields coded as such. */
  'h264-fields': [
    ...['-c:v', 'libx264', '-preset', 'veryfast', '-crf', '18', '-bf', '2', '-g', '12', '-threads', '2'],
    ...['-x264-params', 'tff=1'],
  ],
  mpeg2: ['-c:v', 'mpeg2video', '-q:v', '3', '-bf', '2', '-g', '15', '-threads', '2'],
} as const;
const pixelFormats = {
  rdd36: 'yuv422p10le',
  vc3: 'yuv422p',
  h264: 'yuv420p',
  'h264-open': 'yuv420p',
  'h264-fields': 'yuv420p',
  mpeg2: 'yuv420p',
} as const;

/** Of each five frames one comes at its time and four up to 27 ms late, as phones record. */
const VARYING = ',settb=1/90000,setpts=N*3003+mod(N*7\\,5)*600';

function clipArguments(clip: ClipName): string[] {
  const form: Form = forms[clip.form];
  const [num, den] = form.rate.split('/').map(Number) as [number, number | undefined];
  const fields = form.interlaced !== 'no';
  // Two fields a frame, each of its own moment.
  const drawn = fields ? `${2 * num}${den === undefined ? '' : `/${den}`}` : form.rate;
  const source = pictures[clip.picture](
    { s: `${form.width}x${form.height}`, rate: drawn, width: form.width, height: form.height },
    clip.take,
  );
  const woven = fields
    ? `tinterlace=${form.interlaced === 'top-first' ? 'interleave_top' : 'interleave_bottom'},`
    : '';
  const [primaries, transfer] = tags[form.matrix];
  const range = form.range === 'full' ? 'pc' : 'tv';
  const shape = `scale=out_color_matrix=${scalerMatrix[form.matrix]}:out_range=${range}:flags=bicubic,format=${pixelFormats[form.codec]}`;
  const graph = `${source},${shape},${woven}settb=1/(${form.rate}),setpts=N,fps=${form.rate},trim=end_frame=${form.frames}${form.varies === true ? VARYING : ''},setsar=1,setparams=field_mode=${fields ? (form.interlaced === 'top-first' ? 'tff' : 'bff') : 'prog'}:range=${range}:color_primaries=${primaries}:color_trc=${transfer}:colorspace=${form.matrix}[v]`;
  const { sampleRate = 48_000 } = form;
  const samples = Math.round((form.frames * (den ?? 1) * sampleRate) / num);
  const audioTracks = form.audio.map(
    (channels, index) =>
      `${voice(1 + 5 * index + 17 * clip.take + pictureNames.indexOf(clip.picture), channels, sampleRate)}${form.silent === true ? ',volume=0' : ''},atrim=end_sample=${samples}[a${index}]`,
  );
  return [
    ...[
      '-filter_complex',
      [graph, ...audioTracks].join(';'),
      '-map',
      '[v]',
      ...form.audio.flatMap((_, index) => ['-map', `[a${index}]`]),
    ],
    ...[
      '-fps_mode',
      'passthrough',
      ...encoders[form.codec],
      '-pix_fmt',
      pixelFormats[form.codec],
      '-c:a',
      'pcm_s24le',
    ],
    ...(fields ? ['-flags:v', '+ildct+ilme', '-top', form.interlaced === 'top-first' ? '1' : '0'] : []),
    ...[
      '-timecode',
      form.timecode,
      '-metadata:s:v:0',
      'reel_name=A001R1AB',
      ...(form.varies === true ? ['-enc_time_base', '1:90000'] : []),
      '-video_track_timescale',
      form.varies === true ? '90000' : String(num >= 1000 ? num : num * 1000),
    ],
  ];
}

/** `<folder>/<name>.mov`, made if it is not there; throws with the program's words when it cannot be made. */
export async function makeClip(folder: string, clip: ClipName): Promise<string> {
  const path = join(folder, `${nameOf(clip)}.mov`);
  if (existsSync(path)) return path;
  mkdirSync(dirname(path), { recursive: true });
  const part = join(folder, `part-${nameOf(clip)}.mov`);
  await ffmpeg(...clipArguments(clip), part);
  renameSync(part, path);
  return path;
}
