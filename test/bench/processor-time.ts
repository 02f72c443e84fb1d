/** Processor time, user and system: of one command with all that it starts, and of a night by its programs. */
import { spawn } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { locateTools } from '../../process/locate.ts';

/** POSIX shell, `times`: the second line is of the children that have ended, `1m2.34s 0m1.20s`. Seconds. */
function childrenOf(times: string): number {
  const [, children = ''] = times.trim().split('\n');
  return [...children.matchAll(/(\d+)m([\d.]+)s/g)].reduce(
    (sum, [, minutes, seconds]) => sum + 60 * Number(minutes) + Number(seconds),
    0,
  );
}

export interface Ended {
  readonly code: number | null;
  readonly stdout: string;
  readonly stderr: string;
  /** Seconds of it and of every process below it. */
  readonly processorSeconds: number;
  readonly seconds: number;
}

/** Runs a command under a shell that reports what it and its children took. */
export async function timed(
  command: readonly string[],
  env: Readonly<Record<string, string>> = {},
): Promise<Ended> {
  const started = performance.now();
  const child = spawn('/bin/sh', ['-c', '"$@" 3>&-; code=$?; times >&3; exit $code', 'sh', ...command], {
    env: { ...process.env, ...env },
    stdio: ['ignore', 'pipe', 'pipe', 'pipe'],
  });
  const texts = ['', '', ''];
  for (const [index, stream] of child.stdio.slice(1).entries())
    stream?.on('data', (bytes: Buffer) => {
      texts[index] = ((texts[index] as string) + bytes.toString('utf8')).slice(-1_000_000);
    });
  const code = await new Promise<number | null>((resolve, reject) => {
    child.once('error', reject);
    child.once('close', resolve);
  });
  const [stdout, stderr, times] = texts as [string, string, string];
  return {
    code,
    stdout,
    stderr,
    processorSeconds: childrenOf(times),
    seconds: (performance.now() - started) / 1000,
  };
}

/** The same; throws unless it ended with 0. */
export async function processorSecondsOf(command: readonly string[]): Promise<number> {
  const { code, stderr, processorSeconds } = await timed(command);
  if (code !== 0) throw new Error(`${command.join(' ')} ended with ${code}: ${stderr.slice(-2000)}`);
  return processorSeconds;
}

/** `make`: it writes a file that is being made; `check`: it reads one; `second reading`: of a source; `question`: ffprobe, and what programs say of themselves. */
export type Part = 'make' | 'check' | 'second reading' | 'question';

export interface Costs {
  readonly starts: Readonly<Record<Part, number>>;
  readonly seconds: Readonly<Record<Part, number>>;
  /** Of all processes of Node. */
  readonly node: number;
}

export interface CostRecorder {
  readonly ffmpeg: string;
  readonly ffprobe: string;
  readonly env: Readonly<Record<string, string>>;
  read(): Costs;
}

/** How the name of a file that is being made begins (worker). */
const UNFINISHED = '.rushlight-part-';

/** A process that is killed has written what it took half a second before. */
const NODE_HOOK = `const { writeFileSync } = require('node:fs');
if (require('node:worker_threads').isMainThread) {
  const tell = () => writeFileSync(process.env.BENCH_NOTES + '/node-' + process.pid, JSON.stringify(process.cpuUsage()));
  process.on('exit', tell);
  setInterval(tell, 500).unref();
}
`;

const quoted = (text: string): string => `'${text.replaceAll("'", "'\\''")}'`;

function partOf(program: string, args: readonly string[]): Part {
  if (program === 'ffprobe' || args.some((text) => /^-(version|encoders|decoders|filters)$/.test(text)))
    return 'question';
  if (!args.some((text) => text.includes(UNFINISHED))) return 'second reading';
  return args.some((text) => text.includes(']file:')) ? 'make' : 'check';
}

/** Scripts in the place of the programs that run them and write down what they took. */
export async function costRecorder(folder: string): Promise<CostRecorder> {
  const tools = await locateTools();
  const notes = join(folder, 'notes');
  mkdirSync(notes, { recursive: true });
  const hook = join(folder, 'hook.cjs');
  writeFileSync(hook, NODE_HOOK);
  const script = (program: 'ffmpeg' | 'ffprobe'): string => {
    const path = join(folder, program);
    const note = `${quoted(notes)}/program-$$`;
    writeFileSync(
      path,
      [
        '#!/bin/sh',
        `printf '%s\\0' ${program} "$@" > ${note}`,
        `${quoted(tools[program].path)} "$@"`,
        `code=$?; { printf '\\0'; times; } >> ${note}`,
        'exit $code',
        '',
      ].join('\n'),
      { mode: 0o755 },
    );
    return path;
  };
  return {
    ffmpeg: script('ffmpeg'),
    ffprobe: script('ffprobe'),
    env: { BENCH_NOTES: notes, NODE_OPTIONS: `--require ${hook}` },
    read: () => {
      const starts = { make: 0, check: 0, 'second reading': 0, question: 0 };
      const seconds = { make: 0, check: 0, 'second reading': 0, question: 0 };
      let node = 0;
      for (const name of readdirSync(notes)) {
        const text = readFileSync(join(notes, name), 'utf8');
        if (name.startsWith('node-')) {
          const { user, system } = JSON.parse(text) as NodeJS.CpuUsage;
          node += (user + system) / 1e6;
          continue;
        }
        const words = text.split('\0');
        const part = partOf(words[0] as string, words.slice(1, -2));
        starts[part] += 1;
        seconds[part] += childrenOf(words.at(-1) as string);
      }
      return { starts, seconds, node };
    },
  };
}
