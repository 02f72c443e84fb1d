/** What operating systems leave in folders that somebody looked at, or on drives that they took part in. The only list of it. Pure. */

/**
 * In lower case. macOS: .DS_Store, .AppleDouble, .Spotlight-V100, .Trashes, .fseventsd, .TemporaryItems. Windows: Thumbs.db,
 * desktop.ini, System Volume Information, $RECYCLE.BIN. KDE: .directory. ext file systems: lost+found. Common practice, no source.
 */
const NAMES: ReadonlySet<string> = new Set([
  '.ds_store',
  '.appledouble',
  '.spotlight-v100',
  '.trashes',
  '.fseventsd',
  '.temporaryitems',
  'thumbs.db',
  'desktop.ini',
  'system volume information',
  '$recycle.bin',
  '.directory',
  'lost+found',
]);

/** `._name`: what another file system could not keep of `name` (AppleDouble, RFC 1740, appendix B). */
export function isCompanionName(name: string): boolean {
  return name.startsWith('._');
}

/** Of a single file or folder. */
export function isSystemName(name: string): boolean {
  return isCompanionName(name) || NAMES.has(name.toLowerCase());
}

/** True for such a file, and for whatever lies in such a folder. `/` between parts. */
export function isSystemPath(path: string): boolean {
  return path.split('/').some(isSystemName);
}
