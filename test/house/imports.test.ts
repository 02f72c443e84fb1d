/** The house: imports go one way, and coordinator and worker never meet but in the ledger and the queue. */
import { builtinModules } from 'node:module';
import { readFileSync } from 'node:fs';
import { dirname, join, posix } from 'node:path';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { importsOf, type Room, rooms, sourcesOf } from './sources.ts';

/** Whom a room may import from, besides itself: every room before it, but coordinator and worker never each other. */
function mayUse(room: Room): readonly Room[] {
  const before = rooms.slice(0, rooms.indexOf(room));
  return room === 'worker' ? before.filter((other) => other !== 'coordinator') : before;
}

function importsByFile(room: Room): { file: string; imports: string[] }[] {
  return sourcesOf(room).map(({ file, text }) => ({ file, imports: importsOf(text) }));
}

describe('reading imports', () => {
  test.each([
    ["import a from './a.ts';", ['./a.ts']],
    ["import { b,\n  type C } from '../b.ts';\nimport 'c';", ['../b.ts', 'c']],
    ["export { d } from './d.ts';\nexport * from './e.ts';", ['./d.ts', './e.ts']],
    ["const f = await import('./f.ts');", ['./f.ts']],
    ["// import g from './g.ts';\n/* import h from './h.ts'; */\nexport const from = 'i';", []],
  ])('%j', (text, expected) => {
    expect(importsOf(text)).toEqual(expected);
  });
});

test.each(rooms.map((room) => [room]))('%s imports only from the rooms before it', (room) => {
  const sources = importsByFile(room);
  expect(sources).not.toEqual([]);
  const wrong = sources.flatMap(({ file, imports }) =>
    imports
      .filter((name) => name.startsWith('.'))
      .map((name) => posix.join(dirname(file), name))
      .filter((target) => ![room, ...mayUse(room)].includes(target.split('/')[0] as Room))
      .map((target) => `${file} -> ${target}`),
  );
  expect(wrong).toEqual([]);
});

test('imports of our own end in .ts', () => {
  const wrong = rooms.flatMap((room) =>
    importsByFile(room).flatMap(({ file, imports }) =>
      imports
        .filter((name) => name.startsWith('.') && !name.endsWith('.ts'))
        .map((name) => `${file} -> ${name}`),
    ),
  );
  expect(wrong).toEqual([]);
});

test('every package that is imported is a dependency, and every dependency is imported', () => {
  const manifest = JSON.parse(readFileSync(join(packageFolder, 'package.json'), 'utf8')) as {
    dependencies: Record<string, string>;
    optionalDependencies: Record<string, string>;
  };
  const imported = new Set(
    rooms
      .flatMap((room) => importsByFile(room).flatMap(({ imports }) => imports))
      .filter((name) => !name.startsWith('.') && !name.startsWith('node:'))
      .map((name) =>
        name
          .split('/')
          .slice(0, name.startsWith('@') ? 2 : 1)
          .join('/'),
      ),
  );
  expect([...imported].filter((name) => builtinModules.includes(name))).toEqual([]);
  // A package of files alone: files/installation.ts finds the font in it.
  imported.add('dejavu-fonts-ttf');
  expect([...imported].sort()).toEqual(Object.keys(manifest.dependencies).sort());
});
