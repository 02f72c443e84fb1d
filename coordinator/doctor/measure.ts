/** What both the doctor and a machine that proves itself ask of the system. Reads only. */
import { accessSync, constants, existsSync, statSync } from 'node:fs';
import { statfs } from 'node:fs/promises';
import { dirname, resolve } from 'node:path';
import { burnInFont } from '../../files/installation.ts';
import { FindingError } from '../../findings/finding.ts';
import { kernelNames, loadKernel } from '../../media/kernels/memory.ts';
import type { MachineFacts, Sought, VolumeFacts } from './facts.ts';

/** The findings of a refusal as a value; anything else is a fault of ours and goes on up. */
export async function sought<Found>(search: Promise<Found>): Promise<Sought<Found>> {
  try {
    return { found: await search };
  } catch (error) {
    if (error instanceof FindingError) return { findings: error.findings };
    throw error;
  }
}

export async function volume(role: VolumeFacts['role'], name: string): Promise<VolumeFacts> {
  const folder = resolve(name);
  let measured = folder;
  while (!existsSync(measured) && dirname(measured) !== measured) measured = dirname(measured);
  let writable = true;
  try {
    accessSync(measured, constants.W_OK);
  } catch {
    // Not allowed, or a volume mounted read-only: reported as not writable.
    writable = false;
  }
  const known = { role, folder, measured, writable };
  const unmeasured = (error: string): VolumeFacts => ({ ...known, freeBytes: null, freeFiles: null, error });
  if (!statSync(measured).isDirectory()) return unmeasured(`${measured} is not a folder`);
  try {
    const space = await statfs(measured);
    return {
      ...known,
      freeBytes: space.bavail * space.bsize,
      freeFiles: space.files === 0 ? null : space.ffree,
      error: null,
    };
  } catch (error) {
    return unmeasured((error as Error).message);
  }
}

export function font(): string | null {
  try {
    return burnInFont();
  } catch {
    // require.resolve throws when the package is not installed.
    return null;
  }
}

export async function kernelFacts(): Promise<MachineFacts['kernels']> {
  return await Promise.all(
    kernelNames.map(async (name) => ({
      name,
      error: await loadKernel(name).then(
        () => null,
        (error: unknown) => (error instanceof Error ? error.message : String(error)),
      ),
    })),
  );
}
