/** Which setting applies to which clip, and who stated it, for people. Pure. */
import type { AppliedSettings, SettingOrigin } from '../../ledger/applied-settings.ts';
import { printable } from '../../files/names.ts';
import type { CameraIdentity } from '../settings/camera.ts';
import { count } from './words.ts';

/** One clip with what it is made by. */
export interface ClipSettings {
  readonly roll: string;
  readonly clip: string;
  readonly settings: AppliedSettings;
  /** What its files say of the camera. */
  readonly identity: CameraIdentity;
}

const SAID: Readonly<Record<SettingOrigin, string>> = {
  'command line': 'by the command line',
  clip: 'by the clip',
  cdls: 'by the CDLs of the show',
  roll: 'by the roll',
  camera: 'by the camera',
  show: 'by the show',
  tags: 'by the tags of the file',
  nobody: 'nobody says otherwise',
};

/** So that `known_by` can be written from it; empty where the files say nothing. */
function identityText(identity: CameraIdentity): string {
  const said = Object.entries(identity).flatMap(([name, value]) =>
    value === null ? [] : [`${name} ${printable(value)}`],
  );
  return said.length === 0 ? '' : `; its files say ${said.join(', ')}`;
}

/** Clips of a roll that are made alike are one entry. */
export function settingsText(clips: readonly ClipSettings[]): string {
  const groups = new Map<string, ClipSettings[]>();
  for (const one of clips) {
    const key = JSON.stringify([one.roll, one.settings, one.identity]);
    groups.set(key, [...(groups.get(key) ?? []), one]);
  }
  return [...groups.values()].map(groupText).join('\n');
}

function groupText(group: readonly ClipSettings[]): string {
  const [{ roll, settings, clip, identity }] = group as [ClipSettings];
  const others = group.length === 1 ? '' : ` and ${count(group.length - 1, 'further clip')}`;
  const camera = settings.camera === null ? 'no camera of the settings' : `camera ${settings.camera}`;
  const width = Math.max(...settings.applied.map(({ setting }) => setting.length));
  return [
    `${printable(roll)}, ${printable(clip)}${others}: ${printable(camera)}${identityText(identity)}`,
    ...settings.applied
      .filter(({ value, from }) => from !== 'nobody' || value !== '')
      .map(
        ({ setting, value, from }) =>
          `          ${setting.padEnd(width)}  ${printable(value)} (${SAID[from]})`,
      ),
  ].join('\n');
}
