/**
 * A file under a plain name in a private folder. Programs that write beside their input, or that take a name for an option, then do
 * so there, and the source's folder stays as it is.
 */
import { mkdtemp, rm, symlink } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { extname, join } from 'node:path';
import { fsPath } from '../../../files/names.ts';

export async function withPrivateLink<T>(
  path: string,
  use: (link: string, folder: string) => Promise<T>,
): Promise<T> {
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-raw-'));
  try {
    const extension = extname(path);
    const link = join(folder, `source${/^\.[A-Za-z0-9]{1,8}$/.test(extension) ? extension : ''}`);
    await symlink(fsPath(path), link);
    return await use(link, folder);
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}
