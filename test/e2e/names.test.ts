/** Names are data: every name that a file system takes goes through the whole night, or is refused with a finding. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, renameSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { fsPath, nameFromBytes } from '../../files/names.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import { type CliResult, runCli } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { readVerdict } from '../support/delivery.ts';
import { sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { ffmpeg } from '../support/media.ts';
import { runWords, smallProfile } from '../support/night.ts';

const base = join(sharedFolder, 'names');
const dayName = "day 5 'bell' 100%";
const day = join(base, dayName);
const delivery = join(base, 'delivery: first "cut"');

/** Stems; each becomes `<stem>.mov`. */
const stems: readonly string[] = [
  'say "it\'s cast" in 100%d %04d words جرس e\u0301cole',
  '10:30:00 back\\slash and line\nbreak',
  '--help {braces},[x];y $(touch owned)',
  nameFromBytes(Buffer.from([0x62, 0x65, 0x6c, 0x6c, 0xff, 0xfe])),
  `${'n'.repeat(251)}`,
  // Each of those that stand together above.
  ...further(
    'plain',
    'two words',
    "it's quoted",
    'say "cast"',
    '100%d',
    '--help',
    'line\nbreak',
    'جرس',
    'e\u0301cole',
    '%04d',
    '10:30:00',
    'back\\slash',
    '-leading',
    '{braces},[x];y',
    '$(touch owned)',
  ),
];

describe('names of every kind', () => {
  let result: CliResult;
  let verdict: RollVerdict;

  beforeAll(async () => {
    const roll = join(day, 'A002');
    mkdirSync(roll, { recursive: true });
    // One picture, a label for each: clips of equal bytes would be taken for one that lies there twice.
    const made = stems.map((_, index) => join(base, `made-${index}.mov`));
    await ffmpeg(
      ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24000/1001'],
      ...made.flatMap((path, index) => [
        ...[
          '-map',
          '0:v',
          '-frames:v',
          '6',
          '-c:v',
          'prores_ks',
          '-profile:v',
          '1',
          '-pix_fmt',
          'yuv422p10le',
        ],
        ...['-vf', 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv'],
        ...['-timecode', `05:00:${String(index).padStart(2, '0')}:00`, path],
      ]),
    );
    for (const [index, stem] of stems.entries())
      renameSync(made[index] as string, fsPath(`${roll}/${stem}.mov`));
    writeMd5Manifest(roll);
    const profiles = [smallProfile, ...further('test/fixtures/profiles/small-h264.yaml')];
    result = await runCli(runWords({ day, delivery, work: join(base, 'work'), profiles }));
    verdict = await readVerdict(delivery, dayName, 'A002');
  }, 240_000);

  test('the roll is ready with every clip', () => {
    expect(verdict.findings).toEqual([]);
    expect(verdict.verdict).toBe('ready');
    expect(result.code, result.stderr).toBe(0);
    expect(verdict.clips).toHaveLength(stems.length);
    for (const entry of verdict.clips)
      expect(entry.deliverables.map((made) => made.state)).toEqual(
        everyRow ? ['published', 'published'] : ['published'],
      );
  });

  test('each clip keeps the name that the camera gave, byte for byte', () => {
    expect(verdict.clips.map((entry) => entry.clip.name).sort()).toEqual([...stems].sort());
  });

  test('published names are whole, different, and free of what other file systems refuse', () => {
    const files = verdict.clips.flatMap((entry) => entry.deliverables.map((made) => made.file ?? ''));
    expect(new Set(files.map((file) => file.normalize('NFC').toLowerCase())).size).toBe(files.length);
    for (const file of files) {
      const name = file.slice(file.lastIndexOf('/') + 1);
      // Characters that Windows and SMB refuse (Microsoft, "Naming Files, Paths, and Namespaces").
      // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
      expect(name).not.toMatch(/[<>:"/\\|?*\u0000-\u001f]/);
      expect(Buffer.byteLength(name)).toBeLessThanOrEqual(255);
    }
  });

  test('a name is never run', () => {
    expect(() => execFileSync('test', ['-e', 'owned'])).toThrow();
  });
});
