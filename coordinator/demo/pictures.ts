/**
 * The pictures of the demo's clips, as filter graphs for ffmpeg: drawn from nothing, the same on every machine that has
 * the same ffmpeg, and moving in every frame. They hold no text of anybody's and need no escaping.
 */

export interface Picture {
  /** Sources of the `lavfi` device, in order. */
  readonly sources: readonly string[];
  /** Takes them as [0], [1], … and leaves the picture on its only free end. */
  readonly graph: string;
}

const SIZE = { width: 960, height: 540 } as const;
const size = `${SIZE.width}x${SIZE.height}`;

interface Gradients {
  readonly rate: string;
  readonly kind: 'linear' | 'radial' | 'spiral';
  /** RRGGBB. */
  readonly colours: readonly string[];
  /** Pixels. */
  readonly from: readonly [x: number, y: number];
  readonly to: readonly [x: number, y: number];
  /** Of turning, as ffmpeg's `gradients` takes it. */
  readonly speed: number;
}

function gradients({ rate, kind, colours, from, to, speed }: Gradients): string {
  const stops = colours.map((colour, index) => `c${index}=0x${colour}`).join(':');
  const line = `x0=${from[0]}:y0=${from[1]}:x1=${to[0]}:y1=${to[1]}`;
  return `gradients=s=${size}:r=${rate}:type=${kind}:${stops}:nb_colors=${colours.length}:${line}:seed=3:speed=${speed},format=gbrp`;
}

/** How far down the bell a pixel lies, 0 at the crown, 1 at the lip. */
const DOWN = 'clip((Y/H-0.1)/0.68,0,1)';
/** Half the bell's width there: shoulder, waist, and the flare to the lip. */
const HALF_WIDTH = `(0.145*sqrt(clip(${DOWN}*6,0,1))+0.03*${DOWN}+0.14*pow(${DOWN},4))`;
const bronze = (base: number, light: number, rim: number): string =>
  `'clip(${base}+${light}*exp(-pow((X/W-0.42)*8,2))+${rim}*exp(-pow((X/W-0.64)*9,2)),0,255)'`;
const BODY = `between(Y/H,0.10,0.775+0.03*(1-pow((X/W-0.5)/0.33,2)))*lt(abs(X/W-0.5),${HALF_WIDTH})`;
const CLAPPER = 'lt(hypot(X/W-0.5,Y/H-0.83),0.04)';
const CROWN = 'between(Y/H,0.02,0.1)*lt(abs(X/W-0.5),0.03)';
/** Drawn small, once, since pixel expressions are slow. */
const BELL = `color=black:s=270x270:r=1,format=rgba,geq=r=${bronze(84, 150, 40)}:g=${bronze(48, 112, 24)}:b=${bronze(22, 62, 10)}:a='255*clip(${BODY}+${CLAPPER}+${CROWN},0,1)',scale=540:540:flags=bicubic`;

/** A bell that swings before a sky. */
export function bell(rate: string, sky: readonly string[], swingSeconds: number): Picture {
  return {
    sources: [
      gradients({ rate, kind: 'linear', colours: sky, from: [480, 540], to: [480, 0], speed: 0.00001 }),
      BELL,
    ],
    graph: `[1]loop=-1:1:0,fps=${rate},rotate='0.22*sin(2*PI*t/${swingSeconds})':c=none:ow=iw:oh=ih[bell];[0][bell]overlay=(W-w)/2:0:shortest=0`,
  };
}

/** Molten metal with sparks above it. */
export function pour(rate: string, metal: readonly string[], seed: number): Picture {
  return {
    sources: [
      gradients({ rate, kind: 'radial', colours: metal, from: [480, 330], to: [900, 330], speed: 0.02 }),
      `color=black:s=160x90:r=30,format=gray,noise=c0s=100:c0f=t:c0_seed=${seed},lut=c0='if(gt(val,105),255,0)',scale=${size}:flags=bilinear,gblur=sigma=1.6,fps=${rate},format=gbrp,colorchannelmixer=gg=0.85:bb=0.5`,
    ],
    graph: '[0][1]blend=all_mode=screen:shortest=1',
  };
}

/** Clay that turns under the template. */
export function clay(rate: string, earth: readonly string[]): Picture {
  return {
    sources: [
      gradients({ rate, kind: 'spiral', colours: earth, from: [480, 270], to: [960, 270], speed: 0.03 }),
    ],
    graph: '[0]null',
  };
}
