import { spawn } from 'node:child_process';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { type RunResult, runForOutput, runTool } from '../../process/run.ts';
import { freshFolder } from '../support/folder.ts';
import { eventually, isRunning } from '../support/processes.ts';

const fault = (name: string): string => join(packageFolder, 'test', 'faults', name);
const idsIn = (path: string): number[] => readFileSync(path, 'utf8').trim().split(' ').map(Number);

test.each([0, 1, 69, 183, 228, 254, 255])('exit code %i is reported as it is', async (code) => {
  const result = await runTool('sh', ['-c', `exit ${code}`]);
  expect(result).toMatchObject({
    reason: 'exited',
    exitCode: code,
    signal: null,
    forced: false,
    startError: null,
  });
});

test.each(['KILL', 'SEGV', 'TERM', 'ABRT'])(
  'a program that dies of SIG%s is signalled, not exited',
  async (name) => {
    const result = await runTool(fault('die-by-signal'), [name]);
    expect(result).toMatchObject({ reason: 'signalled', exitCode: null, signal: `SIG${name}` });
  },
);

test('a program that is not there, is a folder, or may not be run has not started', async () => {
  const folder = freshFolder();
  writeFileSync(join(folder, 'text'), 'no program');
  for (const command of [join(folder, 'absent'), folder, join(folder, 'text'), 'rushlight-no-such-program']) {
    const result = await runTool(command, []);
    expect(result).toMatchObject({ reason: 'not-started', exitCode: null });
    expect(result.startError).toContain(command);
  }
});

test('a program whose interpreter is missing has not started', async () => {
  const path = join(freshFolder(), 'script');
  writeFileSync(path, '#!/no/such/interpreter\n', { mode: 0o755 });
  const result = await runTool(path, []);
  expect(result.reason).toBe('not-started');
  expect(result.startError).not.toBeNull();
});

test('arguments arrive byte for byte, whatever they hold', async () => {
  const args = [
    'a b',
    "it's",
    '"',
    '$(id)',
    '`id`',
    '\\',
    '%',
    '-x',
    '',
    'line\nbreak',
    '*',
    'ö',
    '~',
    ';exit 7',
  ];
  const result = await runForOutput(process.execPath, [
    '-e',
    'process.stdout.write(JSON.stringify(process.argv.slice(1)))',
    '--',
    ...args,
  ]);
  expect(JSON.parse(result.stdout.toString())).toEqual(args);
});

test.each(['a\0b', 'a\udcffb'])(
  'an argument that cannot stand on a command line is refused: %j',
  async (argument) => {
    await expect(runTool('true', [argument])).rejects.toThrow(RangeError);
  },
);

test('an abort before the start starts nothing', async () => {
  const mark = join(freshFolder(), 'mark');
  const result = await runTool('touch', [mark], { signal: AbortSignal.abort() });
  expect(result).toMatchObject({ reason: 'stopped', exitCode: null });
  expect(existsSync(mark)).toBe(false);
});

test('an abort ends the program and its children, with force when it does not listen', async () => {
  const cancel = new AbortController();
  const ids = join(freshFolder(), 'ids');
  let group: number | undefined;
  const running = runTool(fault('hang'), [], {
    signal: cancel.signal,
    graceMilliseconds: 300,
    onStart: (_, pid) => (group = pid),
    onStderrLine: () => cancel.abort(),
  });
  expect(await running).toMatchObject({ reason: 'stopped', forced: true });
  expect(isRunning(group as number)).toBe(false);

  const second = new AbortController();
  const withChild = runTool(fault('keep-child'), [ids], { signal: second.signal });
  await eventually(() => existsSync(ids));
  second.abort();
  expect(await withChild).toMatchObject({ reason: 'stopped', forced: false });
  for (const id of idsIn(ids)) expect(isRunning(id)).toBe(false);
});

test('silence for too long is a stall; each sign of progress puts it off', async () => {
  const quiet = await runTool('sleep', ['30'], { stallMilliseconds: 200, graceMilliseconds: 500 });
  expect(quiet).toMatchObject({ reason: 'stalled', forced: false });
  const lively = await runTool('sh', ['-c', 'for i in 1 2 3 4 5 6 7 8; do echo tick >&2; sleep 0.1; done'], {
    stallMilliseconds: 600,
    onStart: (touch) => {
      const timer = setInterval(touch, 50);
      setTimeout(() => clearInterval(timer), 780);
    },
  });
  expect(lively).toMatchObject({ reason: 'exited', exitCode: 0 });
});

test('the first reason is kept when a stall and a cancel meet', async () => {
  const cancel = new AbortController();
  const result = await runTool(fault('hang'), [], {
    stallMilliseconds: 50,
    graceMilliseconds: 1500,
    // Within the grace, and long after the stall, on a busy machine too.
    signal: AbortSignal.any([cancel.signal, AbortSignal.timeout(1000)]),
  });
  expect(result.reason).toBe('stalled');
});

test('an abort after the program has ended does not change what happened', async () => {
  const cancel = new AbortController();
  const result = await runForOutput('sh', ['-c', 'echo done; exit 3'], { signal: cancel.signal });
  cancel.abort();
  expect(result).toMatchObject({ reason: 'exited', exitCode: 3 });
});

test('a flood on stderr is read whole, line by line, and only its tail is kept', async () => {
  let lines = 0;
  const result = await runTool(fault('flood-stderr'), [], { onStderrLine: () => (lines += 1) });
  expect(result).toMatchObject({ reason: 'exited', exitCode: 0 });
  // 8 MiB of 49-byte lines, the last one cut off by `head` and completed by the last word.
  expect(lines).toBe(Math.floor(8388608 / 49) + 1);
  expect(result.stderr.endsWith('the last word\n')).toBe(true);
  expect(Buffer.byteLength(result.stderr)).toBeLessThanOrEqual(64 * 1024);
});

test('a line without an end does not fill the memory', async () => {
  let longest = 0;
  const result = await runTool(fault('endless-line'), [], {
    onStderrLine: (line) => (longest = Math.max(longest, line.length)),
  });
  expect(result.reason).toBe('exited');
  expect(longest).toBe(64 * 1024);
});

test('letters of several bytes survive the cuts between two reads of stderr', async () => {
  const lines: string[] = [];
  await runTool('sh', ['-c', "printf '\\303' >&2; sleep 0.1; printf '\\266\\n' >&2"], {
    onStderrLine: (line) => lines.push(line),
  });
  expect(lines).toEqual(['ö']);
});

test('a slow reader holds the program back and loses no byte', async () => {
  let bytes = 0;
  const result = await runTool('sh', ['-c', 'head -c 3000000 /dev/zero'], {
    onStdout: async (stream) => {
      for await (const chunk of stream) {
        bytes += (chunk as Buffer).length;
        await new Promise((resolve) => setTimeout(resolve, 5));
      }
    },
  });
  expect(result.exitCode).toBe(0);
  expect(bytes).toBe(3_000_000);
});

test('progress arrives on the third pipe', async () => {
  let text = '';
  await runTool('sh', ['-c', 'echo frame=7 >&3'], {
    onProgress: async (stream) => {
      for await (const chunk of stream) text += String(chunk);
    },
  });
  expect(text).toBe('frame=7\n');
});

test('a reader that fails ends the program, and its error is what the caller sees', async () => {
  let group: number | undefined;
  const running = runTool(fault('hang'), [], {
    graceMilliseconds: 200,
    onStart: (_, pid) => (group = pid),
    onStderrLine: () => {
      throw new Error('the reader broke');
    },
  });
  await expect(running).rejects.toThrow('the reader broke');
  expect(isRunning(group as number)).toBe(false);
});

test('more output than the limit is an error, not a part of it', async () => {
  await expect(
    runForOutput('sh', ['-c', 'head -c 5000 /dev/zero; sleep 30'], { limitBytes: 4000 }),
  ).rejects.toThrow(RangeError);
});

test('what a program leaves behind in its group goes when it ends, and nobody waits for it', async () => {
  const ids = join(freshFolder(), 'ids');
  const result = await runForOutput(fault('leave-child'), [ids]);
  expect(result).toMatchObject({ reason: 'exited', exitCode: 0 });
  expect(result.milliseconds).toBeLessThan(5_000);
  for (const id of idsIn(ids)) await eventually(() => !isRunning(id));
});

test('a process that left the group and holds the pipes does not hold the result', async () => {
  const ids = join(freshFolder(), 'ids');
  const result = await runForOutput(fault('escape-group'), [ids, '60']);
  expect(result).toMatchObject({ reason: 'exited', exitCode: 0 });
  expect(result.milliseconds).toBeLessThan(20_000);
  for (const id of idsIn(ids)) process.kill(id, 'SIGKILL');
});

test('niceness reaches the program', async () => {
  const result = await runForOutput('nice', [], { niceness: 7 });
  expect(result.stdout.toString().trim()).toBe('7');
});

test('environment is added to, not replaced', async () => {
  const result = await runForOutput('sh', ['-c', 'echo "$RUSHLIGHT_TEST_WORD $HOME"'], {
    env: { RUSHLIGHT_TEST_WORD: 'bell' },
  });
  expect(result.stdout.toString()).toBe(`bell ${process.env.HOME ?? ''}\n`);
});

test('no process is left after a thousandth part of a night: 40 programs', async () => {
  const groups: number[] = [];
  for (let index = 0; index < 40; index += 1)
    await runTool('true', [], { onStart: (_, pid) => groups.push(pid as number) });
  for (const id of groups) expect(() => process.kill(-id, 0)).toThrow('ESRCH');
});

test.each([
  ['SIGKILL', 'keep-child'],
  ['SIGKILL', 'hang'],
  ['SIGTERM', 'keep-child'],
] as const)('when the parent dies of %s, nothing of %s lives on', async (signal, program) => {
  const ids = join(freshFolder(), 'ids');
  const parent = spawn(process.execPath, [fault('parent.mjs'), fault(program), ids], { stdio: 'ignore' });
  const children = await eventually(() =>
    descendants(parent.pid as number, program === 'keep-child' ? 4 : 3),
  );
  parent.kill(signal);
  await eventually(() => children.every((id) => !isRunning(id)), 5_000);
});

/** All processes below this one, once there are at least `count`. Read from /proc. */
function descendants(pid: number, count: number): number[] | undefined {
  const found: number[] = [];
  const visit = (id: number): void => {
    const path = `/proc/${id}/task/${id}/children`;
    if (!existsSync(path)) return;
    for (const child of readFileSync(path, 'utf8').trim().split(' ').filter(Boolean).map(Number)) {
      found.push(child);
      visit(child);
    }
  };
  visit(pid);
  return found.length >= count ? found : undefined;
}

test('the result names the command as it was asked, not the shell around it', async () => {
  const result: RunResult = await runTool('true', ['x']);
  expect([result.command, ...result.args]).toEqual(['true', 'x']);
});
