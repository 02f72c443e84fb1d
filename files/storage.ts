/** What kind of file system a mount is, as far as it decides whether two files can be told apart. Pure. */
import type { Mount } from './mounts.ts';

/**
 * `local`: each file has a number of its own that lasts. `numberless`: on a drive or made by a program here, with numbers
 * that are made up as files are looked at. `network`, `network-numberless`: the same, of another machine, whose files may
 * come here under two names. `stacked`: shows files of other folders of this machine.
 */
export type StorageKind = 'local' | 'numberless' | 'network' | 'network-numberless' | 'stacked';

/**
 * Linux makes the numbers of these up with iunique() each time a file is first looked at (fs/fat/inode.c,
 * fs/exfat/inode.c, fs/vboxsf/super.c). They have no hard links either. `fuseblk`: a program that has a drive, exFAT
 * among them; libfuse makes numbers up unless the program gives its own (fuse.h, `use_ino`).
 */
const NUMBERLESS: ReadonlySet<string> = new Set(['vfat', 'msdos', 'exfat', 'fuseblk', 'vboxsf']);
/** No file on them has a second name, so that two paths are two files. */
const LINKLESS: ReadonlySet<string> = new Set(['vfat', 'msdos', 'exfat']);
/** File numbers are the server's (RFC 1813, fileid3; RFC 8881, fileid; mount.cifs(8), `serverino`, the default). From memory of these pages. */
const NETWORK: ReadonlySet<string> = new Set(['nfs', 'nfs4', 'cifs', 'smb3', 'ceph', 'lustre', 'afs']);
/** Programs that bring another machine's files, and systems whose numbers nobody promises. */
const NETWORK_NUMBERLESS: ReadonlySet<string> = new Set([
  'fuse.sshfs',
  'fuse.glusterfs',
  'fuse.rclone',
  'smbfs',
  '9p',
  'virtiofs',
]);
/** Documentation/filesystems/overlayfs.rst, "Inode properties"; mount options of the others from memory. */
const STACKED: ReadonlySet<string> = new Set(['overlay', 'aufs', 'unionfs', 'ecryptfs']);

/** A program of unknown kind may show any folder of this machine under another name. */
export function storageKind({ type, options }: Pick<Mount, 'type' | 'options'>): StorageKind {
  if (NUMBERLESS.has(type)) return 'numberless';
  if (NETWORK.has(type)) return options.includes('noserverino') ? 'network-numberless' : 'network';
  if (NETWORK_NUMBERLESS.has(type)) return 'network-numberless';
  if (STACKED.has(type) || type === 'fuse' || type.startsWith('fuse.')) return 'stacked';
  return 'local';
}

/** Whether two paths with one number are one file, and two with two numbers are two. */
export function hasNumbers(mount: Pick<Mount, 'type' | 'options'>): boolean {
  const kind = storageKind(mount);
  return kind === 'local' || kind === 'network' || STACKED.has(mount.type);
}

export const isLinkless = ({ type }: Pick<Mount, 'type'>): boolean => LINKLESS.has(type);

/** The folders that an overlay is made of; null for what does not say so. Source: overlayfs.rst, "Upper and Lower". */
export function layersOf({ type, options }: Pick<Mount, 'type' | 'options'>): string[] | null {
  if (type !== 'overlay') return null;
  const values = (name: string): string[] =>
    options.filter((one) => one.startsWith(`${name}=`)).map((one) => one.slice(name.length + 1));
  // A colon parts lower folders; one within a name has a backslash before it. `lowerdir+` gives them one by one.
  const lower = values('lowerdir').flatMap((list) => list.split(/(?<!\\):+/));
  return [...values('upperdir'), ...lower, ...values('lowerdir+'), ...values('datadir+')].map((path) =>
    path.replaceAll('\\:', ':'),
  );
}

/** The machine that a share comes from, `nas` of `nas:/day` and of `//nas/day`; null when the source names none. */
export function serverOf({ source }: Pick<Mount, 'source'>): string | null {
  const found = /^\/\/([^/]+)|^(?:[^@/]*@)?(\[[^\]]+\]|[^:/]+):/.exec(source);
  return (found?.[1] ?? found?.[2] ?? null)?.toLowerCase() ?? null;
}
