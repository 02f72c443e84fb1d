/** Which files of a roll the paths of a list mean: by where they are relative to, and by how folders are parted in them. Pure. */
import { finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import { type ManifestFinding, pathFinding, relativePath, type Statement } from './statement.ts';

export interface Placed {
  readonly statements: readonly Statement[];
  readonly findings: readonly ManifestFinding[];
}

const isThere = (present: ReadonlySet<string>, path: string): boolean =>
  present.has(path) || present.has(path.normalize());

export interface Placing {
  /** Folder of the roll in which the list lies, '' for the roll itself or a list outside it. */
  readonly base: string;
  readonly roll: string;
  /** The files of the roll, by path. */
  readonly present: ReadonlySet<string>;
}

const fitsOf = (statements: readonly Statement[], present: ReadonlySet<string>): number =>
  statements.reduce((sum, { path }) => sum + Number(isThere(present, path)), 0);

/**
 * Where a list lies does not say for certain what its paths are relative to: its own folder, the roll, or the folder
 * above the roll, since the programs that write lists are run in any of them. The first of these that finds the most
 * files counts; what the list names and is not there is still missed.
 */
function bestFit(
  statements: readonly Statement[],
  { base, roll, present }: Placing,
): { statements: readonly Statement[]; fits: number } {
  const moved = (to: (path: string) => string): Statement[] =>
    statements.map((statement) => ({ ...statement, path: to(statement.path) }));
  const start = `${roll}/`;
  const readings: (() => readonly Statement[])[] = [() => statements];
  if (base !== '') readings.unshift(() => moved((path) => `${base}/${path}`));
  if (statements.length > 0 && statements.every(({ path }) => path.startsWith(start)))
    readings.push(() => moved((path) => path.slice(start.length)));
  let best = { statements, fits: -1 };
  for (const reading of readings) {
    const read = reading();
    const fits = fitsOf(read, present);
    if (fits > best.fits) best = { statements: read, fits };
  }
  return best;
}

/** `C:\…`, `\\server\…`, `\…` */
const WINDOWS_ROOT = /^(?:[A-Za-z]:)?\\/;

/** With slashes where a program on Windows wrote backslashes; null where that names nothing below the roll. */
function withSlashes(path: string): string | null {
  const checked = relativePath(path.replaceAll('\\', '/'));
  return 'path' in checked ? checked.path : null;
}

/**
 * `manifest`: the name that findings give the list. A backslash is a character like any other in names here, and parts
 * folders where a program on Windows wrote the list: it is taken so where nothing has the name as it is written, and
 * more of the files are found with slashes.
 */
export function placeList(statements: readonly Statement[], placing: Placing, manifest: string): Placed {
  const plain = bestFit(statements, placing);
  const doubtful = statements.map(
    ({ path }, index) =>
      path.includes('\\') && !isThere(placing.present, plain.statements[index]?.path ?? ''),
  );
  if (!doubtful.includes(true)) return { statements: plain.statements, findings: [] };
  const findings: ManifestFinding[] = [];
  const absolute = statements.find(({ path }, index) => doubtful[index] === true && WINDOWS_ROOT.test(path));
  if (absolute !== undefined)
    findings.push(
      pathFinding(
        { refused: 'it is absolute, as programs on Windows write it', absolute: true },
        absolute.path,
        'an entry',
        manifest,
      ),
    );
  const readable = statements.flatMap((statement, index) => {
    if (doubtful[index] !== true) return [{ statement, changed: false }];
    if (WINDOWS_ROOT.test(statement.path)) return [];
    const path = withSlashes(statement.path);
    return [{ statement: path === null ? statement : { ...statement, path }, changed: path !== null }];
  });
  const translated = bestFit(
    readable.map(({ statement }) => statement),
    placing,
  );
  if (translated.fits <= plain.fits)
    return {
      statements: plain.statements.filter(({ path }) => absolute === undefined || !WINDOWS_ROOT.test(path)),
      findings,
    };
  const first = statements.find((_, index) => doubtful[index] === true);
  findings.push(
    finding(
      'manifest-path-separators',
      `${readable.filter(({ changed }) => changed).length} of ${statements.length} paths, the first is ${printable(first?.path ?? '')}`,
      'a slash between a folder and what lies in it',
      { file: manifest },
    ),
  );
  return { statements: translated.statements, findings };
}
