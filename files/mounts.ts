/** What is mounted where, as Linux says it. On other systems there is no such list, and nothing is known of mounts. */
import { codeOf } from './error-code.ts';
import { constants } from 'node:fs';
import { open, readFile } from 'node:fs/promises';
import { fsPath, nameFromBytes } from './names.ts';

/** One line of /proc/self/mountinfo. Source: proc(5), "/proc/pid/mountinfo". */
export interface Mount {
  readonly id: number;
  /** `major:minor` of the file system. */
  readonly device: string;
  /** The folder of the file system that is mounted. */
  readonly root: string;
  readonly point: string;
  /** `ext4`, `fuse.sshfs`, … */
  readonly type: string;
  /** A device, a share, or whatever the file system calls itself. */
  readonly source: string;
  /** Of the file system itself, as `lowerdir=/a`. */
  readonly options: readonly string[];
}

/** Space, tab, newline and backslash are written as three octal digits. */
const unescaped = (field: string): string =>
  field.replace(/\\([0-7]{3})/g, (_, digits: string) => String.fromCharCode(Number.parseInt(digits, 8)));

/** Pure. Lines of another form are left out: a newer kernel may write more. */
export function readMounts(text: string): Mount[] {
  return text.split('\n').flatMap((line) => {
    const fields = line.split(' ');
    const dash = fields.indexOf('-', 6);
    const [id, , device, root, point] = fields;
    const [type, source, options] = dash < 0 ? [] : fields.slice(dash + 1);
    if (!/^\d+$/.test(id ?? '') || device === undefined || root === undefined || point === undefined)
      return [];
    if (type === undefined || source === undefined) return [];
    return [
      {
        id: Number(id),
        device,
        root: unescaped(root),
        point: unescaped(point),
        type,
        source: unescaped(source),
        options: (options ?? '').split(',').map(unescaped),
      },
    ];
  });
}

/** Every mount that this process sees; null: the system keeps no such list. */
export async function mountsHere(): Promise<Mount[] | null> {
  try {
    return readMounts(nameFromBytes(await readFile('/proc/self/mountinfo')));
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** Pure. By the number that the kernel has for an open folder (proc(5), "/proc/pid/fdinfo"). */
export function mountNumber(fdinfo: string): number | null {
  const found = /^mnt_id:\s*(\d+)$/m.exec(fdinfo)?.[1];
  return found === undefined ? null : Number(found);
}

/** The mount that a folder is reached through; null where that is not known. By an open folder and not by its path, over which something else may be mounted. */
export async function mountOf(folder: string, mounts: readonly Mount[] | null): Promise<Mount | null> {
  if (mounts === null) return null;
  const handle = await open(fsPath(folder), constants.O_RDONLY | constants.O_DIRECTORY);
  try {
    const number = mountNumber(await readFile(`/proc/self/fdinfo/${handle.fd}`, 'utf8'));
    return mounts.find(({ id }) => id === number) ?? null;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  } finally {
    await handle.close();
  }
}
