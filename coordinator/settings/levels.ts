/** Which levels of the settings speak of a clip, and what the nearest of them says. Pure. */
import type { SettingOrigin } from '../../ledger/applied-settings.ts';
import { cameraIdentity, cameraModels } from './camera.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { SettingsCamera, SettingsFile, SettingsPart } from './schema.ts';

export interface Level {
  readonly said: Extract<SettingOrigin, 'clip' | 'roll' | 'camera' | 'show'>;
  readonly part: SettingsPart;
}

export interface ClipLevels {
  /** The nearest first. */
  readonly levels: readonly Level[];
  /** Cameras of the settings that the clip is of, by name. More than one: the settings contradict themselves. */
  readonly cameras: readonly string[];
}

const SPECIAL = /[.*+?^${}()|[\]\\]/g;

/** `*` any characters, `?` one, `#` one digit. */
function matches(pattern: string, name: string): boolean {
  const expression = pattern
    .replace(SPECIAL, (character) => (character === '*' ? '.*' : character === '?' ? '.' : `\\${character}`))
    .replaceAll('#', '\\d');
  return new RegExp(`^${expression}$`, 'isu').test(name);
}

const same = (wanted: string | undefined, found: string | null): boolean =>
  wanted === undefined || (found !== null && wanted.trim().toLowerCase() === found.trim().toLowerCase());

/** `facts` null: nothing is known of the files yet, and a camera that is known by them is not recognised. */
function isOf({ known_by: known }: SettingsCamera, roll: string, facts: ClipFacts | null): boolean {
  const { make, serial } = facts === null ? { make: null, serial: null } : cameraIdentity(facts);
  const models = facts === null ? [] : cameraModels(facts);
  return (
    (known.rolls === undefined || known.rolls.some((pattern) => matches(pattern, roll))) &&
    same(known.make, make) &&
    (known.model === undefined || models.some((model) => same(known.model, model))) &&
    same(known.serial, serial)
  );
}

/** Names are data: `constructor` is one like any other. */
const named = <Value>(list: Readonly<Record<string, Value>> | undefined, name: string): Value | undefined =>
  list !== undefined && Object.hasOwn(list, name) ? list[name] : undefined;

/** Of a clip; without one, of its roll as far as names say. */
export function levelsOf(
  file: SettingsFile,
  roll: string,
  clip: { readonly id: string; readonly name: string } | null,
  facts: ClipFacts | null,
): ClipLevels {
  const cameras = (file.cameras ?? []).filter((camera) => isOf(camera, roll, facts));
  const ofRoll = named(file.rolls, roll);
  const ofClip =
    clip === null ? undefined : (named(ofRoll?.clips, clip.id) ?? named(ofRoll?.clips, clip.name));
  const [camera] = cameras;
  const level = (said: Level['said'], part: SettingsPart | undefined): Level[] =>
    part === undefined ? [] : [{ said, part }];
  return {
    levels: [
      ...level('clip', ofClip),
      ...level('roll', ofRoll),
      ...level('camera', camera),
      ...level('show', file.show),
    ],
    cameras: cameras.map(({ name }) => name),
  };
}

/** What the nearest level that states it says; null: no level does. */
export function nearest<Value>(
  levels: readonly Level[],
  of: (part: SettingsPart) => Value | undefined,
): { readonly value: Value; readonly said: Level['said'] } | null {
  for (const { part, said } of levels) {
    const value = of(part);
    if (value !== undefined) return { value, said };
  }
  return null;
}
