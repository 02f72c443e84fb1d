/** Every copy against those before it: what is found of it, and which ones count as one. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import { type CopyPlace, relationOf } from './apart.ts';

export interface Told {
  /** By folder: the earlier copy that it cannot be told apart from. */
  readonly oneWith: ReadonlyMap<string, string>;
  readonly findings: readonly Finding[];
}

/** In the order of the copies, the working copy first. */
export function tellApart(places: readonly CopyPlace[], roll: string): Told {
  const oneWith = new Map<string, string>();
  const findings: Finding[] = [];
  for (const [index, place] of places.entries()) {
    const about = { roll, copy: place.folder };
    const relations = places
      .slice(0, index)
      .map((earlier) => ({ earlier, relation: relationOf(place, earlier) }));
    for (const { earlier, relation } of relations) {
      if (relation.kind !== 'same') continue;
      const [first] = relation.files;
      const which = first === undefined ? '' : `, the first ${printable(first[0])}`;
      findings.push(
        finding(
          'copy-same-file',
          `${relation.files.length} of ${place.files.size} files are files of ${printable(earlier.folder)}${which}`,
          'files of its own',
          about,
        ),
      );
    }
    const unknown = relations.find(({ relation }) => relation.kind === 'unknown');
    if (unknown?.relation.kind === 'unknown') {
      oneWith.set(place.folder, unknown.earlier.folder);
      findings.push(
        finding(
          'copy-not-told-apart',
          `${printable(unknown.relation.why)}; compared with ${printable(unknown.earlier.folder)}`,
          'a copy that can be told apart from the others',
          about,
        ),
      );
    }
    const beside = relations.find(({ relation }) => relation.kind === 'one-drive');
    if (beside?.relation.kind === 'one-drive')
      findings.push(
        finding(
          'copy-same-drive',
          `on ${printable(beside.relation.why)}, as ${printable(beside.earlier.folder)}`,
          'a drive of its own',
          about,
        ),
      );
  }
  return { oneWith, findings };
}
