/** Which rolls a shoot day holds. Nothing that could be a roll or a clip is passed over without a finding. */
import { readdir } from 'node:fs/promises';
import { type Finding, finding } from '../../findings/finding.ts';
import { familyOfFileName } from '../../media/manifest/algorithms.ts';
import { HISTORY_FOLDER } from '../../media/manifest/chain.ts';
import { fsPath, nameFromBytes, printable } from '../../media/names.ts';
import { isStill } from '../../media/sequence/group.ts';
import { kindOf } from '../survey/kinds.ts';

export interface DiscoveredRoll {
  readonly name: string;
  readonly folder: string;
}

/** Camera letter, number: `A001`. Common practice, no source. */
const ROLL_LIKE = /^[A-Za-z]{1,2}\d{3}/;

export function isMediaName(path: string): boolean {
  return isStill(path) || kindOf(path, new Set([path])) === 'movie';
}

interface Listed {
  readonly files: string[];
  readonly folders: string[];
  readonly links: string[];
}

/** Names that begin with a dot are left out: no camera writes them, operating systems do. */
async function list(folder: string): Promise<Listed> {
  const entries = (await readdir(fsPath(folder), { encoding: 'buffer', withFileTypes: true })).map((entry) => ({ entry, name: nameFromBytes(entry.name) })).filter(({ name }) => !name.startsWith('.'));
  const names = (wanted: typeof entries): string[] => wanted.map(({ name }) => name).sort();
  return {
    files: names(entries.filter(({ entry }) => entry.isFile())),
    folders: names(entries.filter(({ entry }) => entry.isDirectory())),
    links: names(entries.filter(({ entry }) => entry.isSymbolicLink())),
  };
}

function looseFindings(folder: string, listed: Listed): Finding[] {
  return [
    ...listed.files.filter(isMediaName).map((name) => finding('file-outside-rolls', printable(name), 'media in the folder of a roll', { file: `${folder}/${name}` })),
    ...listed.links.map((name) => finding('link-in-day', printable(name), 'a folder', { file: `${folder}/${name}` })),
  ];
}

/**
 * The direct sub-folders are the rolls. A sub-folder without manifest and without a roll's name, whose own sub-folders
 * have such names, is a step between: these are the rolls. Throws what node:fs throws when the day itself cannot be listed.
 */
export async function discoverRolls(dayFolder: string): Promise<{ rolls: DiscoveredRoll[]; findings: Finding[] }> {
  const day = await list(dayFolder);
  const findings = looseFindings(dayFolder, day);
  const rolls: DiscoveredRoll[] = [];
  for (const name of day.folders) {
    const folder = `${dayFolder}/${name}`;
    let inner: Listed;
    try {
      inner = await list(folder);
    } catch {
      // It is a roll for all that is known; intake reads it again and tells why it cannot.
      rolls.push({ name, folder });
      continue;
    }
    const hasManifest = inner.folders.includes(HISTORY_FOLDER) || inner.files.some((file) => /\.mhl$/i.test(file) || familyOfFileName(file) !== null);
    if (hasManifest || ROLL_LIKE.test(name) || !inner.folders.some((below) => ROLL_LIKE.test(below))) {
      rolls.push({ name, folder });
      continue;
    }
    findings.push(...looseFindings(folder, inner));
    for (const below of inner.folders) rolls.push({ name: below, folder: `${folder}/${below}` });
  }
  const seen = new Map<string, string>();
  const once = rolls.filter(({ name, folder }) => {
    const earlier = seen.get(name);
    if (earlier !== undefined) findings.push(finding('roll-twice', `${printable(folder)} and ${printable(earlier)}`, 'one folder for each roll', { roll: name }));
    else seen.set(name, folder);
    return earlier === undefined;
  });
  return { rolls: once, findings };
}
