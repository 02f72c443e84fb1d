/** Which camera recorded a clip, as far as its own files say. */
import type { ClipFacts } from '../../media/facts.ts';

/** null: the files do not say. */
export interface CameraIdentity {
  readonly make: string | null;
  readonly model: string | null;
  readonly serial: string | null;
}

type Said = Pick<ClipFacts, 'metadata' | 'stated'>;

/** Raw frames, movies and stills each spell the tag in their own way; of a key of QuickTime metadata (com.….make) the last part counts. */
function tagged({ metadata }: Said, names: readonly string[]): string | null {
  for (const [key, value] of Object.entries(metadata)) {
    const last = key.toLowerCase().split('.').at(-1) ?? '';
    if (names.includes(last.replace(/[ _-]/g, '')) && value.trim() !== '') return value.trim();
  }
  return null;
}

/** What the frames of the clip state, all of them the same; `from`: only where the source calls it so. */
function stated({ stated: all }: Said, name: string, from?: string): string | null {
  const found = all?.attributes.find((one) => one.name === name && (from === undefined || one.from === from));
  const [only, ...others] = found?.values ?? [];
  if (only === undefined || others.length > 0 || typeof only.value !== 'string') return null;
  return only.value.trim() === '' ? null : only.value.trim();
}

/** Every name of the model that its files give, the one that people are shown first. A DNG frame may have two; DPX has the name of its input device. */
export function cameraModels(said: Said): string[] {
  const models = [
    tagged(said, ['model', 'cameramodel']),
    stated(said, 'cameraModel'),
    stated(said, 'uniqueCameraModel'),
    stated(said, 'cameraLabel', 'input device'),
  ];
  return [...new Set(models.filter((model) => model !== null))];
}

export function cameraIdentity(said: Said): CameraIdentity {
  return {
    make: tagged(said, ['make', 'cameramake', 'manufacturer']) ?? stated(said, 'cameraMake'),
    model: cameraModels(said)[0] ?? null,
    serial:
      tagged(said, ['serial', 'serialnumber', 'cameraserial', 'cameraserialnumber']) ??
      stated(said, 'cameraSerialNumber'),
  };
}
