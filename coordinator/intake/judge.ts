/** What was read of a copy against what the manifests state, and copies against each other. Pure. */
import ignore from 'ignore';
import { type Finding, finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { sameValue } from '../../files/manifest/algorithms.ts';
import { isManifestPath } from '../../files/manifest/manifest-name.ts';
import { CONTENT_ALGORITHM } from '../../files/manifest/hash.ts';
import { printable } from '../../files/names.ts';
import { isCompanionName, isSystemPath } from '../../files/system-files.ts';
import { pairBySpelling } from '../../files/manifest/spelling.ts';
import type { Statement } from '../../files/manifest/statement.ts';
import { isMediaName } from './discover.ts';
import type { ReadCopy } from './read.ts';

export interface Stated {
  readonly statements: ReadonlyMap<string, Statement>;
  /** Patterns of what the manifests leave out. */
  readonly ignore: readonly string[];
}

/** By name or by its first bytes. The name of what lies beside a file (`._A001C001.mov`) says nothing of its own content. */
function isMedia(path: string, copy: ReadCopy): boolean {
  const name = path.slice(path.lastIndexOf('/') + 1);
  return copy.media.has(path) || (!isCompanionName(name) && isMediaName(path));
}

/** Operating systems leave these; they are no part of a card. A clip never slips in behind such a name. */
function isSystemFile(path: string, copy: ReadCopy): boolean {
  return isSystemPath(path) && !isMedia(path, copy);
}

/** A file that no manifest need list. A pattern never excuses media: an unproved clip must not slip in behind one. */
function excused(stated: Stated, copy: ReadCopy): (path: string) => boolean {
  const ignored = ignore({ ignorecase: false }).add([...stated.ignore]);
  return (path) => isManifestPath(path) || (!isMedia(path, copy) && ignored.ignores(path));
}

function judgeFile(file: RollFile, statement: Statement, subject: { roll: string; copy: string }): Finding[] {
  const about = { ...subject, file: file.path };
  if (statement.bytes !== null && statement.bytes !== file.bytes)
    return [finding('roll-file-size-differs', `${file.bytes} bytes`, `${statement.bytes} bytes`, about)];
  return statement.hashes.flatMap((hash) => {
    const value = file.hashes[hash.algorithm];
    if (value === undefined) throw new Error(`${hash.algorithm} of ${file.path} was not computed`);
    if (hash.value === value) return [];
    const [read, wanted] = [`${hash.algorithm} ${value}`, `${hash.algorithm} ${hash.value}`];
    return [
      sameValue(hash, value)
        ? finding('manifest-byte-order', read, `${wanted}: the same bytes, last one first`, about)
        : finding('file-checksum-differs', read, wanted, about),
    ];
  });
}

/** A statement of a size alone proves nothing of the bytes. */
function proves(statement: Statement | undefined): boolean {
  return statement !== undefined && statement.hashes.length > 0;
}

export function judgeCopy(copy: ReadCopy, stated: Stated, roll: string): Finding[] {
  const subject = { roll, copy: copy.folder };
  const found = new FindingTally();
  for (const [path, statement] of stated.statements) {
    const file = copy.files.get(path);
    if (file !== undefined) found.addAll(judgeFile(file, statement, subject));
    else if (!copy.unread.has(path))
      found.add(
        finding(
          'roll-file-absent',
          'not there',
          statement.bytes === null ? 'the file that the manifest lists' : `${statement.bytes} bytes`,
          { ...subject, file: path },
        ),
      );
  }
  // Without any manifest every file would be unlisted: that is one finding, and another one.
  if (stated.statements.size === 0) return found.findings();
  const needless = excused(stated, copy);
  const system: string[] = [];
  for (const [path, file] of copy.files) {
    if (proves(stated.statements.get(path))) continue;
    if (isSystemFile(path, copy)) system.push(path);
    else if (!needless(path))
      found.add(
        finding(
          'file-unlisted',
          `${file.bytes} bytes, no checksum in a manifest`,
          'every file listed with a checksum',
          { ...subject, file: path },
        ),
      );
  }
  const [first] = system;
  if (first !== undefined)
    found.add(
      finding(
        'system-files-left',
        `${system.length} ${system.length === 1 ? 'file' : 'files'}, the first ${printable(first)}`,
        'files of the card only',
        subject,
      ),
    );
  return found.findings();
}

/**
 * Bytes against bytes, listed or not; presence only where no manifest speaks, since an absent listed file is reported by
 * `judgeCopy`. A file may have another Unicode spelling on the other copy.
 */
export function compareCopies(
  working: ReadCopy,
  other: ReadCopy,
  stated: { readonly working: Stated; readonly other: Stated },
  roll: string,
): Finding[] {
  const found = new FindingTally();
  const spelledThere = pairBySpelling(
    [...working.files.keys(), ...working.unread],
    new Set([...other.files.keys(), ...other.unread]),
  );
  const spelledHere = new Map([...spelledThere].map(([here, there]) => [there, here]));
  const pairs = new Map<string, string>();
  for (const path of working.files.keys()) pairs.set(path, spelledThere.get(path) ?? path);
  for (const path of other.files.keys()) pairs.set(spelledHere.get(path) ?? path, path);
  const listed = (here: string, there: string): boolean =>
    stated.working.statements.has(here) || stated.other.statements.has(there);
  for (const [mine, theirs] of [...pairs].sort(([a], [b]) => (a < b ? -1 : 1))) {
    if (
      isManifestPath(mine) ||
      isSystemFile(mine, working) ||
      isSystemFile(theirs, other) ||
      working.unread.has(mine) ||
      other.unread.has(theirs)
    )
      continue;
    const [here, there] = [working.files.get(mine), other.files.get(theirs)];
    const about = { roll, copy: other.folder, file: theirs };
    if (here !== undefined && there !== undefined) {
      const [own, foreign] = [here.hashes[CONTENT_ALGORITHM], there.hashes[CONTENT_ALGORITHM]];
      if (here.bytes !== there.bytes || own !== foreign)
        found.add(
          finding(
            'copy-differs',
            `${there.bytes} bytes, ${CONTENT_ALGORITHM} ${foreign}`,
            `${here.bytes} bytes, ${CONTENT_ALGORITHM} ${own}, as in the working copy`,
            about,
          ),
        );
    } else if (!listed(mine, theirs)) {
      found.add(
        finding(
          'copy-differs',
          there === undefined ? 'not there' : `${there.bytes} bytes`,
          there === undefined ? 'there, as in the working copy' : 'not there, as in the working copy',
          about,
        ),
      );
    }
  }
  return found.findings();
}
