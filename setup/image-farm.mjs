/**
 * A farm in containers of the image, each in a network of its own with an address of its own: Redis, a standing coordinator
 * and two workers, started as docker/compose.yaml says, take the demo's shoot day (movies, a raw roll, log, sound) to
 * `ready`. Needs root, the image, and the shoot of an earlier demo. Part of `npm run image`.
 */
import { spawn, spawnSync } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import { servicesOf } from './compose-file.mjs';
import { projectFolder, say } from './say.mjs';

/** Names of at most 15 letters for the kernel's devices; one bridge for all. */
const BRIDGE = 'rlimage-b';
const NETWORK = '10.213.9';
const SERVICES = { rlimage1: 'queue', rlimage2: 'coordinator', rlimage3: 'worker', rlimage4: 'worker' };
const QUEUE_HOST = `${NETWORK}.2`;
const START_SECONDS = 60;
const NIGHT_MILLISECONDS = 15 * 60_000;

/** Rolls of the demo's day. Its third drive, on which one of them is damaged, is not shown to this farm. */
const ROLLS = ['A001', 'A002', 'A003', 'B001', 'B002', 'B003', 'S001'];

function ip(...words) {
  const ended = spawnSync('ip', words, { encoding: 'utf8' });
  if (ended.error !== undefined || ended.status !== 0)
    throw new Error(`ip ${words.join(' ')}: ${ended.error?.message ?? ended.stderr}`);
  return ended.stdout;
}

function makeNetworks() {
  ip('link', 'add', BRIDGE, 'type', 'bridge');
  ip('link', 'set', BRIDGE, 'up');
  Object.keys(SERVICES).forEach((name, index) => {
    const [outside, inside] = [`${name}o`, `${name}i`];
    ip('netns', 'add', name);
    ip('link', 'add', outside, 'type', 'veth', 'peer', 'name', inside);
    ip('link', 'set', outside, 'master', BRIDGE, 'up');
    ip('link', 'set', inside, 'netns', name);
    ip('-n', name, 'addr', 'add', `${NETWORK}.${2 + index}/24`, 'dev', inside);
    ip('-n', name, 'link', 'set', inside, 'up');
    ip('-n', name, 'link', 'set', 'lo', 'up');
  });
}

/** What runs in that network: this farm's alone. */
function processesIn(name) {
  const ended = spawnSync('ip', ['netns', 'pids', name], { encoding: 'utf8' });
  return ended.status === 0 ? ended.stdout.split('\n').filter(Boolean).map(Number) : [];
}

const wordsOf = (pid) => {
  try {
    return readFileSync(`/proc/${pid}/cmdline`, 'utf8').split('\0');
  } catch {
    // It ended between the two looks.
    return [];
  }
};

/** The service itself, which an engine's stop would reach, without those that it started. */
const serviceIn = (name) =>
  processesIn(name).find((pid) => {
    const [program = '', script = ''] = wordsOf(pid);
    return SERVICES[name] === 'queue'
      ? /^redis-server\b/.test(program)
      : /(?:^|\/)node$/.test(program) && script === '/usr/local/bin/rushlight';
  });

function endNetworks() {
  for (const name of Object.keys(SERVICES)) {
    for (const pid of processesIn(name)) {
      try {
        process.kill(pid, 'SIGKILL');
      } catch {
        // It ended by itself.
      }
    }
    spawnSync('ip', ['netns', 'del', name]);
    spawnSync('ip', ['link', 'del', `${name}o`]);
  }
  spawnSync('ip', ['link', 'del', BRIDGE]);
}

const MASTER_AND_PROXIES = (shoot) => [join(shoot, 'foundry-proxy.yaml'), 'review-h264', 'dpx-10'];

function coordinatorFile({ shoot, deliver }) {
  return `version: 1
settled_seconds: 2
look_seconds: 1
shows:
  - name: third-casting
    watch: [${join(shoot, 'drive-a')}]
    copies: [${join(shoot, 'drive-b')}]
    manifests: [${join(shoot, 'manifests')}]
    settings: ${join(shoot, 'show.yaml')}
    profiles: [${MASTER_AND_PROXIES(shoot).join(', ')}]
    deliver: ${deliver}
    take: days
`;
}

/**
 * Runs it and hands each thing that should hold to `expectThat(what, good, detail)`.
 * @param {{ folder: string, shoot: string, image: string, environment: NodeJS.ProcessEnv,
 *   expectThat: (what: string, good: boolean, detail: string) => boolean }} farm
 */
export async function tryFarm({ folder, shoot, image, environment, expectThat }) {
  const place = (name) => join(folder, `farm-${name}`);
  const [deliver, config, state, data, bin] = ['delivery', 'config', 'state', 'queue', 'bin'].map(place);
  for (const one of [deliver, config, state, data, bin]) mkdirSync(one, { recursive: true });
  spawnSync('chown', ['1000:1000', deliver, state, data]);
  writeFileSync(join(config, 'coordinator.yaml'), coordinatorFile({ shoot, deliver }));
  // What the store's own image begins with; here the store runs in the farm's image, as its user.
  writeFileSync(join(bin, 'docker-entrypoint.sh'), '#!/bin/sh\ncd /data && exec "$@"\n', { mode: 0o755 });
  const password = randomBytes(24).toString('hex');
  const services = servicesOf(readFileSync(join(projectFolder, 'docker/compose.yaml'), 'utf8'), {
    SOURCES: join(shoot, 'drive-a'),
    COPIES: join(shoot, 'drive-b'),
    ...{ DELIVER: deliver, CONFIG: config, STATE: state },
    ...{ QUEUE_PASSWORD: password, QUEUE_HOST },
  });
  /** Besides what the file mounts: the shoot's manifests and settings, and what stands in for the store's image. */
  const also = {
    queue: [`${bin}/docker-entrypoint.sh:/usr/local/bin/docker-entrypoint.sh:ro`],
    coordinator: [
      `${join(shoot, 'manifests')}:${join(shoot, 'manifests')}:ro`,
      ...['show.yaml', 'foundry-proxy.yaml'].map((name) => `${join(shoot, name)}:${join(shoot, name)}:ro`),
    ],
    worker: [],
  };
  const containers = new Map();
  const start = async (name) => {
    const { command, user, volumes, environment: variables } = services[SERVICES[name]];
    const mounts = [...volumes, ...also[SERVICES[name]]].map((mount) => mount.replace(/^queue:/, `${data}:`));
    const words = [
      ...['netns', 'exec', name, 'buildah', 'run', '--user', (user ?? '1000:1000').split(':')[0]],
      ...mounts.flatMap((mount) => ['-v', mount]),
      ...Object.entries(variables).flatMap(([key, value]) => ['--env', `${key}=${value}`]),
      ...[containers.get(name), '--', ...(SERVICES[name] === 'queue' ? [] : ['rushlight']), ...command],
    ];
    const child = spawn('ip', words, { env: environment, stdio: ['ignore', 'pipe', 'pipe'] });
    const running = { name, said: '', ended: new Promise((resolve) => child.on('exit', resolve)) };
    for (const stream of [child.stdout, child.stderr])
      stream.setEncoding('utf8').on('data', (text) => {
        running.said += text;
      });
    for (let second = 0; serviceIn(name) === undefined && second < START_SECONDS; second += 1)
      await setTimeout(1_000);
    if (serviceIn(name) === undefined) throw new Error(`${SERVICES[name]} did not start: ${running.said}`);
    return running;
  };
  /** A command beside the service, in its container: its root, its mounts, its network, its user, its variables. */
  const once = (name, command) => {
    const pid = String(serviceIn(name));
    const words = [
      '--target',
      pid,
      '--mount',
      '--net',
      '--root',
      '--wd',
      '--setuid',
      '1000',
      '--setgid',
      '1000',
    ];
    const env = { PATH: '/usr/local/bin:/usr/bin:/bin', ...services[SERVICES[name]].environment };
    return spawnSync('nsenter', [...words, '--', ...command], { env, encoding: 'utf8' });
  };
  const check = (name) => {
    const [how, ...words] = services[SERVICES[name]].healthcheck.test;
    return once(name, how === 'CMD-SHELL' ? ['sh', '-c', ...words] : words);
  };
  const healthy = async (name, seconds) => {
    for (let second = 0; ; second += 1) {
      const ended = check(name);
      if (ended.status === 0 || second >= seconds) return ended;
      await setTimeout(1_000);
    }
  };
  const shown = ({ stdout, stderr }) => `${stdout}${stderr}`;

  endNetworks();
  makeNetworks();
  try {
    for (const name of Object.keys(SERVICES)) {
      const made = spawnSync('buildah', ['from', '--pull-never', image], {
        env: environment,
        encoding: 'utf8',
      });
      if (made.status !== 0) throw new Error(`buildah from ${image}: ${made.stderr}`);
      containers.set(name, made.stdout.trim());
    }
    const [queue, coordinator, ...workers] = Object.keys(SERVICES);
    say('a farm in containers: Redis, coordinator, two workers');
    const store = await start(queue);
    const storeHealth = await healthy(queue, 30);
    expectThat('Redis is healthy', storeHealth.status === 0, `${shown(storeHealth)}${store.said}`);
    const decided = await start(coordinator);
    const stranger = once(coordinator, ['redis-cli', '-h', QUEUE_HOST, 'ping']);
    expectThat('Redis asks for a password', /NOAUTH/.test(shown(stranger)), shown(stranger));
    const crew = await Promise.all(workers.map(start));
    const ready = await healthy(coordinator, 60);
    expectThat('the coordinator is healthy', ready.status === 0, `${shown(ready)}${decided.said}`);
    // What starts a container here says its environment; an engine's client does not.
    const seen = [queue, coordinator, ...workers]
      .flatMap((name) => processesIn(name).map(wordsOf))
      .filter(([program = '']) => !/buildah|(?:^|\/)ip$/.test(program));
    const showing = seen.filter((words) => words.some((word) => word.includes(password)));
    expectThat(
      'no command line shows the password',
      seen.length >= containers.size && showing.length === 0,
      showing.join('\n'),
    );
    // As the owner, whom only the mount can refuse.
    const touched = once(workers[0], ['touch', join(shoot, 'drive-a', 'day-03', 'A001', 'mark')]);
    const refused = touched.status !== 0 && /Read-only file system/.test(touched.stderr);
    expectThat('no container can write to a source', refused, shown(touched));

    const lines = () =>
      decided.said
        .split('\n')
        .filter((line) => line.startsWith('{'))
        .map((line) => JSON.parse(line));
    const ended = () => lines().some(({ msg }) => msg === 'a night ends');
    const until = Date.now() + NIGHT_MILLISECONDS;
    while (!ended() && Date.now() < until) await setTimeout(1_000);
    const all = `${decided.said}\n${crew.map(({ said }) => said).join('\n')}`;
    const verdicts = lines()
      .filter(({ msg }) => msg === 'a roll is decided')
      .map(({ roll, verdict }) => `${roll} ${verdict}`)
      .sort();
    expectThat(
      'every roll of the day is ready: movies, raw, log and sound',
      JSON.stringify(verdicts) === JSON.stringify(ROLLS.map((roll) => `${roll} ready`)),
      all,
    );
    const frames = readdirSync(deliver, { recursive: true }).filter(
      (name) => name.includes('A003') && name.endsWith('.dpx'),
    );
    expectThat('every frame of the raw roll is there', frames.length === 12, frames.join('\n'));

    for (const worker of workers) {
      const log = once(worker, ['sh', '-c', 'cat /tmp/work/*.log']);
      expectThat('a worker took part', log.stdout.includes('"msg":"begins"'), shown(log));
    }

    ip('link', 'set', `${queue}o`, 'down');
    const parted = check(coordinator);
    expectThat('a queue that is cut off is not ready', parted.status !== 0, shown(parted));
    ip('link', 'set', `${queue}o`, 'up');
    const mended = await healthy(coordinator, 30);
    expectThat('one that is back is', mended.status === 0, shown(mended));

    const audit = once(workers[0], ['rushlight', 'audit', deliver]);
    expectThat('an audit of the delivery finds nothing', audit.status === 0, shown(audit));

    for (const running of [decided, ...crew]) {
      const pid = serviceIn(running.name);
      if (pid !== undefined) process.kill(pid, 'SIGTERM');
      const code = await Promise.race([running.ended, setTimeout(60_000, 'no end')]);
      expectThat(`${SERVICES[running.name]} ends in order`, code === 130, `${code}\n${running.said}`);
    }
  } finally {
    endNetworks();
    for (const container of containers.values())
      spawnSync('buildah', ['rm', container], { env: environment });
  }
}
