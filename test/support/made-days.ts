/** How days were made, as records of it: everything alike but what a test is about. */
import type { DayMade } from '../../handover/consistency/made.ts';
import type { Trait } from '../../handover/consistency/traits.ts';

const USUAL = {
  form: 'mov',
  codec: 'vc3 DNXHR LB',
  raster: '1920x1080',
  rate: '24000/1001 frames/s',
  audio: '1 x stereo pcm_s24le 48000 Hz',
  naming: '{clip}',
  look: 'as recorded',
} as const satisfies Partial<Record<Trait, string>>;

export interface MadeOver extends Partial<Record<keyof typeof USUAL, string>> {
  readonly hash?: string;
  readonly fields?: Readonly<Record<string, string>>;
  readonly toolchain?: string;
  readonly because?: string;
}

export function madeDay(day: string, { hash, fields, toolchain, because, ...over }: MadeOver = {}): DayMade {
  return {
    version: 0,
    kind: 'made',
    day,
    rolls: 1,
    ready: 1,
    clips: 2,
    tenths: 40,
    toolchains: [{ digest: toolchain ?? 'a', words: toolchain ?? 'ffmpeg 7.1, ffprobe 7.1, recipe 9' }],
    profiles: [
      {
        name: 'editorial-vc3',
        forms: [{ hash: hash ?? '1', fields: { 'video.quality': '"lb"', ...fields } }],
        traits: Object.entries({ ...USUAL, ...over }).map(([trait, value]) => ({
          trait: trait as Trait,
          values: [{ value, clips: 2, first: ['A001 A001C001', 'A001 A001C002'], because: because ?? null }],
        })),
      },
    ],
  };
}
