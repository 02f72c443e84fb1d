/** What files and settings say for text in the picture, of profiles that write it. Pure. */
import type { AppliedSetting } from '../../ledger/applied-settings.ts';
import type { BurnInFacts, ClipFacts } from '../../media/facts.ts';
import { type AnyProfile, isMaster } from '../../profiles/schema.ts';
import { cameraIdentity } from './camera.ts';
import { type Level, nearest } from './levels.ts';
import type { CameraText, SettingsShow } from './schema.ts';

export interface PictureTexts {
  /** null: no profile that is due writes any of it. */
  readonly burnIn: BurnInFacts | null;
  readonly applied: readonly AppliedSetting[];
}

export interface PictureTextsRequest {
  readonly levels: readonly Level[];
  readonly show: SettingsShow | undefined;
  /** Of the settings, by name; null: the clip is of none of them, or of more than one. */
  readonly camera: string | null;
  readonly roll: string;
  readonly facts: ClipFacts;
  /** Those that are due. */
  readonly profiles: readonly AnyProfile[];
}

const ROLL_LETTERS = /^\p{L}+/u;

function cameraOf(
  said: CameraText | null,
  { camera, roll, facts }: PictureTextsRequest,
): BurnInFacts['camera'] {
  const { make, model, serial } = cameraIdentity(facts);
  const names: Readonly<Record<CameraText, BurnInFacts['camera']>> = {
    name: camera === null ? null : { name: camera, from: 'name in the settings' },
    // Makers say their own name in the model too.
    model:
      model === null
        ? null
        : {
            name:
              make === null || model.toLowerCase().startsWith(make.toLowerCase())
                ? model
                : `${make} ${model}`,
            from: 'model in the file',
          },
    serial: serial === null ? null : { name: serial, from: 'serial number in the file' },
    roll: ROLL_LETTERS.test(roll)
      ? { name: ROLL_LETTERS.exec(roll)?.[0] ?? roll, from: 'letters of the roll' }
      : null,
  };
  return said === null ? (names.name ?? names.model) : names[said];
}

export function pictureTexts(request: PictureTextsRequest): PictureTexts {
  const { levels, show, profiles } = request;
  const movies = profiles.filter((profile) => !isMaster(profile));
  const writes = (text: string): boolean =>
    movies.some(({ burn_in: texts }) => texts.some((item) => item.text === text));
  const marked = movies.some(({ watermark }) => watermark?.words === null);
  if (!writes('camera') && !writes('date') && !marked) return { burnIn: null, applied: [] };
  const said = nearest(levels, (part) => part.burn_in?.camera);
  const watermark = marked ? nearest(levels, (part) => part.burn_in?.watermark) : null;
  const camera = writes('camera') ? cameraOf(said?.value ?? null, request) : null;
  return {
    burnIn: {
      camera,
      watermark: watermark?.value ?? null,
      timeZone: writes('date') ? (show?.time_zone ?? null) : null,
    },
    applied: [
      ...(writes('camera')
        ? [
            {
              setting: 'burn_in.camera',
              value: camera === null ? 'not known' : `${camera.name} (${camera.from})`,
              from: said?.said ?? ('nobody' as const),
            },
          ]
        : []),
      ...(marked
        ? [
            {
              setting: 'burn_in.watermark',
              value: watermark?.value ?? 'not known',
              from: watermark?.said ?? ('nobody' as const),
            },
          ]
        : []),
    ],
  };
}
