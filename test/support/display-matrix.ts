/** Movies that lie otherwise than they are to be seen: the matrix of the picture's track written over (ISO/IEC 14496-12, 8.3.2). */
import { readFileSync, writeFileSync } from 'node:fs';

/** `matrix`: a, b, c, d, each 1, 0 or -1. */
export function layDown(path: string, matrix: readonly [number, number, number, number]): void {
  const bytes = readFileSync(path);
  const [a, b, c, d] = matrix;
  for (let at = bytes.indexOf('tkhd'); at >= 0; at = bytes.indexOf('tkhd', at + 4)) {
    // Version 0: the matrix lies 40 bytes behind the version, width and height behind it; other tracks have no width.
    const first = at + 4 + 40;
    const [width, height] = [bytes.readUInt32BE(first + 36) >>> 16, bytes.readUInt32BE(first + 40) >>> 16];
    if (width === 0) continue;
    const left = Math.min(0, a * width, c * height, a * width + c * height);
    const top = Math.min(0, b * width, d * height, b * width + d * height);
    for (const [index, value] of [a, b, 0, c, d, 0, -left, -top].entries())
      bytes.writeInt32BE(65_536 * value, first + 4 * index);
  }
  writeFileSync(path, bytes);
}
