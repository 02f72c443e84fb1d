/** Puts the program that makes a fault in the place of ffmpeg. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { packageFolder } from '../../files/installation.ts';
import type { Operation, Several } from './operation.ts';

const program = join(packageFolder, 'test', 'faults', 'ffmpeg-with-a-fault.mjs');
const quoted = (text: string): string => `'${text.replaceAll("'", "'\\''")}'`;

export interface FaultyFfmpeg {
  readonly path: string;
  /** What the real program's end was with the fault done; null when it was not done (or not reached). */
  done(): { readonly code: number } | null;
}

/** A program `<folder>/ffmpeg` with this one fault, or with one in each of several outputs. Calls that name no unfinished file, or read it (the checks), go to the real one without a detour. */
export function faultyFfmpeg(folder: string, operation: Operation | Several, real = 'ffmpeg'): FaultyFfmpeg {
  const path = join(folder, 'ffmpeg');
  const note = join(folder, 'fault-done.json');
  const environment = `RUSHLIGHT_REAL_FFMPEG=${quoted(real)} RUSHLIGHT_FAULT_NOTE=${quoted(note)} RUSHLIGHT_FAULT=${quoted(JSON.stringify(operation))}`;
  const reads = `last=; for one in "$@"; do case "$last $one" in "-i file:"*.rushlight-part-*) exec ${quoted(real)} "$@" ;; esac; last=$one; done`;
  writeFileSync(
    path,
    `#!/bin/sh\ncase " $*" in *.rushlight-part-*) ;; *) exec ${quoted(real)} "$@" ;; esac\n${reads}\n${environment} exec ${quoted(process.execPath)} ${quoted(program)} "$@"\n`,
    { mode: 0o755 },
  );
  return {
    path,
    done: () => (existsSync(note) ? (JSON.parse(readFileSync(note, 'utf8')) as { code: number }) : null),
  };
}
