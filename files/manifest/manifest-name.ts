/** Which names are those of manifests. */
import { familyOfFileName } from './algorithms.ts';
import { HISTORY_FOLDER } from './chain.ts';

export function isManifestName(name: string): boolean {
  return /\.mhl$/i.test(name) || familyOfFileName(name) !== null;
}

/** True for a path (relative to its roll) that is itself a manifest or part of a history, and need not be listed. */
export function isManifestPath(path: string): boolean {
  const parts = path.split('/');
  const name = parts.at(-1) as string;
  if (parts.at(-2) === HISTORY_FOLDER) return /\.(?:mhl|xml)$/i.test(name) || name === 'README.txt';
  return isManifestName(name);
}

/** Named after the roll: `A001.md5`, `A001.mhl`, `A001_2026-01-02_030405Z.mhl`, `0001_A001_2026-01-02_030405Z.mhl`. */
export function isNamedAfter(name: string, roll: string): boolean {
  if (!isManifestName(name)) return false;
  const stem = name.slice(0, name.lastIndexOf('.'));
  return (
    stem === roll || stem.replace(/^\d{4,}_(?=.)/, '').replace(/_\d{4}-\d{2}-\d{2}_\d{6}Z?$/, '') === roll
  );
}
