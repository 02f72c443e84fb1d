/** The file of a colour transform, kept beside the reports: workers on other machines and audits in later years read it there. */
import { createHash } from 'node:crypto';
import { codeOf } from '../files/error-code.ts';
import { readFile } from 'node:fs/promises';
import { extname, join } from 'node:path';
import { FindingError, finding } from '../findings/finding.ts';
import { type InputTransform, transformOf } from '../media/colour/input.ts';
import { colourFileSteps } from '../media/colour/file.ts';
import type { WayLook } from '../media/colour/way.ts';
import type { ColourTransform } from '../media/colour/steps.ts';
import { fsPath } from '../files/names.ts';
import type { Linearisation } from '../profiles/master/linearisation.ts';
import { layout } from './layout.ts';

/** Where it lies below <delivery>/<day>/<roll>; null for a transform without a file. */
export function transformPath(input: InputTransform | null): string | null {
  return input !== null && 'file' in input
    ? layout.transform(input.sha256, extname(input.file).toLowerCase())
    : null;
}

/**
 * Of a linearisation, from the file that lies there where it is one; null for raw frames. Throws FindingError for a file that
 * cannot be read (`transform-absent`), is another one, or says nothing of use.
 */
export async function readTransform(
  rollFolder: string,
  linearisation: Linearisation,
): Promise<ColourTransform | null> {
  return linearisation.kind === 'coded' ? await readInput(rollFolder, linearisation.input) : null;
}

/** The same of an input transform. */
export async function readInput(rollFolder: string, input: InputTransform): Promise<ColourTransform> {
  const path = transformPath(input);
  return transformOf(input, path === null ? undefined : await textOf(rollFolder, path));
}

/** A look, from linear AP0 to linear AP0 or to its display, from the file that lies there. Throws as `readTransform` does. */
export async function readLook(rollFolder: string, { file, aces }: WayLook): Promise<ColourTransform> {
  const text = await textOf(rollFolder, layout.transform(aces, '.clf'));
  const sha256 = createHash('sha256').update(text).digest('hex');
  if (sha256 !== aces)
    throw new FindingError(
      [finding('colour-file-changed', `SHA-256 ${sha256}`, `SHA-256 ${aces}`, { file })],
      3,
    );
  return { steps: colourFileSteps(`${file}.clf`, Buffer.from(text)) };
}

async function textOf(rollFolder: string, path: string): Promise<string> {
  try {
    return await readFile(fsPath(join(rollFolder, path)), 'utf8');
  } catch (error) {
    throw new FindingError(
      [
        finding(
          'transform-absent',
          codeOf(error) || (error as Error).message,
          'the file of the colour transform, beside the reports',
          { file: path },
        ),
      ],
      3,
    );
  }
}
