/** The statement of a roll, from its records and the digests of its files. Pure; the same input gives the same bytes. */
import type { ClipFacts } from '../../media/facts.ts';
import type { RollVerdict } from '../roll.ts';
import { canonicalDigest, PREDICATE_TYPE, type Predicate, verdictDigest } from './predicate.ts';
import { STATEMENT_TYPE } from './statement.ts';

/** A file of the roll's delivery folder; `path` relative to it, `/` between parts. */
export interface NamedDigest {
  readonly path: string;
  readonly sha256: string;
}

export interface Output extends NamedDigest {
  /** It is a folder; `sha256` is of its checksum list (files/checksum-list.ts). */
  readonly folder?: true;
}

export interface StatementParts {
  readonly verdict: RollVerdict;
  /** Of the clips, by id. */
  readonly facts: ReadonlyMap<string, ClipFacts | null>;
  /** Every published output. */
  readonly outputs: readonly Output[];
  /** Every report, and whatever else the verdict rests on. */
  readonly records: readonly NamedDigest[];
}

/** `dirHash`: of a folder, by in-toto's own name for the digest of such a checksum list (spec/v1/digest_set.md). */
export type OutputDigest = { readonly sha256: string } | { readonly dirHash: string };

export interface RollStatement {
  readonly _type: typeof STATEMENT_TYPE;
  readonly subject: readonly { readonly name: string; readonly digest: OutputDigest }[];
  readonly predicateType: typeof PREDICATE_TYPE;
  readonly predicate: Predicate;
}

export function statementOf({ verdict, facts, outputs, records }: StatementParts): RollStatement {
  const { rushlight, recipe, tools, digest } = verdict.toolchain;
  const subject = sorted(outputs).map(({ path, sha256, folder }) => ({
    name: path,
    digest: folder === true ? { dirHash: sha256 } : { sha256 },
  }));
  const clips = verdict.clips.map(({ clip }) => ({
    name: clip.id,
    contentDigest: clip.contentDigest,
    facts: { digest: { sha256: canonicalDigest(facts.get(clip.id) ?? null) } },
  }));
  return {
    _type: STATEMENT_TYPE,
    subject,
    predicateType: PREDICATE_TYPE,
    predicate: {
      day: verdict.day,
      roll: verdict.roll,
      verdict: { digest: { sha256: verdictDigest(verdict) } },
      manifests: verdict.manifests.map(({ file, kind, files, digests = [] }) => ({
        file,
        kind,
        files,
        digests,
      })),
      clips,
      profiles: verdict.profiles.map(({ name, hash }) => ({ name, hash })),
      toolchain: { rushlight, recipe, tools, digest },
      records: named(records),
    },
  };
}

function named(list: readonly NamedDigest[]): { name: string; digest: { sha256: string } }[] {
  return sorted(list).map(({ path, sha256 }) => ({ name: path, digest: { sha256 } }));
}

function sorted<Named extends NamedDigest>(list: readonly Named[]): Named[] {
  return [...list].sort((a, b) => (a.path < b.path ? -1 : a.path > b.path ? 1 : 0));
}

/** The bytes of a statement as they lie on disk, and as they are signed. */
export function statementBytes(statement: RollStatement): Buffer {
  return Buffer.from(`${JSON.stringify(statement, null, 2)}\n`);
}
