/** Which camera recorded a clip, as far as its own files say. */
import type { ClipFacts } from '../../media/facts.ts';

/** null: the files do not say. */
export interface CameraIdentity {
  readonly make: string | null;
  readonly model: string | null;
  readonly serial: string | null;
}

/** Raw frames, movies and stills each spell the tag in their own way; of a key of QuickTime metadata (com.….make) the last part counts. */
function tagged(metadata: ClipFacts['metadata'], names: readonly string[]): string | null {
  for (const [key, value] of Object.entries(metadata)) {
    const last = key.toLowerCase().split('.').at(-1) ?? '';
    if (names.includes(last.replace(/[ _-]/g, '')) && value.trim() !== '') return value.trim();
  }
  return null;
}

export function cameraIdentity({ metadata }: Pick<ClipFacts, 'metadata'>): CameraIdentity {
  return {
    make: tagged(metadata, ['make', 'cameramake', 'manufacturer']),
    model: tagged(metadata, ['model', 'cameramodel']),
    serial: tagged(metadata, ['serial', 'serialnumber', 'cameraserial', 'cameraserialnumber']),
  };
}
