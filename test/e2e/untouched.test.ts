/** What is only read is left exactly as it was: by a whole night, and by every command that writes nothing. */
import { existsSync, lstatSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { commandProcess, runCli } from '../support/cli.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { sharedFolder } from '../support/folder.ts';

const runCommand = commandProcess();

const base = join(sharedFolder, 'untouched');
const day = join(base, 'day-07');
const copy = join(base, 'copy', 'day-07');
const delivery = join(base, 'delivery');
const profile = ['--profile', 'test/fixtures/profiles/small-vc3.yaml'];

/** Everything that a write, rename or change of rights would alter; ctime tells even what puts mtime back. */
function stateOf(folder: string): string[] {
  return ['.', ...(readdirSync(folder, { recursive: true }) as string[])].sort().map((path) => {
    const { ino, size, mode, mtimeMs, ctimeMs } = lstatSync(join(folder, path));
    return `${path} ${ino} ${size} ${mode} ${mtimeMs} ${ctimeMs}`;
  });
}

let before: string[];
beforeAll(async () => {
  await makeDay(day, {
    A001: { 'A001C001.mov': { frames: 12 }, 'A001C002.mov': { frames: 12, timecode: null } },
  });
  copyDay(day, copy);
  before = [...stateOf(day), ...stateOf(copy)];
}, 120_000);

describe.sequential('shoot day and copy', () => {
  test.each<[string, string[], number]>([
    ['check', ['check', day, '--copy', copy], 0],
    ['plan', ['plan', day, '--copy', copy, '--deliver', delivery, ...profile], 1],
  ])('%s writes nothing anywhere', async (_name, args, code) => {
    const result = await runCli([...args, '--json', '--quiet'], { XDG_CACHE_HOME: join(base, 'cache') });
    expect(result.code, result.stdout).toBe(code);
    expect([...stateOf(day), ...stateOf(copy)]).toEqual(before);
    expect(existsSync(delivery)).toBe(false);
    expect(existsSync(join(base, 'cache'))).toBe(false);
  });

  test('a night leaves its sources as they were', async () => {
    const result = await runCli([
      'run',
      day,
      '--copy',
      copy,
      '--deliver',
      delivery,
      '--work',
      join(base, 'work'),
      ...profile,
    ]);
    expect(result.code, result.stdout).toBe(1);
    expect([...stateOf(day), ...stateOf(copy)]).toEqual(before);
  });

  test('audit and status leave the delivery as it was', async () => {
    const made = stateOf(delivery);
    await runCommand(['audit', delivery]);
    await runCommand(['status', delivery, '--work', join(base, 'work')]);
    expect(stateOf(delivery)).toEqual(made);
  });
});
