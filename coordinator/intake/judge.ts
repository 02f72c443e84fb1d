/** What was read of a copy against what the manifests state, and copies against each other. Pure. */
import ignore from 'ignore';
import { type Finding, finding } from '../../findings/finding.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { isManifestPath, sameValue } from '../../media/manifest/find.ts';
import { CONTENT_ALGORITHM } from '../../media/manifest/hash.ts';
import type { Statement } from '../../media/manifest/statement.ts';
import { isMediaName } from './discover.ts';
import type { ReadCopy } from './read.ts';

export interface Stated {
  readonly statements: ReadonlyMap<string, Statement>;
  /** Patterns of what the manifests leave out. */
  readonly ignore: readonly string[];
}

/** Operating systems write these into any folder that somebody looks at; they are no part of a card. */
const SYSTEM = /(?:^|\/)(?:\.DS_Store|Thumbs\.db|desktop\.ini)$/i;

/** A file that no manifest need list. A pattern never excuses media: an unproved clip must not slip in behind one. */
function excused(stated: Stated): (path: string) => boolean {
  const ignored = ignore({ ignorecase: false }).add([...stated.ignore]);
  return (path) => isManifestPath(path) || SYSTEM.test(path) || (!isMediaName(path) && ignored.ignores(path));
}

function judgeFile(file: RollFile, statement: Statement, subject: { roll: string; copy: string }): Finding[] {
  const about = { ...subject, file: file.path };
  if (statement.bytes !== null && statement.bytes !== file.bytes) return [finding('roll-file-size-differs', `${file.bytes} bytes`, `${statement.bytes} bytes`, about)];
  return statement.hashes.flatMap((hash) => {
    const value = file.hashes[hash.algorithm];
    if (value === undefined) throw new Error(`${hash.algorithm} of ${file.path} was not computed`);
    return sameValue(hash, value) ? [] : [finding('file-checksum-differs', `${hash.algorithm} ${value}`, `${hash.algorithm} ${hash.value}`, about)];
  });
}

/** A statement of a size alone proves nothing of the bytes. */
function proves(statement: Statement | undefined): boolean {
  return statement !== undefined && statement.hashes.length > 0;
}

export function judgeCopy(copy: ReadCopy, stated: Stated, roll: string): Finding[] {
  const subject = { roll, copy: copy.folder };
  const found: Finding[] = [];
  for (const [path, statement] of stated.statements) {
    const file = copy.files.get(path);
    if (file !== undefined) found.push(...judgeFile(file, statement, subject));
    else if (!copy.unread.has(path)) found.push(finding('roll-file-absent', 'not there', statement.bytes === null ? 'the file that the manifest lists' : `${statement.bytes} bytes`, { ...subject, file: path }));
  }
  // Without any manifest every file would be unlisted: that is one finding, and another one.
  if (stated.statements.size === 0) return found;
  const needless = excused(stated);
  for (const [path, file] of copy.files) {
    if (!proves(stated.statements.get(path)) && !needless(path)) found.push(finding('file-unlisted', `${file.bytes} bytes, no checksum in a manifest`, 'every file listed with a checksum', { ...subject, file: path }));
  }
  return found;
}

/** Bytes against bytes, listed or not; presence only where no manifest speaks, since an absent listed file is told by `judgeCopy`. */
export function compareCopies(working: ReadCopy, other: ReadCopy, stated: Stated, roll: string): Finding[] {
  const found: Finding[] = [];
  const unlisted = (path: string): boolean => !stated.statements.has(path) && !isManifestPath(path) && !SYSTEM.test(path);
  for (const path of [...new Set([...working.files.keys(), ...other.files.keys()])].sort()) {
    if (isManifestPath(path) || SYSTEM.test(path) || working.unread.has(path) || other.unread.has(path)) continue;
    const [here, there] = [working.files.get(path), other.files.get(path)];
    const about = { roll, copy: other.folder, file: path };
    if (here !== undefined && there !== undefined) {
      const [mine, theirs] = [here.hashes[CONTENT_ALGORITHM], there.hashes[CONTENT_ALGORITHM]];
      if (here.bytes !== there.bytes || mine !== theirs) found.push(finding('copy-differs', `${there.bytes} bytes, ${CONTENT_ALGORITHM} ${theirs}`, `${here.bytes} bytes, ${CONTENT_ALGORITHM} ${mine}, as in the working copy`, about));
    } else if (unlisted(path)) {
      found.push(finding('copy-differs', there === undefined ? 'not there' : `${there.bytes} bytes`, there === undefined ? 'there, as in the working copy' : 'not there, as in the working copy', about));
    }
  }
  return found;
}
