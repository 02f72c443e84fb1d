/** Which rolls a shoot day holds. Nothing that could be a roll or a clip is passed over without a finding. */
import { readdir } from 'node:fs/promises';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import { HISTORY_FOLDER } from '../../files/manifest/chain.ts';
import { isManifestName } from '../../files/manifest/manifest-name.ts';
import { fsPath, nameFromBytes, printable } from '../../files/names.ts';
import { isSystemName } from '../../files/system-files.ts';
import { collisionKey } from '../../files/safe-names.ts';
import { isStill } from '../../media/sequence/group.ts';
import { kindOf } from '../survey/kinds.ts';
import { contentsOf } from '../survey/signatures.ts';

export interface DiscoveredRoll {
  readonly name: string;
  readonly folder: string;
}

/** A history's folder describes what lies beside it, and what an operating system left is nobody's: neither is ever a roll. */
const mayBeRoll = (name: string): boolean => name !== HISTORY_FOLDER && !isSystemName(name);

/** Camera letter, number: `A001`. Common practice, no source. */
const ROLL_LIKE = /^[A-Za-z]{1,2}\d{3}/;

/** By its name alone. */
export function isMediaName(path: string): boolean {
  return isStill(path) || kindOf(path) === 'movie';
}

interface Listed {
  readonly files: string[];
  readonly folders: string[];
  readonly links: string[];
}

/** Names that begin with a dot are left out: no camera writes them, operating systems do. */
async function list(folder: string): Promise<Listed> {
  const entries = (await readdir(fsPath(folder), { encoding: 'buffer', withFileTypes: true }))
    .map((entry) => ({ entry, name: nameFromBytes(entry.name) }))
    .filter(({ name }) => !name.startsWith('.'));
  const names = (wanted: typeof entries): string[] => wanted.map(({ name }) => name).sort();
  return {
    files: names(entries.filter(({ entry }) => entry.isFile())),
    folders: names(entries.filter(({ entry }) => entry.isDirectory())),
    links: names(entries.filter(({ entry }) => entry.isSymbolicLink())),
  };
}

function systemFilesLeft(count: number, first: string, folder: string): Finding {
  const found = `${count} in all, the first ${printable(first)}`;
  return finding('system-files-left', found, 'rolls only', { file: folder });
}

async function looseFindings(folder: string, listed: Listed): Promise<Finding[]> {
  const files = listed.files.filter((name) => !isSystemName(name));
  const media = await contentsOf(
    folder,
    files.filter((name) => !isMediaName(name)),
  );
  const system = [...listed.files, ...listed.folders].filter(isSystemName);
  const loose = files.filter((name) => isMediaName(name) || media.get(name)?.kind === 'movie');
  // A link that has a manifest's name stands for no roll: that it is not used is reported where manifests are.
  const links = listed.links.filter((name) => !isManifestName(name) && name !== HISTORY_FOLDER);
  const subjectOf = (name: string): FindingSubject => ({ file: `${folder}/${name}` });
  const [first] = system;
  return [
    ...(first === undefined ? [] : [systemFilesLeft(system.length, first, folder)]),
    ...loose.map((name) =>
      finding('file-outside-rolls', printable(name), 'media in the folder of a roll', subjectOf(name)),
    ),
    ...links.map((name) => finding('link-in-day', printable(name), 'a folder', subjectOf(name))),
  ];
}

/** Folders between the shoot day and its rolls: a camera's, a unit's. */
const MOST_STEPS = 2;

interface Found {
  readonly rolls: DiscoveredRoll[];
  readonly findings: Finding[];
}

/** What cannot be listed is a roll for all that is known; intake reads it again and reports why it cannot. */
async function listOrNull(folder: string): Promise<Listed | null> {
  try {
    return await list(folder);
  } catch {
    return null;
  }
}

/** True when a folder with a roll's name lies in it, or up to `steps` folders further down. */
async function hasRolls(folder: string, listed: Listed, steps: number): Promise<boolean> {
  if (listed.folders.some((name) => ROLL_LIKE.test(name))) return true;
  if (steps === 0) return false;
  for (const name of listed.folders.filter(mayBeRoll)) {
    const inner = await listOrNull(`${folder}/${name}`);
    if (inner !== null && !isMarked(inner) && (await hasRolls(`${folder}/${name}`, inner, steps - 1)))
      return true;
  }
  return false;
}

/** A manifest in its root makes a folder a roll. */
function isMarked(listed: Listed): boolean {
  return listed.folders.includes(HISTORY_FOLDER) || listed.files.some(isManifestName);
}

/** The roll that a folder is, or those it holds. `steps`: how many folders may still lie between. */
async function rollsOf(name: string, folder: string, steps: number): Promise<Found> {
  const inner = await listOrNull(folder);
  const itself = { rolls: [{ name, folder }], findings: [] };
  if (
    inner === null ||
    isMarked(inner) ||
    ROLL_LIKE.test(name) ||
    steps === 0 ||
    !(await hasRolls(folder, inner, steps - 1))
  )
    return itself;
  // Once some of them are rolls, whatever lies beside them is reported, or is a roll too: nothing is passed over.
  const below = await Promise.all(
    inner.folders.filter(mayBeRoll).map((next) => rollsOf(next, `${folder}/${next}`, steps - 1)),
  );
  return {
    rolls: below.flatMap(({ rolls }) => rolls),
    findings: [...(await looseFindings(folder, inner)), ...below.flatMap(({ findings }) => findings)],
  };
}

/**
 * The direct sub-folders are the rolls. A sub-folder without manifest and without a roll's name that has folders with
 * such names in it, or one step further down, is a step between: these are the rolls. Throws what node:fs throws when
 * the day itself cannot be listed.
 */
export async function discoverRolls(dayFolder: string): Promise<Found> {
  const day = await list(dayFolder);
  const found = await Promise.all(
    day.folders.filter(mayBeRoll).map((name) => rollsOf(name, `${dayFolder}/${name}`, MOST_STEPS)),
  );
  const findings = [...(await looseFindings(dayFolder, day)), ...found.flatMap((item) => item.findings)];
  const seen = new Map<string, string>();
  const rolls = found
    .flatMap((item) => item.rolls)
    .filter(({ name, folder }) => {
      const earlier = seen.get(collisionKey(name));
      if (earlier !== undefined)
        findings.push(
          finding(
            'roll-twice',
            `${printable(folder)} and ${printable(earlier)}`,
            'one folder for each roll',
            { roll: name },
          ),
        );
      else seen.set(collisionKey(name), folder);
      return earlier === undefined;
    });
  return { rolls, findings };
}
