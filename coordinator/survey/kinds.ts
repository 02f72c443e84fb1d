/** What a file of a roll is by its name. Anything not named here is reported as not understood: a clip must not vanish. */

export const movieExtensions = ['mov', 'mp4', 'm4v', 'mxf', 'mts', 'm2ts', 'avi', 'mkv'] as const;

/** Files known to stand beside clips: descriptions, grades, audio, pictures for looking, checksums. */
const KNOWN_COMPANIONS = new Set([
  ...['xml', 'txt', 'csv', 'json', 'pdf', 'html', 'htm', 'log', 'xmp', 'edl'],
  ...['cdl', 'cc', 'ccc', 'cube', 'clf'],
  ...['wav', 'bwf', 'rf64', 'aif', 'aiff', 'flac'],
  ...['jpg', 'jpeg', 'png'],
  ...['mhl', 'md5', 'sha1', 'sha256', 'sha512', 'b2', 'xxh', 'xxh64', 'xxh3', 'xxh128', 'xxhash', 'c4'],
]);
/** Checksum lists of the coreutils kind have no extension. */
const CHECKSUM_LIST = /^(?:md5|sha1|sha224|sha256|sha384|sha512|b2|xxh32|xxh64|xxh3|xxh128)sums?$/i;
/** Written by operating systems into folders that somebody looked at. */
const SYSTEM = new Set(['.ds_store', 'thumbs.db', 'desktop.ini']);

function extensionOf(name: string): string {
  const dot = name.lastIndexOf('.');
  return dot <= 0 ? '' : name.slice(dot + 1).toLowerCase();
}

export type FileKind = 'movie' | 'beside' | 'unknown';

/** `all`: every path of the roll, since a companion file counts only beside the file that it belongs to. Stills are told apart before. */
export function kindOf(path: string, all: ReadonlySet<string>): FileKind {
  const slash = path.lastIndexOf('/');
  const name = path.slice(slash + 1);
  // A file `._name` holds what another file system could not keep of `name`; alone it is a riddle.
  if (name.startsWith('._'))
    return all.has(`${path.slice(0, slash + 1)}${name.slice(2)}`) ? 'beside' : 'unknown';
  if (SYSTEM.has(name.toLowerCase()) || CHECKSUM_LIST.test(name)) return 'beside';
  const extension = extensionOf(name);
  if ((movieExtensions as readonly string[]).includes(extension)) return 'movie';
  if (
    path
      .split('/')
      .slice(0, -1)
      .some((folder) => folder.toLowerCase() === 'ascmhl')
  )
    return 'beside';
  return KNOWN_COMPANIONS.has(extension) ? 'beside' : 'unknown';
}
