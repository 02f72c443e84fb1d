/** Where the manifests of a roll lie, and what all of them together state of its files. */
import { type Finding, finding } from '../../findings/finding.ts';
import { tallied } from '../../findings/tally.ts';
import { printable } from '../names.ts';
import { sameValue } from './algorithms.ts';
import { HISTORY_FOLDER } from './chain.ts';
import type { OfRoll } from './day.ts';
import { isManifestName, isNamedAfter } from './manifest-name.ts';
import { placeList } from './place.ts';
import {
  describedBy,
  listFolder,
  type ReadManifest,
  readHistoryFolder,
  readList,
  unreadable,
} from './read.ts';
import type { ManifestFinding, StatedHash, Statement } from './statement.ts';

export { isManifestName, isManifestPath } from './manifest-name.ts';
export type { ReadManifest } from './read.ts';

export interface FoundManifests {
  /** What all of them state, by path relative to the roll. */
  readonly statements: ReadonlyMap<string, Statement>;
  readonly manifests: readonly ReadManifest[];
  /** Without the roll; `file` names the manifest. */
  readonly findings: readonly Finding[];
}

/** Manifest by manifest; where two say different things, the first one stands and a finding holds the roll. */
export function mergeStatements(manifests: readonly ReadManifest[]): {
  statements: Map<string, Statement>;
  findings: Finding[];
} {
  const statements = new Map<string, Statement>();
  const findings: Finding[] = [];
  for (const manifest of manifests) {
    for (const next of manifest.statements) {
      const known = statements.get(next.path);
      if (known === undefined) {
        statements.set(next.path, next);
        continue;
      }
      const contradiction = (found: string): void => {
        findings.push(
          finding(
            'manifest-contradiction',
            `${printable(next.path)}: ${found}`,
            'what the manifests before it state',
            { file: manifest.file },
          ),
        );
      };
      if (known.bytes !== null && next.bytes !== null && known.bytes !== next.bytes)
        contradiction(`${next.bytes} bytes, not ${known.bytes}`);
      const added: StatedHash[] = [];
      for (const hash of next.hashes) {
        const earlier = known.hashes.find((other) => other.algorithm === hash.algorithm);
        if (earlier === undefined) added.push(hash);
        else if (!sameValue(earlier, hash.value))
          contradiction(`${hash.algorithm} ${hash.value}, not ${earlier.value}`);
      }
      if (added.length > 0 || (known.bytes === null && next.bytes !== null))
        statements.set(next.path, {
          path: next.path,
          bytes: known.bytes ?? next.bytes,
          hashes: [...known.hashes, ...added],
        });
    }
  }
  return { statements, findings };
}

export interface ManifestSearch {
  /** The roll's folder. */
  readonly folder: string;
  /** Its name. */
  readonly roll: string;
  /** The name of its day. */
  readonly day: string;
  /** Folders of manifests, kept apart from the rolls. */
  readonly apart: readonly string[];
  /** What manifests of the whole day say of the roll. */
  readonly ofDay: OfRoll | undefined;
  /** The files of the roll, by path. */
  readonly present: ReadonlySet<string>;
}

class Collector {
  readonly manifests: ReadManifest[] = [];
  readonly findings: Finding[] = [];
  readonly #search: Pick<ManifestSearch, 'roll' | 'present'>;

  constructor(search: Pick<ManifestSearch, 'roll' | 'present'>) {
    this.#search = search;
  }

  tell(items: Iterable<ManifestFinding>): void {
    for (const { path: _, ...item } of items) this.findings.push(item);
  }

  /** `base`: the folder of the roll in which the list lies, '' for the roll itself or a list outside it. */
  place(manifest: ReadManifest, base: string): void {
    const placed = placeList(manifest.statements, { ...this.#search, base }, manifest.file);
    this.tell(placed.findings);
    this.manifests.push({ ...manifest, statements: placed.statements });
  }

  async list(file: string, base: string): Promise<void> {
    const { manifest, findings } = await readList(file);
    this.tell(findings);
    if (manifest !== null) this.place(manifest, base);
  }

  /** `base`: the folder of the roll that the history describes, '' for the roll itself. */
  async history(folder: string, base: string): Promise<void> {
    const reading = await readHistoryFolder(folder, describedBy(folder));
    if (reading === null) return;
    this.tell(reading.findings);
    if (reading.manifest === null) return;
    const { manifest } = reading;
    if (base === '') this.manifests.push(manifest);
    else
      this.manifests.push({
        ...manifest,
        statements: manifest.statements.map((entry) => ({ ...entry, path: `${base}/${entry.path}` })),
        // A pattern of a nested history speaks of its own folder only.
        ignore: [],
      });
  }

  /** Manifests in a folder and below it; `base` is its path in the roll. */
  async within(folder: string, base: string): Promise<void> {
    const list = await listFolder(folder);
    if (list === null) return;
    if ('fault' in list) {
      this.findings.push(list.fault);
      return;
    }
    for (const name of list.files) if (isManifestName(name)) await this.list(`${folder}/${name}`, base);
    for (const name of list.links)
      if (isManifestName(name) || name === HISTORY_FOLDER)
        this.findings.push(
          finding(
            'manifest-not-used',
            'it is a symbolic link, and links are never followed',
            'the manifest itself',
            { file: `${folder}/${name}` },
          ),
        );
    for (const name of list.folders) {
      if (name === HISTORY_FOLDER) await this.history(`${folder}/${name}`, base);
      else await this.within(`${folder}/${name}`, base === '' ? name : `${base}/${name}`);
    }
  }

  /** Lists in a folder that are named after the roll. */
  async named(folder: string): Promise<void> {
    const list = await listFolder(folder);
    if (list === null) return;
    if ('fault' in list) this.findings.push(list.fault);
    else
      for (const name of list.files)
        if (isNamedAfter(name, this.#search.roll)) await this.list(`${folder}/${name}`, '');
  }
}

/**
 * In the roll: histories (`ascmhl`), hash lists (`*.mhl`) and checksum files (`*.md5`, `MD5SUMS`, ...), in any folder
 * of it. Beside the roll: lists named after it. In each folder of manifests: lists named after it, and in `<roll>/` what
 * a roll may hold. Besides, what manifests of the whole day say of it.
 */
export async function findManifests(search: ManifestSearch): Promise<FoundManifests> {
  const { folder, roll, day, apart, ofDay } = search;
  const found = new Collector(search);
  await found.within(folder, '');
  await found.named(folder.slice(0, folder.lastIndexOf('/')) || '/');
  for (const outer of apart) {
    if ((await listFolder(outer)) === null) found.tell([unreadable(outer, 'there is no such folder')]);
    for (const place of placesApart(outer, day)) {
      await found.named(place);
      await found.within(`${place}/${roll}`, '');
    }
  }
  found.tell(ofDay?.findings ?? []);
  for (const manifest of ofDay?.manifests ?? []) found.place(manifest, '');
  const merged = mergeStatements(found.manifests);
  return {
    statements: merged.statements,
    manifests: found.manifests,
    findings: tallied([...found.findings, ...merged.findings]),
  };
}

/** The folders in which the manifests of a day are looked for below a folder of manifests: it, and the day's in it. */
export function placesApart(folder: string, day: string): readonly string[] {
  return [folder, `${folder}/${day}`];
}
