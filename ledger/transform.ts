/** The file of a colour transform, kept beside the reports: workers on other machines and audits in later years read it there. */
import { readFile } from 'node:fs/promises';
import { extname, join } from 'node:path';
import type { InputTransform } from '../media/colour/input.ts';
import { fsPath } from '../media/names.ts';
import { layout } from './layout.ts';

/** Where it lies below <delivery>/<day>/<roll>; null for a transform without a file. */
export function transformPath(input: InputTransform | null): string | null {
  return input !== null && 'file' in input ? layout.transform(input.sha256, extname(input.file).toLowerCase()) : null;
}

/** Its text; null for a transform without a file. Throws what node:fs throws; whether it is the right one, media/colour says. */
export async function readTransform(rollFolder: string, input: InputTransform | null): Promise<string | null> {
  const path = transformPath(input);
  return path === null ? null : await readFile(fsPath(join(rollFolder, path)), 'utf8');
}
