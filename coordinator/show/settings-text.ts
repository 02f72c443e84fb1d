/** Which setting applies to which clip, and who stated it, for people. Pure. */
import type { AppliedSettings, SettingOrigin } from '../../ledger/applied-settings.ts';
import { printable } from '../../files/names.ts';
import { count } from './words.ts';

/** One clip with what it is made by. */
export interface ClipSettings {
  readonly roll: string;
  readonly clip: string;
  readonly settings: AppliedSettings;
}

const SAID: Readonly<Record<SettingOrigin, string>> = {
  'command line': 'by the command line',
  clip: 'by the clip',
  roll: 'by the roll',
  camera: 'by the camera',
  show: 'by the show',
  tags: 'by the tags of the file',
  nobody: 'nobody says otherwise',
};

/** Clips of a roll that are made alike are one entry. */
export function settingsText(clips: readonly ClipSettings[]): string {
  const groups = new Map<string, ClipSettings[]>();
  for (const one of clips) {
    const key = JSON.stringify([one.roll, one.settings]);
    groups.set(key, [...(groups.get(key) ?? []), one]);
  }
  return [...groups.values()].map(groupText).join('\n');
}

function groupText(group: readonly ClipSettings[]): string {
  const [{ roll, settings, clip }] = group as [ClipSettings];
  const others = group.length === 1 ? '' : ` and ${count(group.length - 1, 'further clip')}`;
  const camera = settings.camera === null ? 'no camera of the settings' : `camera ${settings.camera}`;
  const width = Math.max(...settings.applied.map(({ setting }) => setting.length));
  return [
    `${printable(roll)}, ${printable(clip)}${others}: ${printable(camera)}`,
    ...settings.applied
      .filter(({ value, from }) => from !== 'nobody' || value !== '')
      .map(
        ({ setting, value, from }) =>
          `          ${setting.padEnd(width)}  ${printable(value)} (${SAID[from]})`,
      ),
  ].join('\n');
}
