/** What the generations of an ASC MHL history, one after the other, come to state of each file. Pure. */
import { finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import type { Algorithm } from './algorithms.ts';
import type { FileRecord, Generation } from './generation.ts';
import type { ManifestFinding, StatedHash, Statement } from './statement.ts';

/** A generation and the name that findings give its manifest. */
export interface NamedGeneration {
  readonly generation: Generation;
  readonly manifest: string;
}

interface Known {
  bytes: number | null;
  readonly hashes: Map<Algorithm, { readonly value: string; readonly manifest: string }>;
  /** The newest record of a failure, and the later generation that recorded the file as good, if any. */
  failure: { readonly manifest: string; readonly hash: string; settledBy: string | null } | null;
}

/** Old path → new path. */
function renames(
  records: readonly { readonly path: string; readonly previousPath: string | null }[],
): Map<string, string> {
  return new Map(
    records.flatMap(({ path, previousPath }) =>
      previousPath === null || previousPath === path ? [] : [[previousPath, path] as const],
    ),
  );
}

/** Of the folders that the path lies in, the innermost that was renamed. */
function innermost(
  folders: ReadonlyMap<string, string>,
  path: string,
): [from: string, to: string] | undefined {
  for (let end = path.lastIndexOf('/'); end > 0; end = path.lastIndexOf('/', end - 1)) {
    const from = path.slice(0, end);
    const to = folders.get(from);
    if (to !== undefined) return [from, to];
  }
  return undefined;
}

class Fold {
  readonly findings: ManifestFinding[] = [];
  readonly #files = new Map<string, Known>();

  add({ generation, manifest }: NamedGeneration): void {
    this.#moveAll(generation);
    for (const file of generation.files) this.#record(file, manifest);
  }

  /**
   * A rename is recorded once, in its own generation, and names the path of the generation before: all of one generation
   * happen at once, so that two files may change places. A file's own record goes before that of a folder it lies in.
   */
  #moveAll({ files, folders }: Generation): void {
    const ofFiles = renames(files);
    const ofFolders = renames(folders);
    if (ofFiles.size === 0 && ofFolders.size === 0) return;
    const moved: [path: string, known: Known][] = [];
    for (const [path, known] of [...this.#files]) {
      const folder = innermost(ofFolders, path);
      const to =
        ofFiles.get(path) ?? (folder === undefined ? path : folder[1] + path.slice(folder[0].length));
      ofFiles.delete(path);
      if (to === path) continue;
      this.#files.delete(path);
      moved.push([to, known]);
    }
    for (const [to, known] of moved) this.#files.set(to, known);
    // What is left was said as if the folder had been renamed before the file.
    for (const [from, to] of ofFiles) this.#move(from, to);
  }

  #move(from: string, to: string): void {
    const known = this.#files.get(from);
    if (known === undefined) return;
    this.#files.delete(from);
    this.#files.set(to, known);
  }

  #record(file: FileRecord, manifest: string): void {
    const known = this.#files.get(file.path) ?? { bytes: null, hashes: new Map(), failure: null };
    this.#files.set(file.path, known);
    const failed = file.hashes.find(({ action }) => action === 'failed');
    if (failed !== undefined) {
      // It says what was found instead of what had been recorded: that still stands, and so does its size.
      known.failure = { manifest, hash: `${failed.algorithm} ${failed.value}`, settledBy: null };
      return;
    }
    if (known.failure !== null && file.hashes.length > 0) known.failure.settledBy ??= manifest;
    known.bytes = file.bytes ?? known.bytes;
    for (const { algorithm, value, action } of file.hashes) {
      const earlier = known.hashes.get(algorithm);
      if (earlier !== undefined && earlier.value !== value) {
        // What is called verified must have been found equal to an earlier value; anything else may be a new beginning.
        const code = action === 'verified' ? 'manifest-contradiction' : 'manifest-superseded';
        this.findings.push({
          ...finding(
            code,
            `${printable(file.path)}: ${algorithm} ${value}`,
            `${algorithm} ${earlier.value}, as in ${earlier.manifest}`,
            { file: manifest },
          ),
          path: file.path,
        });
      }
      known.hashes.set(algorithm, { value, manifest });
    }
  }

  statements(): Statement[] {
    return [...this.#files].map(([path, { bytes, hashes }]) => ({
      path,
      bytes,
      hashes: [...hashes].map(([algorithm, { value }]): StatedHash => ({ algorithm, value })),
    }));
  }

  failures(): ManifestFinding[] {
    return [...this.#files].flatMap(([path, { failure }]) => {
      if (failure === null) return [];
      const found = `${printable(path)}: ${failure.hash}, recorded as failed`;
      const about = { file: failure.manifest };
      const reported =
        failure.settledBy === null
          ? finding('manifest-failure', found, 'a file that was good whenever it was checked', about)
          : finding(
              'manifest-failure-settled',
              found,
              `recorded as good again in ${failure.settledBy}`,
              about,
            );
      return [{ ...reported, path }];
    });
  }
}

/** Oldest first. The newest record of a file counts, unless it records a failure. */
export function foldGenerations(generations: Iterable<NamedGeneration>): {
  statements: Statement[];
  findings: ManifestFinding[];
} {
  const fold = new Fold();
  for (const generation of generations) fold.add(generation);
  return { statements: fold.statements(), findings: [...fold.findings, ...fold.failures()] };
}
