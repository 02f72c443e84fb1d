/** Which directory of a TIFF file holds its picture. */
import { StillDamage } from '../still.ts';
import type { TiffDirectory, TiffFile } from './header.ts';
import { TAG } from './tags.ts';

/** Previews and what a camera adds are a handful. */
const MOST_SUB_DIRECTORIES = 64;

/** The main picture may be in a directory of its own below the first, which then holds a small preview. */
export async function mainDirectory(file: TiffFile, first: TiffDirectory): Promise<TiffDirectory> {
  const isMain = async (directory: TiffDirectory): Promise<boolean> =>
    ((await directory.number(TAG.NewSubFileType)) ?? 0) === 0 && directory.has(TAG.ImageWidth);
  if (await isMain(first)) return first;
  const below = await first.numbers(TAG.SubIFDs);
  if (below.length > MOST_SUB_DIRECTORIES)
    throw new StillDamage(`${below.length} directories below the first`);
  for (const offset of below) {
    const directory = await file.directory(offset);
    if (await isMain(directory)) return directory;
  }
  return first;
}
