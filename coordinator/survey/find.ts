/** Which clips a roll holds, from its list of files alone. Every file ends up as part of a clip or among the others. Pure. */
import ignore from 'ignore';
import { type Finding, finding } from '../../findings/finding.ts';
import { type Clip, type ClipPlace, filesOfPlace } from '../../ledger/clip.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { printable } from '../../files/names.ts';
import type { Rate } from '../../media/time/rate.ts';
import { type NumberedGroup, groupStills, isStill } from '../../media/sequence/group.ts';
import { collisionKey } from '../../files/safe-names.ts';
import { append } from '../../findings/append.ts';
import { checksumOf, contentDigest } from '../../ledger/content-digest.ts';
import { clipIds } from './identity.ts';
import { type FileKind, kindOf } from './kinds.ts';
import { namingText } from './join-parts.ts';
import { isSoundFile } from './sound.ts';
import { type SpannedGroup, spannedGroups, type SpannedRules, usualRules } from './spanned.ts';
import type { Content } from './signatures.ts';
import { isCompanionName } from '../../files/system-files.ts';

export interface FindOptions {
  /** The rate of sequences when the user states it. */
  readonly statedRate: Rate | null;
  /** Patterns as in a gitignore file, against paths relative to the roll, of files that are no clips. */
  readonly ignore: readonly string[];
  /** Which kind of clip a declared decoder makes of a file, whatever else it could be; null: none takes it. */
  readonly declared?: (path: string) => 'movie' | 'frames' | null;
  /** Which movies are parts of one recording; absent: by a suffix, with running timecode. */
  readonly spanned?: SpannedRules;
  /** What files are by their first bytes, of those that `namelessPaths` gives. */
  readonly contents?: ReadonlyMap<string, Content>;
}

/** Files whose name does not say that they are clips: these are to be looked into. */
export function namelessPaths(files: readonly RollFile[], declared?: FindOptions['declared']): string[] {
  return files
    .map((file) => file.path)
    .filter((path) => !isStill(path) || isCompanionName(baseName(path)))
    .filter((path) => (declared?.(path) ?? null) === null && kindOf(path) !== 'movie');
}

export interface FoundClips {
  /** In order of name and place. */
  readonly clips: Clip[];
  /** Every file that is part of no clip, in order: sidecars, ignored files, and those that a finding names. */
  readonly others: string[];
  /** Of these the sound files that nobody ignores. */
  readonly sounds: string[];
  /** With `clip` and `file`; the caller adds the roll. */
  readonly findings: Finding[];
}

interface Draft {
  readonly name: string;
  /** What the id's hash is made from. */
  readonly path: string;
  readonly place: ClipPlace;
  readonly files: readonly RollFile[];
  readonly findings: readonly Omit<Finding, 'clip'>[];
}

function baseName(path: string): string {
  return path.slice(path.lastIndexOf('/') + 1);
}

/** The name of a movie's clip. */
function stemOf(path: string): string {
  return baseName(path).replace(/(?<=.)\.[^.]*$/s, '');
}

/**
 * Where the name does not say `movie`, the first bytes do. `named`: keys of the movies that are such by name; a file of the
 * same name beside one of them is a camera's own small copy of it, or something else that must be looked at.
 */
function kindByContent(path: string, content: Content | undefined, named: ReadonlySet<string>): FileKind {
  const kind = kindOf(path);
  if (kind === 'movie' || content === undefined || content.kind === 'audio') return kind;
  if (content.kind === 'frame' || isCompanionName(baseName(path))) return 'unknown';
  return named.has(collisionKey(stemOf(path))) ? 'unknown' : 'movie';
}

const none: ReadonlySet<string> = new Set();

/** It has the name of its first part. */
function spannedDraft(group: SpannedGroup, byPath: ReadonlyMap<string, RollFile>): Draft {
  const files = group.paths.map((path) => byPath.get(path) as RollFile);
  const first = group.paths[0] as string;
  return {
    name: stemOf(first),
    path: first,
    place:
      files.length === 1
        ? { kind: 'movie', file: first }
        : {
            kind: 'spanned',
            parts: files.map((file) => ({ file: file.path, bytes: file.bytes, checksum: checksumOf(file) })),
            namedBy: group.namedBy,
            continuesBy: group.continuesBy,
          },
    files,
    findings:
      group.gap === null
        ? []
        : [
            finding(
              'spanned-part-missing',
              `${files.length} ${files.length === 1 ? 'part' : 'parts'}, without ${group.gap}`,
              `every part of the recording, by ${namingText(group.namedBy)}`,
              { file: first },
            ),
          ],
  };
}

function movieDraft(file: RollFile): Draft {
  const name = stemOf(file.path);
  return { name, path: file.path, place: { kind: 'movie', file: file.path }, files: [file], findings: [] };
}

/** What `--ignore` took out of the count: a roll can be ready without it, so it must be said. */
function ignoredFinding(
  paths: readonly string[],
  options: FindOptions,
  isClip: (path: string) => boolean,
): Finding[] {
  const media = paths.filter(
    (path) => isClip(path) || ['movie', 'frame'].includes(options.contents?.get(path)?.kind ?? ''),
  );
  const [first] = media;
  if (first === undefined) return [];
  const pattern = options.ignore.find((one) => ignore({ ignorecase: false }).add(one).ignores(first));
  return [
    finding(
      'files-ignored',
      `${media.length} movie or frame ${media.length === 1 ? 'file' : 'files'}, the first ${printable(first)}${pattern === undefined ? '' : ` by the pattern ${printable(pattern)}`}`,
      'no clip among them',
      { file: first },
    ),
  ];
}

function prefixName(group: NumberedGroup): string {
  return group.prefix.replace(/[\s._-]+$/, '');
}

/** What stands before the numbers; where that is nothing, or the same in several folders (`frame.`), the folder carries the name. */
function sequenceName(group: NumberedGroup, groups: readonly NumberedGroup[]): string {
  const name = prefixName(group);
  const alone = !groups.some(
    (other) => other.folder !== group.folder && collisionKey(prefixName(other)) === collisionKey(name),
  );
  return (alone ? name : baseName(group.folder)) || baseName(group.folder) || name || 'sequence';
}

function ranges(gaps: NumberedGroup['gaps']): string {
  const shown = gaps.slice(0, 5).map(({ from, to }) => (from === to ? String(from) : `${from} to ${to}`));
  return `${shown.join(', ')}${gaps.length > 5 ? ` and ${gaps.length - 5} more gaps` : ''}`;
}

/** Uncompressed DPX frames of one picture size are of one length; other forms may be compressed. */
function sizesDiffer(group: NumberedGroup): string | null {
  if (!/\.dpx$/i.test(group.suffix)) return null;
  const counts = new Map<number, number>();
  for (const { file } of group.run) counts.set(file.bytes, (counts.get(file.bytes) ?? 0) + 1);
  if (counts.size < 2) return null;
  const list = [...counts].sort((a, b) => b[1] - a[1] || a[0] - b[0]);
  return list
    .slice(0, 5)
    .map(([bytes, count]) => `${count} of ${bytes} bytes`)
    .join(', ');
}

function sequenceFindings(group: NumberedGroup): Omit<Finding, 'clip'>[] {
  const found: Omit<Finding, 'clip'>[] = [];
  const missing = group.gaps.reduce((sum, gap) => sum + gap.to - gap.from + 1, 0);
  if (missing > 0)
    found.push(
      finding(
        'sequence-gap',
        `${missing} ${missing === 1 ? 'number is' : 'numbers are'} missing: ${ranges(group.gaps)}`,
        'every number from the first to the last',
      ),
    );
  for (const { number, files } of group.duplicates) {
    found.push(
      finding(
        'sequence-duplicate',
        `${files.length} files with number ${number}: ${files.map((file) => printable(baseName(file))).join(', ')}`,
        'one file for each number',
        { file: files[0] as string },
      ),
    );
  }
  const otherwise = group.otherwiseWritten.filter(
    (path) => !group.duplicates.some((same) => same.files.includes(path)),
  );
  if (otherwise.length > 0) {
    const form =
      group.padding > 0
        ? `numbers of ${group.padding} digits, with zeros in front`
        : 'numbers without zeros in front';
    found.push(
      finding(
        'sequence-numbering-mixed',
        `${otherwise.length} ${otherwise.length === 1 ? 'file is' : 'files are'} numbered differently, the first ${printable(baseName(otherwise[0] as string))}`,
        form,
        { file: otherwise[0] as string },
      ),
    );
  }
  const sizes = sizesDiffer(group);
  if (sizes !== null) found.push(finding('sequence-sizes-differ', sizes, 'frames of one size'));
  return found;
}

/** Files by path of what the group covers and of what is left of it. */
function sequenceDraft(
  group: NumberedGroup,
  groups: readonly NumberedGroup[],
  byPath: ReadonlyMap<string, RollFile>,
  statedRate: Rate | null,
): Draft {
  const all = [...group.run.map(({ file }) => file), ...group.rest];
  // A group has frames, and the way its numbers are written is taken from one of them.
  const first = group.run[0] as NumberedGroup['run'][number];
  const place: ClipPlace = {
    kind: 'sequence',
    folder: group.folder,
    prefix: group.prefix,
    suffix: group.suffix,
    padding: group.padding,
    first: first.number,
    count: group.run.length,
    statedRate,
  };
  return {
    name: sequenceName(group, groups),
    path: `${group.folder}/${group.prefix}#${group.suffix}`,
    place,
    files: all.map((file) => byPath.get(file.path) as RollFile),
    findings: sequenceFindings(group),
  };
}

/** A group of one file in the folder of a real sequence is a stray, not a clip of one frame. */
function isStray(group: NumberedGroup, groups: readonly NumberedGroup[]): boolean {
  return (
    group.run.length + group.rest.length === 1 &&
    groups.some((other) => other !== group && other.folder === group.folder && other.run.length > 1)
  );
}

/**
 * `files`: the roll as intake read it, checksums included. Throws RangeError when a clip's file has no checksum.
 * A sequence with a gap is a clip whose place ends at the gap; it is held, and the frames beyond are among the others.
 */
export function findClips(files: readonly RollFile[], options: FindOptions): FoundClips {
  const ignored = ignore({ ignorecase: false }).add([...options.ignore]);
  const byPath = new Map(files.map((file) => [file.path, file]));
  const wanted = files.filter((file) => !ignored.ignores(file.path));
  const companion = (path: string): boolean => isCompanionName(baseName(path));
  const declared = (path: string): 'movie' | 'frames' | null =>
    companion(path) ? null : (options.declared?.(path) ?? null);
  const isFrame = (path: string): boolean =>
    !companion(path) && (declared(path) ?? (isStill(path) ? 'frames' : 'movie')) === 'frames';
  const { groups, single } = groupStills(wanted.filter((file) => isFrame(file.path)));
  const sequences = groups.filter((group) => !isStray(group, groups));
  const sequenceFolders = new Set(
    sequences.filter((group) => group.run.length > 1).map((group) => group.folder),
  );
  const strays = new Set([
    ...groups
      .filter((group) => isStray(group, groups))
      .flatMap((group) => [
        ...group.run.map(({ file }) => file.path),
        ...group.rest.map((file) => file.path),
      ]),
    ...single.map((file) => file.path),
  ]);

  const findings: Finding[] = ignoredFinding(
    files.filter((file) => ignored.ignores(file.path)).map((file) => file.path),
    options,
    (path) =>
      isFrame(path) || (declared(path) ?? kindByContent(path, options.contents?.get(path), none)) === 'movie',
  );
  const drafts: Draft[] = sequences.map((group) =>
    sequenceDraft(group, sequences, byPath, options.statedRate),
  );
  const folderOf = (path: string): string => path.slice(0, Math.max(0, path.lastIndexOf('/')));
  const riddle = (path: string, more = 0): void => {
    const among = sequenceFolders.has(folderOf(path));
    const content = options.contents?.get(path);
    const form = content === undefined ? '' : `, ${content.form} by its first bytes`;
    findings.push(
      finding(
        among ? 'sequence-foreign-file' : 'file-unrecognised',
        `${printable(baseName(path))}, ${byPath.get(path)?.bytes} bytes${form}${more === 0 ? '' : `, and ${more} more that differ from it in their number`}`,
        among
          ? 'nothing but frames and known sidecars in the folder of a sequence'
          : 'a movie, a numbered sequence or a known sidecar',
        { file: path },
      ),
    );
  };
  const byName = new Set(
    wanted
      .filter(({ path }) => !isFrame(path) && (declared(path) ?? kindOf(path)) === 'movie')
      .map(({ path }) => collisionKey(stemOf(path))),
  );
  // Frames that no reader takes, for their name: all of one clip are one finding.
  const unread = new Map<string, string[]>();
  const movies: RollFile[] = [];
  for (const file of wanted) {
    if (strays.has(file.path)) riddle(file.path);
    else if (!isFrame(file.path)) {
      const content = options.contents?.get(file.path);
      const kind = declared(file.path) ?? kindByContent(file.path, content, byName);
      if (kind === 'movie' && declared(file.path) === null) movies.push(file);
      else if (kind === 'movie') drafts.push(movieDraft(file));
      if (kind === 'unknown' && content?.kind === 'frame') {
        const series = file.path.replace(/\d+(?=\D*$)/, '#');
        unread.set(series, [...(unread.get(series) ?? []), file.path]);
      } else if (kind === 'unknown') riddle(file.path);
    }
  }
  const spanned = spannedGroups(
    movies.map(({ path }) => path),
    options.spanned ?? usualRules,
  );
  const inGroups = new Set(spanned.flatMap(({ paths }) => paths));
  append(
    drafts,
    spanned.map((group) => spannedDraft(group, byPath)),
  );
  append(drafts, movies.filter(({ path }) => !inGroups.has(path)).map(movieDraft));
  for (const [first, ...more] of unread.values()) if (first !== undefined) riddle(first, more.length);

  drafts.sort((a, b) => (a.path < b.path ? -1 : a.path > b.path ? 1 : 0));
  const ids = clipIds(drafts);
  const covered = new Set<string>();
  const clips = drafts.map((draft, index): Clip => {
    const id = ids[index] as string;
    for (const item of draft.findings) findings.push({ ...item, clip: id } as Finding);
    return {
      id,
      name: draft.name,
      place: draft.place,
      bytes: draft.files.reduce((sum, file) => sum + file.bytes, 0),
      contentDigest: contentDigest(draft.files),
    };
  });
  for (const { place } of drafts)
    if (place.kind !== 'sequence') for (const path of filesOfPlace(place)) covered.add(path);
  for (const group of sequences) for (const { file } of group.run) covered.add(file.path);
  return {
    clips,
    sounds: wanted
      .map((file) => file.path)
      .filter((path) => isSoundFile(path) && !covered.has(path) && !companion(path))
      .sort(),
    others: files
      .map((file) => file.path)
      .filter((path) => !covered.has(path))
      .sort(),
    findings,
  };
}
