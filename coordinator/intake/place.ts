/** Where a copy lies, so that it can be told apart from others: its mount, its drive, and the numbers of its files. Reads no byte of a file. */
import { codeOf } from '../../files/error-code.ts';
import { lstat, readFile, realpath, stat } from 'node:fs/promises';
import { basename, dirname, join, relative } from 'node:path';
import { type Mount, mountOf } from '../../files/mounts.ts';
import { fsPath } from '../../files/names.ts';
import { layersOf, serverOf, storageKind } from '../../files/storage.ts';
import type { CopyPlace } from './apart.ts';

/** `mounts`: null where the system keeps no list. */
export async function placeOfCopy(
  folder: string,
  paths: readonly string[],
  mounts: readonly Mount[] | null,
): Promise<CopyPlace> {
  const mount = await mountOf(folder, mounts);
  const { dev } = await lstat(fsPath(folder), { bigint: true });
  const inner = mount === null ? folder : join(mount.root, relative(mount.point, folder));
  const layers = mount === null ? null : layersOf(mount);
  const seen = layers === null ? null : await foldersThere(layers);
  const files = new Map<string, readonly string[]>();
  const systems = new Map<bigint, string>();
  for (const path of paths) {
    const own = await identityOf(`${folder}/${path}`, systems);
    if (own === null) continue;
    const below: string[] = [];
    for (const layer of seen ?? []) {
      const id = await identityOf(join(layer, inner, path), systems);
      if (id !== null) below.push(id);
    }
    files.set(path, [own, ...below]);
  }
  return {
    folder,
    mount,
    inner,
    drive: await driveOf(mount, dev),
    layersSeen: layers !== null && seen !== null && seen.length === layers.length,
    files,
  };
}

async function identityOf(path: string, systems: Map<bigint, string>): Promise<string | null> {
  try {
    const { dev, ino } = await lstat(fsPath(path), { bigint: true });
    let system = systems.get(dev);
    if (system === undefined) systems.set(dev, (system = await systemOf(dev)));
    return `${system}:${ino}`;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    // What cannot be looked at is reported by whoever reads it.
    return null;
  }
}

/** Those that lie here as their mount names them: a container sees its layers' names, and not the folders. */
async function foldersThere(layers: readonly string[]): Promise<string[]> {
  const there: string[] = [];
  for (const layer of layers) {
    try {
      if (layer.startsWith('/') && (await stat(fsPath(layer))).isDirectory()) there.push(layer);
    } catch (error) {
      if (codeOf(error) === '') throw error;
    }
  }
  return there;
}

const major = (device: bigint): bigint => ((device >> 8n) & 0xfffn) | ((device >> 32n) & 0xfffff000n);
const minor = (device: bigint): bigint => (device & 0xffn) | ((device >> 12n) & 0xffffff00n);

/** In sysfs, of a device as stat gives it (makedev(3)). Source: Linux, Documentation/ABI/testing/sysfs-dev. */
async function inSysfs(device: string, file: string): Promise<string | null> {
  try {
    return (await readFile(join('/sys/dev/block', device, file), 'utf8')).trim();
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}

/** One name for one file system: an image that two loop devices have is one. */
async function systemOf(dev: bigint): Promise<string> {
  const image = await inSysfs(`${major(dev)}:${minor(dev)}`, 'loop/backing_file');
  return image === null ? `${dev}` : `image ${image}`;
}

async function driveOf(mount: Mount | null, dev: bigint): Promise<string> {
  if (mount === null) return `file system ${dev}`;
  const kind = storageKind(mount);
  if (kind === 'network' || kind === 'network-numberless') return `server ${serverOf(mount) ?? mount.source}`;
  // One pool or one set of drives has a file system number for each part of it.
  if (mount.type === 'zfs') return `pool ${mount.source.split('/')[0] ?? ''}`;
  if (mount.type === 'btrfs') return `drive ${mount.source}`;
  const image = await inSysfs(mount.device, 'loop/backing_file');
  if (image !== null) return `image ${image}`;
  return (await diskOf(mount.device)) ?? `file system ${mount.device}`;
}

/** The disk that a partition is of; null for what is no block device. */
async function diskOf(device: string): Promise<string | null> {
  try {
    const place = await realpath(join('/sys/dev/block', device));
    const isPart = (await inSysfs(device, 'partition')) !== null;
    return `drive ${basename(isPart ? dirname(place) : place)}`;
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return null;
  }
}
