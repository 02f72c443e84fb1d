/** Records as the program writes them, against docs/schemas/ by a validator that is not ours (ajv, JSON Schema draft 2020-12). */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { packageFolder } from '../../files/installation.ts';
import { faultsIn } from '../support/schemas.ts';
import { clip, report } from '../support/world.ts';
import { exampleFile } from '../../setup/profiles-page.mjs';
import { exampleSettings } from '../../setup/settings-page.mjs';

test('a report of a deliverable fits its schema, and one without its state does not', () => {
  const whole = report(clip, 'cut', 'hash-cut');
  expect(faultsIn('deliverable-report', whole)).toEqual([]);
  expect(faultsIn('deliverable-report', { ...whole, state: 'nearly' })).not.toEqual([]);
});

describe('files that people write', () => {
  const builtIns = join(packageFolder, 'profiles', 'builtin');
  test.each(readdirSync(builtIns))('the built-in profile %s', (name) => {
    const read = (file: string): { kind?: string; extends?: string } =>
      parse(readFileSync(join(builtIns, file), 'utf8')) as { kind?: string; extends?: string };
    const profile = read(name);
    // A profile that extends another one takes its kind over.
    const kind = profile.kind ?? read(`${profile.extends}.yaml`).kind;
    expect(faultsIn(`profile-${kind}`, profile)).toEqual([]);
  });

  test('a profile that takes over another one, and the same with a field that does not exist', () => {
    const profile = parse(exampleFile) as object;
    expect(faultsIn('profile-movie', profile)).toEqual([]);
    expect(faultsIn('profile-movie', { ...profile, codec: 'vc3' })).not.toEqual([]);
  });

  test('the settings that docs/settings.md shows, and those that name files, whose digests nobody writes', () => {
    expect(faultsIn('settings', parse(exampleSettings))).toEqual([]);
    const named = {
      version: 1,
      show: {
        input: { file: 'in.cube', gives: 'acescct' },
        cdl: { file: 'day.ccc', id: 'pit' },
        look: { file: 'show.cube', from: 'acescct', to: 'srgb' },
        cdls: { path: 'cdls' },
      },
      rolls: {
        A001: { cdl: 'none', look: 'none', output: 'as-recorded', exposure: 1, gamut_compression: true },
      },
    };
    expect(faultsIn('settings', named)).toEqual([]);
    expect(faultsIn('settings', { ...named, show: { look: { file: 'show.3dl' } } })).not.toEqual([]);
    expect(faultsIn('settings', { ...named, show: { exposure: 11 } })).not.toEqual([]);
  });

  const examples = join(packageFolder, 'media', 'raw', 'decoders', 'examples');
  test.each(readdirSync(examples))('the declaration %s', (name) => {
    expect(faultsIn('decoder', parse(readFileSync(join(examples, name), 'utf8')))).toEqual([]);
  });
});
