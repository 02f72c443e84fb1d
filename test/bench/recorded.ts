/** A night whose programs are stood in for by scripts that write down each command and then are the program. */
import { spawn } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { locateTools } from '../../process/locate.ts';

export interface RecordedCommand {
  readonly program: 'ffmpeg' | 'ffprobe';
  readonly path: string;
  readonly folder: string;
  readonly args: readonly string[];
  /** Milliseconds since the epoch at which it was started. */
  readonly startedAt: number;
  /** `make` and `check`: it names a file that is being made; `other`: survey, and what the programs say of themselves. */
  readonly part: 'make' | 'check' | 'other';
}

export interface Recorder {
  readonly ffmpeg: string;
  readonly ffprobe: string;
  /** In the order of starting. */
  read(): RecordedCommand[];
}

/** How the name of a file that is being made begins (worker). */
const UNFINISHED = '.rushlight-part-';

/** Files that a command writes: the slaves of the tee muxer, as the recipe has them; no bench has a name that needs escaping. */
export function madeBy(args: readonly string[]): string[] {
  return args.flatMap((text) => [...text.matchAll(/\]file:([^|]*)\|/g)].map((match) => match[1] as string));
}

const quoted = (text: string): string => `'${text.replaceAll("'", "'\\''")}'`;

/** One file for each command, so that commands that run at once do not mix; its last change is the command's start. */
export async function recorder(folder: string): Promise<Recorder> {
  const tools = await locateTools();
  const notes = join(folder, 'commands');
  mkdirSync(notes, { recursive: true });
  const script = (program: 'ffmpeg' | 'ffprobe'): string => {
    const path = join(folder, program);
    writeFileSync(
      path,
      `#!/bin/sh\nprintf '%s\\0' ${program} "$PWD" "$@" > ${quoted(notes)}/$$\nexec ${quoted(tools[program].path)} "$@"\n`,
      { mode: 0o755 },
    );
    return path;
  };
  const partOf = (program: string, args: readonly string[]): RecordedCommand['part'] => {
    if (!args.some((text) => text.includes(UNFINISHED))) return 'other';
    return program === 'ffmpeg' && madeBy(args).length > 0 ? 'make' : 'check';
  };
  return {
    ffmpeg: script('ffmpeg'),
    ffprobe: script('ffprobe'),
    read: () =>
      readdirSync(notes)
        .map((name) => {
          const [program, cwd, ...args] = readFileSync(join(notes, name), 'utf8')
            .split('\0')
            .slice(0, -1) as ['ffmpeg' | 'ffprobe', string, ...string[]];
          return {
            program,
            path: tools[program].path,
            folder: cwd,
            args,
            startedAt: statSync(join(notes, name)).mtimeMs,
            part: partOf(program, args),
          };
        })
        .sort((one, other) => one.startedAt - other.startedAt),
  };
}

const PIPES = 12;

/** The command by itself, its output thrown away. Seconds. Throws when it does not end with 0. */
export async function bare(command: Pick<RecordedCommand, 'path' | 'folder' | 'args'>): Promise<number> {
  const started = performance.now();
  // The fourth is for `-progress pipe:3`; those from the sixth on for what else it tells.
  const child = spawn(command.path, command.args, {
    cwd: command.folder,
    stdio: [
      'ignore',
      'ignore',
      'pipe',
      'ignore',
      'ignore',
      ...Array.from({ length: PIPES }, () => 'ignore' as const),
    ],
  });
  let words = '';
  child.stderr?.setEncoding('utf8').on('data', (text: string) => {
    words = (words + text).slice(-2000);
  });
  const code = await new Promise<number | null>((resolve, reject) => {
    child.once('error', reject);
    child.once('close', resolve);
  });
  if (code !== 0) throw new Error(`${command.path} ${command.args.join(' ')} ended with ${code}: ${words}`);
  return (performance.now() - started) / 1000;
}
