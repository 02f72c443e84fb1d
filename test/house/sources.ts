/** Every source of the rooms, read as text. */
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, posix, relative, sep } from 'node:path';
import { packageFolder } from '../../files/installation.ts';

export const rooms = [
  'findings',
  'files',
  'process',
  'media',
  'proof',
  'profiles',
  'ledger',
  'check',
  'handover',
  'serve',
  'coordinator',
  'worker',
] as const;
export type Room = (typeof rooms)[number];

export interface Source {
  /** From the package folder, `/` between parts. */
  readonly file: string;
  readonly text: string;
}

/** Kernels are AssemblyScript: its own compiler reads them, and rules of TypeScript are not theirs. */
const isKernel = (file: string): boolean => file.startsWith('media/kernels/assembly/');

export function sourcesOf(folder: string): Source[] {
  return readdirSync(join(packageFolder, folder), { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith('.ts'))
    .map((entry) => join(entry.parentPath, entry.name))
    .map((path) => ({
      file: relative(packageFolder, path).split(sep).join('/'),
      text: readFileSync(path, 'utf8'),
    }))
    .filter(({ file }) => !isKernel(file))
    .sort((a, b) => (a.file < b.file ? -1 : 1));
}

/** Everything that a source imports or exports from, static and dynamic, as it is written there. */
export function importsOf(text: string): string[] {
  const code = text.replace(/\/\*[\s\S]*?\*\//g, '').replace(/^\s*\/\/.*$/gm, '');
  const places =
    /(?:^|[;\n])\s*(?:import|export)\s[^;'"]*?from\s*['"]([^'"]+)['"]|(?:^|[;\n])\s*import\s*['"]([^'"]+)['"]|\bimport\(\s*['"]([^'"]+)['"]\s*\)/g;
  return [...code.matchAll(places)].map((match) => (match[1] ?? match[2] ?? match[3]) as string);
}

/** Which of our own files each file imports, types included. Both from the package folder. */
export type ImportGraph = ReadonlyMap<string, readonly string[]>;

export function importGraphOf(sources: readonly Source[]): ImportGraph {
  return new Map(
    sources.map(({ file, text }) => [
      file,
      importsOf(text)
        .filter((name) => name.startsWith('.'))
        .map((name) => posix.join(dirname(file), name)),
    ]),
  );
}

/** The same graph between groups of files: `groupOf` null leaves a file out. Imports inside a group are none. */
export function groupedGraph(graph: ImportGraph, groupOf: (file: string) => string | null): ImportGraph {
  const grouped = new Map<string, Set<string>>();
  for (const [file, imports] of graph) {
    const group = groupOf(file);
    if (group === null) continue;
    const targets = grouped.get(group) ?? new Set<string>();
    grouped.set(group, targets);
    for (const target of imports.map(groupOf)) if (target !== null && target !== group) targets.add(target);
  }
  return new Map([...grouped].map(([group, targets]) => [group, [...targets]]));
}

/** Every circle that a walk along the imports comes upon first, as `a -> b -> a`; empty when there is none. */
export function circlesIn(graph: ImportGraph): string[] {
  const circles: string[] = [];
  const done = new Set<string>();
  const walk = (file: string, path: readonly string[]): void => {
    const before = path.indexOf(file);
    if (before >= 0) circles.push([...path.slice(before), file].join(' -> '));
    if (before >= 0 || done.has(file)) return;
    for (const target of graph.get(file) ?? []) walk(target, [...path, file]);
    done.add(file);
  };
  for (const file of graph.keys()) walk(file, []);
  return circles;
}

/** Everything that a file imports, directly or through others, without the file itself. */
export function reachedFrom(file: string, graph: ImportGraph): string[] {
  const reached = new Set<string>();
  const walk = (from: string): void => {
    for (const target of graph.get(from) ?? [])
      if (!reached.has(target)) {
        reached.add(target);
        walk(target);
      }
  };
  walk(file);
  return [...reached].sort();
}
