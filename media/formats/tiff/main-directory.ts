/** Which directory of a TIFF file holds its picture. */
import type { TiffDirectory, TiffFile } from './header.ts';
import { TAG } from './tags.ts';

/** The main picture may be in a directory of its own below the first, which then holds a small preview. */
export async function mainDirectory(file: TiffFile, first: TiffDirectory): Promise<TiffDirectory> {
  const isMain = async (directory: TiffDirectory): Promise<boolean> =>
    ((await directory.number(TAG.NewSubFileType)) ?? 0) === 0 && directory.has(TAG.ImageWidth);
  if (await isMain(first)) return first;
  for (const offset of await first.numbers(TAG.SubIFDs)) {
    const below = await file.directory(offset);
    if (await isMain(below)) return below;
  }
  return first;
}
