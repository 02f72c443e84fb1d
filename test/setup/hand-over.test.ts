/** The skin around the command line: real processes, real signals. */
import { spawn } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { pathToFileURL } from 'node:url';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { freshFolder } from '../support/folder.ts';

/** The program inside tells every signal it hears, and ends with `exit` after the given number of interrupts. */
const INSIDE = `
let interrupts = 0;
process.on('SIGTERM', () => { console.log('SIGTERM'); process.exit(9); });
process.on('SIGINT', () => { interrupts += 1; console.log('SIGINT'); if (interrupts === Number(process.argv[2])) process.exit(130); });
setInterval(() => {}, 1000);
console.log('ready ' + process.pid);
`;

function wrap(inside: string, args: readonly string[]) {
  const folder = freshFolder('skin');
  const program = join(folder, 'inside.mjs');
  writeFileSync(program, inside);
  const skin = `import { handOver } from ${JSON.stringify(pathToFileURL(join(packageFolder, 'setup', 'hand-over.mjs')).href)};\nawait handOver(process.argv.slice(3), process.argv[2]);`;
  const outside = join(folder, 'outside.mjs');
  writeFileSync(outside, skin);
  const child = spawn(process.execPath, [outside, program, ...args], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  let text = '';
  child.stdout.setEncoding('utf8').on('data', (chunk: string) => {
    text += chunk;
  });
  const done = new Promise<number | null>((resolve) => child.once('close', (code) => resolve(code)));
  const until = async (part: string | RegExp): Promise<void> => {
    for (let tries = 0; tries < 200; tries += 1) {
      if (typeof part === 'string' ? text.includes(part) : part.test(text)) return;
      await wait(25);
    }
    throw new Error(`never said ${part}: ${text}`);
  };
  return { child, done, until, text: () => text };
}

test('arguments, output and exit code pass through', async () => {
  const run = wrap('console.log(JSON.stringify(process.argv.slice(2))); process.exitCode = 7;', [
    'a b',
    '--json',
    "it's",
    '',
  ]);
  expect(await run.done).toBe(7);
  expect(run.text()).toBe(`${JSON.stringify(['a b', '--json', "it's", ''])}\n`);
});

test('one interrupt reaches the program once, and the skin waits for its end', async () => {
  const run = wrap(INSIDE, ['2']);
  await run.until('ready');
  run.child.kill('SIGINT');
  await run.until('SIGINT');
  await wait(400);
  expect(run.child.exitCode).toBeNull();
  run.child.kill('SIGINT');
  expect(await run.done).toBe(130);
  expect(run.text().match(/SIGINT/g)).toHaveLength(2);
});

test('one press that arrives twice, from the terminal and from npm, is one', async () => {
  const run = wrap(INSIDE, ['2']);
  await run.until('ready');
  run.child.kill('SIGINT');
  await wait(30);
  run.child.kill('SIGINT');
  await wait(400);
  expect(run.text().match(/SIGINT/g)).toHaveLength(1);
  run.child.kill('SIGTERM');
  expect(await run.done).toBe(9);
});

test('a program that dies by a signal is reported as a shell does', async () => {
  const run = wrap("process.kill(process.pid, 'SIGKILL');", []);
  expect(await run.done).toBe(128 + 9);
});

test.runIf(process.platform === 'linux')(
  'a skin that is killed takes the program along, in order',
  async () => {
    const run = wrap(INSIDE, ['2']);
    await run.until(/ready \d+/);
    run.child.kill('SIGKILL');
    await run.until('SIGTERM');
  },
);
