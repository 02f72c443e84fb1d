/** Whether a path is a program, and where PATH has one. */
import { accessSync, constants, statSync } from 'node:fs';
import { delimiter, join } from 'node:path';

export function isProgram(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return statSync(path).isFile();
  } catch {
    // Absent, unreadable folder, not allowed: all the same to the caller.
    return false;
  }
}

/** Every program of this name along PATH, in its order. */
export function programsOnPath(name: string): string[] {
  return (process.env.PATH ?? '')
    .split(delimiter)
    .filter((folder) => folder !== '')
    .map((folder) => join(folder, name))
    .filter(isProgram);
}
