/** A standing coordinator over one watched folder, as its user starts it: a program with a file, looked at through its log and its address. */
import { cpSync, mkdirSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { join } from 'node:path';
import parsePrometheus from 'parse-prometheus-text-format';
import { onTestFinished } from 'vitest';
import { startCli } from './cli.ts';
import { smallProfile } from './night.ts';
import { freePort } from './redis.ts';

export const SHOW = 'third-casting';

export interface CoordinatorLine {
  readonly msg: string;
  readonly time?: number;
  readonly roll?: string;
  readonly verdict?: string;
  readonly codes?: readonly string[];
}

export interface CoordinatorPlan {
  readonly base: string;
  readonly name: string;
  /** Words of the command line. */
  readonly words?: readonly string[];
  /** Fields of the file besides. */
  readonly more?: string;
  /** Coordinators of one machine share its state folder, and so its id; absent: of one machine. */
  readonly machine?: string;
}

export async function startCoordinator({
  base,
  name,
  words = [],
  more = '',
  machine = 'machine',
}: CoordinatorPlan) {
  const port = await freePort();
  const file = join(base, `${name}.yaml`);
  writeFileSync(
    file,
    `version: 1
settled_seconds: 1
look_seconds: 1
work: work-${name}
listen: 127.0.0.1:${port}
workers: 1
slots: 1
shows:
  - name: ${SHOW}
    watch: [raid]
    copies: [backup]
    deliver: delivery
    stills: 0
    profiles: [${join(process.cwd(), smallProfile)}]
${more}`,
  );
  const env = { XDG_STATE_HOME: join(base, machine, 'state'), XDG_CACHE_HOME: join(base, 'cache') };
  const running = startCli(['coordinator', file, ...words], env);
  let out = '';
  running.child.stdout?.on('data', (text: string) => {
    out += text;
  });
  onTestFinished(() => void running.child.kill('SIGKILL'));
  const lines = (): CoordinatorLine[] =>
    out
      .split('\n')
      .filter((line) => line.startsWith('{') && line.endsWith('}'))
      .map((line) => JSON.parse(line) as CoordinatorLine);
  const get = (path: string): Promise<Response> => fetch(`http://127.0.0.1:${port}${path}`);
  return {
    ...running,
    of: (msg: string) => lines().filter((line) => line.msg === msg),
    text: () => out,
    get,
    /** Text of the metrics; empty where it does not answer yet. */
    metrics: () =>
      get('/metrics').then(
        (answer) => answer.text(),
        () => '',
      ),
  };
}

interface Series {
  readonly name: string;
  readonly metrics: readonly { readonly value: string; readonly labels?: Readonly<Record<string, string>> }[];
}

/** By a parser that is not ours. NaN: there is no such series. */
export function metricOf(text: string, name: string, labels: Readonly<Record<string, string>>): number {
  const series = (parsePrometheus(text) as Series[]).find((one) => one.name === name);
  const found = series?.metrics.find((one) =>
    Object.entries(labels).every(([key, is]) => one.labels?.[key] === is),
  );
  return Number(found?.value);
}

/** Field `messages` with a receiver that takes connections and never answers. */
export async function hangingReceiver(base: string): Promise<string> {
  const hanging = createServer(() => undefined);
  await new Promise<void>((resolve) => hanging.listen(0, '127.0.0.1', resolve));
  onTestFinished(() => {
    hanging.closeAllConnections();
    hanging.close();
  });
  const address = hanging.address();
  if (address === null || typeof address === 'string') throw new Error('no port');
  writeFileSync(join(base, 'secret'), `whsec_${Buffer.alloc(24, 7).toString('base64')}`, { mode: 0o600 });
  return `messages:
  webhooks:
    - { url: 'http://127.0.0.1:${address.port}/', secret_file: secret }
`;
}

/** Two copies of the roll in the watched folders. `listed` false: the clip is there, and the manifest does not list it yet. */
export function placeRoll(base: string, made: string, listed: boolean): string {
  const places = ['raid', 'backup'].map((name) => join(base, name, 'day-01', 'A001')) as [string, string];
  for (const place of places) {
    mkdirSync(place, { recursive: true });
    cpSync(made, place, { recursive: true });
  }
  if (!listed) writeFileSync(join(places[0], 'checksums.md5'), '');
  return places[0];
}
