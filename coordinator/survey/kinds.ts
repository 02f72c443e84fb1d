/** What a file of a roll is by its name. Anything not named here is looked into (signatures.ts) or reported as not understood: a clip must not vanish. */
import { isSystemName, isSystemPath } from '../../files/system-files.ts';

export const movieExtensions = ['mov', 'mp4', 'm4v', 'mxf', 'mts', 'm2ts', 'avi', 'mkv', 'webm'] as const;

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

function extensionOf(name: string): string {
  const dot = name.lastIndexOf('.');
  return dot <= 0 ? '' : name.slice(dot + 1).toLowerCase();
}

export type FileKind = 'movie' | 'beside' | 'unknown';

/** Stills are told apart before. */
export function kindOf(path: string): FileKind {
  const slash = path.lastIndexOf('/');
  const name = path.slice(slash + 1);
  if (isSystemName(name) || CHECKSUM_LIST.test(name)) return 'beside';
  const extension = extensionOf(name);
  if ((movieExtensions as readonly string[]).includes(extension)) return 'movie';
  if (
    path
      .split('/')
      .slice(0, -1)
      .some((folder) => folder.toLowerCase() === 'ascmhl')
  )
    return 'beside';
  return KNOWN_COMPANIONS.has(extension) || isSystemPath(path) ? 'beside' : 'unknown';
}
