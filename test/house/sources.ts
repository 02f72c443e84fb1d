/** Every source of the rooms, read as text. */
import { readdirSync, readFileSync } from 'node:fs';
import { join, relative, sep } from 'node:path';
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
