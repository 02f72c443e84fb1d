/** The house: imports go one way between rooms and inside media, never in a circle, and a checker shares nothing with what it checks. */
import { builtinModules } from 'node:module';
import { readFileSync } from 'node:fs';
import { dirname, join, posix } from 'node:path';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import {
  circlesIn,
  groupedGraph,
  importGraphOf,
  importsOf,
  reachedFrom,
  type Room,
  rooms,
  sourcesOf,
} from './sources.ts';

const graph = importGraphOf(rooms.flatMap((room) => sourcesOf(room)));

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

/**
 * The parts of media, each of which imports only from those before it. Formats come before facts: a file format knows nothing of
 * clips. Numbering of frames (`sequence`) stands on what probing says of one of them, raw clips on both.
 */
const partsOfMedia = [
  'time',
  'sound',
  'kernels',
  'formats',
  'colour',
  'interpretation.ts',
  'declaration.ts',
  'raw-facts.ts',
  'facts.ts',
  'codec-names.ts',
  'pixel-format.ts',
  'upright.ts',
  'fields.ts',
  'recorded.ts',
  'input.ts',
  'probe',
  'sequence',
  'raw',
];
/** The parts of media/formats: what all stills share, then the formats, of which DNG alone stands on another. */
const partsOfFormats = [
  'still.ts',
  'timecode.ts',
  'stated-schema.ts',
  'stated.ts',
  'exr',
  'dpx',
  'tiff',
  'dng',
  'wave',
];
/** What a file or folder directly below `folder` is called; null for what lies elsewhere. */
const partOf =
  (folder: string) =>
  (file: string): string | null =>
    file.startsWith(`${folder}/`) ? (file.slice(folder.length + 1).split('/')[0] as string) : null;

test.each([
  ['media', partsOfMedia],
  ['media/formats', partsOfFormats],
])(
  'the parts of %s import only from those before them, and none is left out of the order',
  (folder, order) => {
    const parts = groupedGraph(graph, partOf(folder));
    expect([...parts.keys()].sort()).toEqual([...order].sort());
    const wrong = [...parts].flatMap(([part, targets]) =>
      targets
        .filter((target) => order.indexOf(target) > order.indexOf(part))
        .map((target) => `${part} -> ${target}`),
    );
    expect(wrong).toEqual([]);
  },
);

test('every format that is written has a header, a reader and a writer under these names', () => {
  for (const format of ['exr', 'dpx'])
    for (const name of ['header', 'reader', 'writer'])
      expect(graph.has(`media/formats/${format}/${name}.ts`)).toBe(true);
  for (const format of ['tiff', 'dng', 'wave'])
    for (const name of ['header', 'reader'])
      expect(graph.has(`media/formats/${format}/${name}.ts`)).toBe(true);
});

describe('circles', () => {
  test.each<[string, Record<string, string[]>, string[]]>([
    ['none', { a: ['b', 'c'], b: ['c'], c: [] }, []],
    ['two files', { a: ['b'], b: ['a'] }, ['a -> b -> a']],
    ['a file that imports itself', { a: ['a'] }, ['a -> a']],
    ['further down', { a: ['b'], b: ['c'], c: ['d'], d: ['b'] }, ['b -> c -> d -> b']],
  ])('%s', (_name, edges, circles) => {
    expect(circlesIn(new Map(Object.entries(edges)))).toEqual(circles);
  });

  test('no file imports itself through others, types included', () => {
    expect(circlesIn(graph)).toEqual([]);
  });

  test('audit, provenance and records of the coordinator import one another one way only', () => {
    const folders = ['audit', 'provenance', 'records'];
    const parts = groupedGraph(graph, (file) => {
      const part = partOf('coordinator')(file);
      return part !== null && folders.includes(part) ? part : null;
    });
    expect([...parts.keys()].sort()).toEqual(folders);
    expect(circlesIn(parts)).toEqual([]);
  });
});

describe('a checker shares nothing with what it checks', () => {
  /** All that a frame of a master is measured with. */
  const measuring = ['check/master/exr.ts', 'check/master/dpx.ts', 'check/master/thread.ts'];
  /**
   * What measuring may stand on besides check/master itself: digests and names of files, threads, which pixels are looked at, and
   * the arithmetic of rates, whose values the tests hold against published ones.
   */
  const shared = [
    'files/',
    'findings/',
    'process/threads.ts',
    'proof/pixel-samples.ts',
    'proof/form.ts',
    'proof/whole-frame-sketch.ts',
    'proof/curve-steps.ts',
    'media/time/',
  ];

  test.each(measuring.map((file) => [file]))(
    '%s reaches no reader or writer of formats, even through others',
    (file) => {
      const reached = reachedFrom(file, graph);
      expect(reached).toContain(
        file === 'check/master/dpx.ts' ? 'check/master/time-address.ts' : 'check/master/exr/standard.ts',
      );
      const strange = reached.filter(
        (target) => !['check/master/', ...shared].some((place) => target.startsWith(place)),
      );
      expect(strange).toEqual([]);
    },
  );

  test('what reads light a second time stands on nothing at all, and nothing of the checker on what measures it', () => {
    expect(reachedFrom('check/light/reader.ts', graph)).toEqual([]);
    const measuring = [...graph].filter(([, targets]) => targets.includes('proof/light/meter.ts'));
    expect(measuring.map(([file]) => file)).toEqual(['worker/content-light.ts']);
  });

  test('no file of the checker imports from media/formats', () => {
    const wrong = [...graph].flatMap(([file, targets]) =>
      file.startsWith('check/')
        ? targets
            .filter((target) => target.startsWith('media/formats/'))
            .map((target) => `${file} -> ${target}`)
        : [],
    );
    expect(wrong).toEqual([]);
  });

  test('what writes imports nothing of the checker but its result', () => {
    const wrong = [...graph].flatMap(([file, targets]) =>
      file.startsWith('media/') ||
      file === 'worker/master/attributes.ts' ||
      file === 'worker/master/thread.ts'
        ? targets.filter((target) => target.startsWith('check/')).map((target) => `${file} -> ${target}`)
        : [],
    );
    expect(wrong).toEqual([]);
  });
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
