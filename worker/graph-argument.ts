/** How a filter graph reaches ffmpeg: as an argument, or, where it is too long for one, as a file. */
import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { isAtLeast, type MediaTools } from '../process/locate.ts';

/** Bytes. Linux takes no argument of more than 131 072 (MAX_ARG_STRLEN, include/uapi/linux/binfmts.h): one text of many letters is many filters. */
const LONGEST_ARGUMENT = 120_000;

/** `folder`: private, for the file. */
export async function graphArguments(
  graph: string,
  { folder, tools }: { readonly folder: string; readonly tools: MediaTools },
): Promise<readonly string[]> {
  if (Buffer.byteLength(graph) <= LONGEST_ARGUMENT) return ['-filter_complex', graph];
  const path = join(folder, 'graph.txt');
  await writeFile(path, graph);
  // FFmpeg 7.0 reads any option from a file, and takes the older name for one that goes.
  const option = isAtLeast(tools.ffmpeg.release, { major: 7, minor: 0 })
    ? '-/filter_complex'
    : '-filter_complex_script';
  return [option, path];
}
