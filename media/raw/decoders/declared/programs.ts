/** The programs of a declared decoder on this machine. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { dirname, resolve } from 'node:path';
import { type Finding, type FindingSubject, finding } from '../../../../findings/finding.ts';
import { isProgram, programsOnPath } from '../../../../process/program.ts';
import type { Declaration, DeclaredDecoder } from '../../../declaration.ts';

export interface LoadedDecoder {
  readonly declared: DeclaredDecoder;
  readonly origin: string;
  /** SHA-256 over the declaration and the programs that it names, first twelve digits: what a report says of it. */
  readonly version: string;
  /** Absolute paths. */
  readonly program: string;
  readonly probeProgram: string | null;
}

export interface MissingProgram {
  readonly program: string;
  /** Of its name in the declaration. */
  readonly where: readonly (string | number)[];
}

/** A bare name is sought on PATH; any other path as seen from the declaration. */
function programAt(name: string, folder: string): string | null {
  if (!name.includes('/')) return programsOnPath(name)[0] ?? null;
  const path = resolve(folder, name);
  return isProgram(path) ? path : null;
}

export const wantedProgram = (name: string): string =>
  name.includes('/') ? 'a program at this path' : 'a program on PATH';

export async function findPrograms(
  declared: DeclaredDecoder,
  origin: string,
): Promise<{ decoder: LoadedDecoder } | { missing: readonly MissingProgram[] }> {
  const missing: MissingProgram[] = [];
  const sought = (command: readonly string[], where: MissingProgram['where']): string | null => {
    const name = command[0] as string;
    const path = programAt(name, dirname(origin));
    if (path === null) missing.push({ program: name, where });
    return path;
  };
  const program = sought(declared.command, ['command', 0]);
  const probeProgram =
    declared.probe === null ? null : sought(declared.probe.command, ['probe', 'command', 0]);
  if (missing.length > 0 || program === null) return { missing };
  // What was declared counts, not the file: a machine that only decodes has no such file.
  const hash = createHash('sha256').update(JSON.stringify(declared));
  for (const path of probeProgram === null ? [program] : [program, probeProgram])
    hash.update(await readFile(path));
  return { decoder: { declared, origin, version: hash.digest('hex').slice(0, 12), program, probeProgram } };
}

/** The decoder of a clip on the machine that is to make its masters: there, and the same as on the machine that surveyed it. */
export async function decoderHere(
  { declared, origin, version }: Declaration,
  subject: FindingSubject = {},
): Promise<{ decoder: LoadedDecoder } | { findings: Finding[] }> {
  const found = await findPrograms(declared, origin);
  if ('missing' in found)
    return {
      findings: found.missing.map(({ program }) =>
        finding('decoder-program-missing', `${declared.name}: ${program}`, wantedProgram(program), subject),
      ),
    };
  if (found.decoder.version !== version)
    return {
      findings: [finding('decoder-differs', `${declared.name} ${found.decoder.version}`, version, subject)],
    };
  return found;
}
