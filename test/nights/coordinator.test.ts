/**
 * A standing coordinator as its user runs it: a roll that is still being copied is left alone; killed in mid-night it goes on without
 * reading again; a second one stands by and takes over; a receiver that hangs holds up nothing; metrics are read by a parser that is not ours.
 */
import { cpSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { join } from 'node:path';
import parsePrometheus from 'parse-prometheus-text-format';
import { beforeAll, expect, onTestFinished, test } from 'vitest';
import { startCli } from '../support/cli.ts';
import { makeDay, writeMd5Manifest } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { heldFfmpeg, encoding, RUNS_MILLISECONDS, smallProfile } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { freePort } from '../support/redis.ts';

const made = join(sharedFolder, 'coordinator', 'day-01');

beforeAll(async () => {
  await makeDay(made, { A001: { 'A001C001.mov': { frames: 24, size: '256x144' } } });
}, 60_000);

interface Line {
  readonly msg: string;
  readonly roll?: string;
  readonly verdict?: string;
  readonly codes?: readonly string[];
}

interface CoordinatorPlan {
  readonly base: string;
  readonly name: string;
  readonly ffmpeg: string;
  readonly more?: string;
}

async function startCoordinator({ base, name, ffmpeg, more = '' }: CoordinatorPlan) {
  const port = await freePort();
  const file = join(base, `${name}.yaml`);
  writeFileSync(
    file,
    `version: 1
settled_seconds: 2
look_seconds: 1
work: work-${name}
listen: 127.0.0.1:${port}
workers: 1
slots: 1
shows:
  - name: third-casting
    watch: [raid]
    copies: [backup]
    deliver: delivery
    stills: 0
    profiles: [${join(process.cwd(), smallProfile)}]
${more}`,
  );
  const env = { XDG_STATE_HOME: join(base, 'state'), XDG_CACHE_HOME: join(base, 'cache') };
  const running = startCli(['coordinator', file, '--ffmpeg', ffmpeg], env);
  let out = '';
  running.child.stdout?.on('data', (text: string) => {
    out += text;
  });
  onTestFinished(() => void running.child.kill('SIGKILL'));
  const lines = (): Line[] =>
    out
      .split('\n')
      .filter((line) => line.startsWith('{'))
      .map((line) => JSON.parse(line) as Line);
  return {
    ...running,
    lines,
    of: (msg: string) => lines().filter((line) => line.msg === msg),
    text: () => out,
    get: (path: string) => fetch(`http://127.0.0.1:${port}${path}`),
  };
}

interface Series {
  readonly name: string;
  readonly type: string;
  readonly metrics: readonly { readonly value: string; readonly labels?: Readonly<Record<string, string>> }[];
}

test(
  'it waits for a manifest to be whole, makes the night, is killed in the middle and goes on without reading again, while another one stands by and takes over',
  async () => {
    const base = freshFolder('coordinator');
    const held = heldFfmpeg(base);
    const ffmpeg = held.words[1] as string;
    const hanging = createServer(() => undefined);
    await new Promise<void>((resolve) => hanging.listen(0, '127.0.0.1', resolve));
    onTestFinished(() => {
      hanging.closeAllConnections();
      hanging.close();
    });
    const address = hanging.address();
    if (address === null || typeof address === 'string') throw new Error('no port');
    writeFileSync(join(base, 'secret'), `whsec_${Buffer.alloc(24, 7).toString('base64')}`, { mode: 0o600 });
    const more = `messages:
  webhooks:
    - { url: 'http://127.0.0.1:${address.port}/', secret_file: secret }
`;
    const [roll, backup] = ['raid', 'backup'].map((name) => join(base, name, 'day-01', 'A001')) as [
      string,
      string,
    ];
    mkdirSync(roll, { recursive: true });
    cpSync(join(made, 'A001'), backup, { recursive: true });
    // The clip is there, and only half of it is listed so far.
    cpSync(join(made, 'A001', 'A001C001.mov'), join(roll, 'A001C001.mov'));
    writeFileSync(join(roll, 'checksums.md5'), '');
    const first = await startCoordinator({ base, name: 'first', ffmpeg, more });
    await eventually(async () => {
      const text = await first.get('/metrics').then(
        (answer) => answer.text(),
        () => '',
      );
      return /rolls_waiting\{show="third-casting",state="incomplete"\} 1/.test(text);
    }, 60_000);
    expect(first.of('a night begins')).toEqual([]);
    writeMd5Manifest(roll);
    const folders = { day: '', copy: '', delivery: join(base, 'delivery'), work: '' };
    await encoding(folders);
    expect((await first.get('/health')).status).toBe(200);
    const second = await startCoordinator({ base, name: 'second', ffmpeg, more });
    await eventually(() => second.of('another coordinator has the delivery').length > 0, 60_000);
    expect(await (await second.get('/ready')).json()).toMatchObject({
      ready: true,
      shows: [{ role: 'standing-by' }],
    });
    expect(second.of('a night begins')).toEqual([]);
    // Killed in mid-night: who stands by takes over at once, since the process is seen to be gone.
    const killed = performance.now();
    first.child.kill('SIGKILL');
    await first.done;
    await eventually(() => second.of('a night begins').length > 0, 75_000);
    expect(performance.now() - killed).toBeLessThan(75_000);
    held.letGo();
    const decided = await eventually(() => second.of('a roll is decided')[0] ?? false, 90_000);
    expect(decided).toMatchObject({ roll: 'A001', verdict: 'ready' });
    expect(decided.codes).toContain('read-earlier');
    await eventually(() => second.of('a night ends').length > 0, 60_000);
    const answer = await second.get('/metrics');
    expect(answer.headers.get('content-type')).toContain('text/plain; version=0.0.4');
    const series = parsePrometheus(await answer.text()) as Series[];
    const value = (name: string, labels: Record<string, string>): number =>
      Number(
        series
          .find((one) => one.name === name)
          ?.metrics.find((one) => Object.entries(labels).every(([key, is]) => one.labels?.[key] === is))
          ?.value,
      );
    const show = 'third-casting';
    // Every byte of both copies had been read by the first.
    expect(value('rushlight_bytes_read_total', { show })).toBe(0);
    expect(value('rushlight_frames_made_total', { show })).toBe(24);
    expect(value('rushlight_rolls_decided_total', { show, verdict: 'ready' })).toBe(1);
    expect(value('rushlight_findings_total', { show, code: 'read-earlier' })).toBe(2);
    expect(value('rushlight_coordinator_role', { show, role: 'at-work' })).toBe(1);
    // The receiver has not answered once, and everything is ready.
    expect(value('rushlight_messages_waiting', {})).toBeGreaterThan(0);
    const verdict = JSON.parse(readFileSync(join(base, 'delivery/day-01/A001/roll.json'), 'utf8')) as object;
    expect(verdict).toMatchObject({ verdict: 'ready' });
    second.child.kill('SIGTERM');
    expect((await second.done).code).toBe(130);
    expect(second.text()).not.toContain('whsec');
    expect(existsSync(join(base, 'delivery', '.rushlight-lease-coordinator-2'))).toBe(false);
  },
  RUNS_MILLISECONDS,
);
