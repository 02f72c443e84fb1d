/** Copies that are one, on this machine: hard links, mounts of every kind that root can make. Each case has a mount namespace of its own (unshare(1)), so that nothing stays behind. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { programFile } from '../../files/installation.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { needsRoot } from '../support/root.ts';

interface Checked {
  verdict: string;
  rolls: {
    copies: { verified: boolean; oneWith?: string }[];
    findings: { code: string; copy?: string }[];
  }[];
  findings: { code: string }[];
}

/** `script` makes `$copy` from `$day`; `$base` is a folder of its own. */
function checkWith(script: string, mounts: boolean): { verified: boolean[]; one: number; codes: string[] } {
  const base = freshFolder('copies');
  const day = join(base, 'day-07');
  mkdirSync(join(day, 'A001', 'Clips'), { recursive: true });
  writeFileSync(join(day, 'A001', 'Clips', 'foundry-1.mov'), 'molten bronze');
  writeFileSync(join(day, 'A001', 'sheet.txt'), 'bell, first casting');
  writeMd5Manifest(join(day, 'A001'));
  const command = programFile('coordinator/cli.js');
  const text = `set -e; copy="$base/copy"; mkdir "$copy"; ${script}
    "$node" "$cli" check "$day" --copy "$copy" --json --quiet || [ $? -lt 3 ]`;
  const words = mounts ? ['unshare', '-m', '--propagation', 'private', 'bash', '-c'] : ['bash', '-c'];
  const stdout = execFileSync(words[0] as string, [...words.slice(1), text], {
    encoding: 'utf8',
    env: { ...process.env, base, day, node: process.execPath, cli: command },
  });
  const { rolls, findings } = JSON.parse(stdout) as Checked;
  const [roll] = rolls ?? [];
  return {
    verified: (roll?.copies ?? []).map(({ verified }) => verified),
    one: (roll?.copies ?? []).filter(({ oneWith }) => oneWith !== undefined).length,
    codes: [...(roll?.findings ?? []), ...findings].map(({ code }) => code),
  };
}

const image = 'mke2fs -q -t ext2 -d "$day" "$base/disk.img" 8M >&2';

type Case = readonly [what: string, script: string, verified: boolean[], codes: string[]];
const cases: readonly Case[] = [
  [
    'a real second copy on the same drive is a note',
    'cp -a "$day/." "$copy"',
    [true, true],
    ['copy-same-drive'],
  ],
  [
    'one hard link among copied files is found',
    'cp -a "$day/." "$copy"; ln -f "$day/A001/Clips/foundry-1.mov" "$copy/A001/Clips/foundry-1.mov"',
    [true, false],
    ['copy-same-file'],
  ],
  ...further<Case>([
    'hard links are no second copy',
    'mkdir "$copy/A001" "$copy/A001/Clips"; (cd "$day"; for f in A001/Clips/foundry-1.mov A001/sheet.txt A001/checksums.md5; do ln "$f" "$copy/$f"; done)',
    [true, false],
    ['copy-same-file'],
  ]),
];

const mounted: readonly Case[] = [
  ['a copy on another file system', 'mount -t tmpfs none "$copy"; cp -a "$day/." "$copy"', [true, true], []],
  [
    'a bind mount of the roll',
    'mkdir "$copy/A001"; mount --bind "$day/A001" "$copy/A001"',
    [true, false],
    ['copy-same-place'],
  ],
  [
    'a bind mount of a folder within the roll',
    'cp -a "$day/." "$copy"; mount --bind "$day/A001/Clips" "$copy/A001/Clips"',
    [true, false],
    ['copy-same-file'],
  ],
  [
    'an overlay over the day',
    'mkdir "$base/up" "$base/work"; mount -t overlay overlay -o "lowerdir=$day,upperdir=$base/up,workdir=$base/work" "$copy"',
    [true, false],
    ['copy-same-file'],
  ],
  [
    'an overlay over another copy',
    'mkdir "$base/up" "$base/work" "$base/low"; cp -a "$day/." "$base/low"; mount -t overlay overlay -o "lowerdir=$base/low,upperdir=$base/up,workdir=$base/work" "$copy"',
    [true, true],
    [],
  ],
  ...further<Case>([
    'an image with a copy of its own',
    `${image}; mount -o loop,ro "$base/disk.img" "$copy"`,
    [true, true],
    [],
  ]),
  [
    'one image on two loop devices',
    `${image}; mkdir "$base/first"; one=$(losetup -rf --show "$base/disk.img"); two=$(losetup -rf --show "$base/disk.img"); trap 'umount "$copy" "$day"; losetup -d "$one" "$two"' EXIT; mount -r "$one" "$copy"; mount -r "$two" "$day"`,
    [true, false],
    ['copy-same-file'],
  ],
];

function expectOf([, script, verified, codes]: Case, mounts: boolean): void {
  const result = checkWith(script, mounts);
  expect(result).toMatchObject({ verified, one: 0 });
  for (const code of codes) expect(result.codes).toContain(code);
  if (codes.length === 0) expect(result.codes).toEqual([]);
}

for (const one of cases) test(one[0], () => expectOf(one, false));
for (const one of mounted)
  test(one[0], (context) => {
    needsRoot(context);
    expectOf(one, true);
  });
