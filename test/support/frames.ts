/** Folders of numbered files, as a master's maker leaves them; made by hand. */
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

export const frameName = (number: number): string => `A001C001.${String(number).padStart(7, '0')}.exr`;

/** `contents`: one a frame, from 86400 on. Gives the folder's path. */
export function makeFrames(folder: string, contents: readonly string[]): string {
  mkdirSync(folder, { recursive: true });
  for (const [index, content] of contents.entries())
    writeFileSync(join(folder, frameName(86_400 + index)), content);
  return folder;
}

/** What `makeFrames` was given, read back; the names must be those, and no others. */
export function readFrames(folder: string): string[] {
  const names = readdirSync(folder).sort();
  if (names.some((name, index) => name !== frameName(86_400 + index)))
    throw new Error(`other names: ${names.join()}`);
  return names.map((name) => readFileSync(join(folder, name), 'utf8'));
}

/** A bell, cast in four frames. */
export const bell = ['the mould', 'the bronze', 'the clapper', 'the first stroke'] as const;
