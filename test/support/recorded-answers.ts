/**
 * ffmpeg and ffprobe for a whole run of tests: in everything the programs on PATH, but that what they say of themselves is asked
 * once and then read from a file. A sixth of all starts asks no more than that, and starting them costs more than any answer.
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { programsOnPath } from '../../process/program.ts';

/** The questions of process/locate.ts, word for word; every other one goes to the program. */
const questions: Readonly<Record<string, readonly string[]>> = {
  ffmpeg: ['-version', '-hide_banner -encoders', '-hide_banner -decoders', '-hide_banner -filters'],
  ffprobe: ['-version'],
};

const quoted = (text: string): string => `'${text.replaceAll("'", "'\\''")}'`;

/** Fills `folder`, which is to stand first on PATH; a program that is not there, or does not answer well, is left out. */
export function recordAnswers(folder: string): void {
  mkdirSync(folder, { recursive: true });
  for (const [name, asked] of Object.entries(questions)) {
    const [real] = programsOnPath(name);
    if (real === undefined) continue;
    const answers = asked.map((question, index) => {
      const { status, stdout, stderr } = spawnSync(real, question.split(' '), { encoding: 'utf8' });
      const file = join(folder, `${name}-${index}.txt`);
      writeFileSync(file, stdout ?? '');
      return { question, file, good: status === 0 && stdout !== '' && stderr === '' };
    });
    if (answers.some(({ good }) => !good)) continue;
    const cases = answers.map(({ question, file }) => `${quoted(question)}) exec cat ${quoted(file)} ;;`);
    writeFileSync(
      join(folder, name),
      `#!/bin/sh\ncase "$*" in\n${cases.join('\n')}\nesac\nexec ${quoted(real)} "$@"\n`,
      { mode: 0o755 },
    );
  }
}
