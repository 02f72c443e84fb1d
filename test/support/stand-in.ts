/** Small programs in the place of real ones, each with one behaviour. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

/**
 * `version X` and `version-only X`: answers -version as ffmpeg and ffprobe do (the second fails at everything else);
 * `garbage`, `silent`: answer something else, nothing; `fail`, `die`, `hang`: end with 1, by a signal, not at all.
 */
export type StandInBehaviour =
  | `version ${string}`
  | `version-only ${string}`
  | 'garbage'
  | 'silent'
  | 'fail'
  | 'die'
  | 'hang';

function script(name: string, behaviour: StandInBehaviour, more: string): string {
  if (behaviour.startsWith('version')) {
    const [kind, ...version] = behaviour.split(' ');
    const answer = `echo '${name} version ${version.join(' ')} Copyright (c) the developers'; echo '${more}'; exit 0`;
    return kind === 'version' ? answer : `if [ "$1" = -version ]; then ${answer}; fi; exit 1`;
  }
  if (behaviour === 'garbage') return "printf '\\377\\376\\000 %s' nonsense; exit 0";
  if (behaviour === 'silent') return 'exit 0';
  if (behaviour === 'fail') return "echo 'error while loading shared libraries' >&2; exit 1";
  if (behaviour === 'die') return 'kill -9 $$';
  return 'while :; do /bin/sleep 1; done';
}

/** Puts an executable called `name` into `folder` (made when absent) and gives its path. `more`: a further line of its version text. */
export function standIn(
  folder: string,
  name: string,
  behaviour: StandInBehaviour,
  more = 'built with a compiler',
): string {
  mkdirSync(folder, { recursive: true });
  const path = join(folder, name);
  writeFileSync(path, `#!/bin/sh\n${script(name, behaviour, more)}\n`, { mode: 0o755 });
  return path;
}
