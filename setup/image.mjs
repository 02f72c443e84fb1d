/**
 * `npm run image`: builds docker/Dockerfile and runs what came out, without a container engine: buildah in chroot
 * isolation, as root on Debian. With Docker or Podman use the Dockerfile itself.
 *
 * The base image that the Dockerfile names is made here when it is not there, from Debian's packages and the `node`
 * package of npm. Where packages come from is this machine's own business: apt's sources and npm's settings are taken
 * over into the base image as they are, and RUSHLIGHT_APT_MIRROR names another mirror for its first packages.
 *
 * Then, in containers of the image: `doctor` lacks nothing, LibRaw and the font of texts in the picture included; the demo
 * comes out as its script says, with texts in its proxies; a roll of it goes to `ready` as frames, which needs the compiled
 * kernels. Last a farm of containers, as docker/compose.yaml starts it (image-farm.mjs).
 */
import { spawnSync } from 'node:child_process';
import {
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { tryFarm } from './image-farm.mjs';
import { projectFolder, say, stop } from './say.mjs';

const SYSTEM = 'bookworm';
const NODE_MAJOR = 22;
const BASE = `docker.io/library/node:${NODE_MAJOR}-${SYSTEM}-slim`;
const IMAGE = 'rushlight';
const environment = {
  ...process.env,
  BUILDAH_ISOLATION: 'chroot',
  STORAGE_DRIVER: process.env.STORAGE_DRIVER ?? 'vfs',
};

function run(command, args, options = {}) {
  const ended = spawnSync(command, args, {
    env: environment,
    encoding: 'utf8',
    maxBuffer: 64 * 1024 * 1024,
    stdio: ['ignore', 'pipe', 'inherit'],
    ...options,
  });
  if (ended.error !== undefined) stop(`${command} could not be started: ${ended.error.message}`);
  return ended;
}

function must(command, args, options) {
  const ended = run(command, args, options);
  if (ended.status !== 0) stop(`${command} ${args.join(' ')} ended with ${ended.status}`);
  return (ended.stdout ?? '').trim();
}

function requirePrograms() {
  if (process.getuid?.() !== 0)
    stop(
      'run this as root: chroot isolation needs it. With Docker or Podman build docker/Dockerfile instead.',
    );
  const packageOf = { buildah: 'buildah', debootstrap: 'debootstrap', ip: 'iproute2', nsenter: 'util-linux' };
  const missing = Object.keys(packageOf)
    .filter((name) => spawnSync('sh', ['-c', `command -v ${name}`]).status !== 0)
    .map((name) => packageOf[name]);
  if (missing.length === 0) return;
  say(`installing from the system's packages (once): ${missing.join(', ')}`);
  must('apt-get', ['update', '-qq'], { stdio: ['ignore', 2, 2] });
  const ended = run('apt-get', ['install', '-y', '-qq', ...missing], { stdio: ['ignore', 2, 2] });
  if (ended.status !== 0) stop(`install ${missing.join(' and ')}, then run this again`);
}

/** The mirror that this machine's own apt uses first. */
function aptMirror() {
  if ((process.env.RUSHLIGHT_APT_MIRROR ?? '') !== '') return process.env.RUSHLIGHT_APT_MIRROR;
  const folder = '/etc/apt/sources.list.d';
  const lists = [
    '/etc/apt/sources.list',
    ...(existsSync(folder)
      ? readdirSync(folder)
          .sort()
          .map((name) => join(folder, name))
      : []),
  ];
  for (const list of [join(folder, 'debian.sources'), ...lists]) {
    if (!existsSync(list)) continue;
    const text = readFileSync(list, 'utf8');
    const mirror = /^URIs:\s*(\S+)/m.exec(text)?.[1] ?? /^deb(?:\s+\[.*?\])?\s+(\S+)/m.exec(text)?.[1];
    if (mirror !== undefined) return mirror;
  }
  return stop("no mirror in apt's sources: name one with RUSHLIGHT_APT_MIRROR");
}

/** What npm on this machine is reported outside any project, so that the image reaches the same registry the same way. */
function carryNpmSettings(root) {
  const settings = must('npm', ['config', 'get', 'globalconfig'], { cwd: '/' });
  if (!existsSync(settings)) return;
  mkdirSync(join(root, 'usr/local/etc'), { recursive: true });
  cpSync(settings, join(root, 'usr/local/etc/npmrc'));
  const certificates = must('npm', ['config', 'get', 'cafile'], { cwd: '/' });
  if (certificates.startsWith('/') && existsSync(certificates)) {
    mkdirSync(dirname(join(root, certificates)), { recursive: true });
    cpSync(certificates, join(root, certificates), { dereference: true });
  }
}

function makeBase() {
  if (
    run('buildah', ['inspect', '--type', 'image', BASE], { stdio: ['ignore', 'pipe', 'ignore'] }).status === 0
  )
    return;
  say(`making ${BASE} (once, some minutes)`);
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-base-'));
  try {
    const root = join(folder, 'root');
    must('debootstrap', ['--variant=minbase', '--include=ca-certificates', SYSTEM, root, aptMirror()], {
      stdio: ['ignore', 2, 2],
    });
    for (const name of ['sources.list', 'sources.list.d', 'apt.conf.d'])
      if (existsSync(join('/etc/apt', name)))
        cpSync(join('/etc/apt', name), join(root, 'etc/apt', name), { recursive: true, dereference: true });
    const node = join(folder, 'node');
    must('npm', ['install', '--prefix', node, '--no-audit', '--no-fund', `node@${NODE_MAJOR}`, 'npm@10'], {
      stdio: ['ignore', 2, 2],
    });
    cpSync(join(node, 'node_modules/node/bin/node'), join(root, 'usr/local/bin/node'), { dereference: true });
    cpSync(join(node, 'node_modules/npm'), join(root, 'usr/local/lib/node_modules/npm'), { recursive: true });
    for (const name of ['npm', 'npx'])
      symlinkSync(`../lib/node_modules/npm/bin/${name}-cli.js`, join(root, 'usr/local/bin', name));
    carryNpmSettings(root);
    must('chroot', [root, 'useradd', '--uid', '1000', '--create-home', 'node']);
    const container = must('buildah', ['from', 'scratch']);
    must('buildah', ['add', '--quiet', container, root, '/']);
    must('buildah', [
      'config',
      '--env',
      'PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin',
      container,
    ]);
    must('buildah', ['commit', '--quiet', container, BASE]);
    must('buildah', ['rm', container]);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function build() {
  say(`building ${IMAGE}`);
  const options = [
    '--pull-never',
    '--network',
    'host',
    '--ignorefile',
    'docker/Dockerfile.dockerignore',
    '-f',
    'docker/Dockerfile',
  ];
  must('buildah', ['bud', ...options, '-t', IMAGE, '.'], { cwd: projectFolder, stdio: ['ignore', 2, 2] });
}

/** Runs `rushlight <args>` in a container of the image, as its user, with `folder` mounted under its own name. */
function inImage(folder, args) {
  const container = must('buildah', ['from', '--pull-never', IMAGE]);
  try {
    return run('buildah', [
      'run',
      '--user',
      '1000',
      '-v',
      `${folder}:${folder}`,
      container,
      '--',
      'rushlight',
      ...args,
    ]);
  } finally {
    run('buildah', ['rm', container]);
  }
}

function expectThat(what, good, detail) {
  process.stdout.write(`${good ? 'good  ' : 'FAILED'}  ${what}${good ? '' : `\n${detail}`}\n`);
  if (!good) process.exitCode = 1;
  return good;
}

async function tryOut() {
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-image-'));
  must('chown', ['1000:1000', folder]);
  try {
    const doctor = inImage(folder, ['doctor', '--deliver', folder, '--json']);
    expectThat('doctor: the image lacks nothing', doctor.status === 0, doctor.stdout);
    const lines = doctor.stdout === '' ? [] : JSON.parse(doctor.stdout).lines;
    for (const part of ['LibRaw', 'font', 'kernels'])
      expectThat(
        `doctor finds ${part}`,
        lines.some(({ what, state }) => what === part && state === 'good'),
        doctor.stdout,
      );
    const demo = inImage(folder, ['demo', '--folder', join(folder, 'demo')]);
    expectThat('the demo comes out as its script says', demo.status === 0, demo.stdout);
    const day = join(folder, 'demo/shoot/drive-a/day-03');
    const run = inImage(folder, [
      'run',
      day,
      '--deliver',
      join(folder, 'frames'),
      '--work',
      join(folder, 'work'),
      '--profile',
      'dpx-10',
      '--json',
    ]);
    const rolls = run.stdout === '' ? [] : JSON.parse(run.stdout).rolls;
    const ready = rolls.filter(({ verdict }) => verdict === 'ready').map(({ roll }) => roll);
    expectThat('rolls of the demo go to ready as frames', ready.length > 0, run.stdout);
    const shoot = join(folder, 'demo/shoot');
    await tryFarm({ folder, shoot, image: IMAGE, environment, expectThat });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

requirePrograms();
makeBase();
build();
await tryOut();
