/** The script that installs packages, run by a real shell with stand-ins for apt: nothing of the system is touched. */
import { spawnSync } from 'node:child_process';
import { chmodSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { installScript } from '../../setup/install-script.mjs';
import { freshFolder } from '../support/folder.ts';

interface Machine {
  /** Packages that the lists know before `apt-get update`, and after. */
  readonly before?: readonly string[];
  readonly after: readonly string[];
  /** How many installs fail first. */
  readonly failures?: number;
  readonly policy?: string;
}

function installOn(machine: Machine, packages: readonly string[]) {
  const folder = freshFolder('apt');
  const bin = join(folder, 'bin');
  mkdirSync(bin);
  const policyFile = join(folder, 'policy-rc.d');
  const log = join(folder, 'log');
  writeFileSync(log, '');
  writeFileSync(join(folder, 'known'), `${(machine.before ?? machine.after).join('\n')}\n`);
  writeFileSync(join(folder, 'later'), `${machine.after.join('\n')}\n`);
  writeFileSync(join(folder, 'failures'), String(machine.failures ?? 0));
  if (machine.policy !== undefined) writeFileSync(policyFile, machine.policy, { mode: 0o755 });
  const program = (name: string, text: string): void => {
    writeFileSync(join(bin, name), `#!/bin/sh\ncd '${folder}'\n${text}`);
    chmodSync(join(bin, name), 0o755);
  };
  program(
    'apt-cache',
    'if grep -qx "$2" known; then echo "  Candidate: 1.0"; else echo "  Candidate: (none)"; fi\n',
  );
  program(
    'apt-get',
    `echo "$*" >> log
if [ "$2" = update ]; then cp later known; exit 0; fi
for unit in redis-server valkey-server dbus; do ./policy-rc.d $unit start; echo "policy $unit $?" >> log; done
left=$(cat failures); if [ "$left" -gt 0 ]; then echo $((left - 1)) > failures; exit 100; fi
`,
  );
  const run = spawnSync('sh', ['-c', installScript(policyFile), 'sh', ...packages], {
    env: { PATH: `${bin}:${process.env.PATH}` },
    encoding: 'utf8',
  });
  return {
    status: run.status,
    log: readFileSync(log, 'utf8').trim().split('\n'),
    policyStays: existsSync(policyFile),
    policy: existsSync(policyFile) ? readFileSync(policyFile, 'utf8') : null,
    stderr: run.stderr,
  };
}

const install = '-qq install -y --no-install-recommends';
const update = '-qq update';

test('the redis service may not start during the install, others may, and the policy is gone afterwards', () => {
  const result = installOn({ after: ['ffmpeg', 'redis-server'] }, ['ffmpeg', 'redis-server']);
  expect(result).toMatchObject({ status: 0, policyStays: false });
  expect(result.log).toEqual([
    `${install} ffmpeg redis-server`,
    'policy redis-server 101',
    'policy valkey-server 101',
    'policy dbus 0',
  ]);
});

test('a policy that stands already stays as it is', () => {
  const policy = '#!/bin/sh\nexit 101\n';
  expect(installOn({ after: ['ffmpeg'], policy }, ['ffmpeg'])).toMatchObject({ status: 0, policy });
});

test('lists that know nothing are fetched first', () => {
  const result = installOn({ before: [], after: ['ffmpeg'] }, ['ffmpeg']);
  expect(result.log.slice(0, 2)).toEqual([update, `${install} ffmpeg`]);
});

test('where only valkey-server exists it is taken', () => {
  expect(installOn({ after: ['ffmpeg', 'valkey-server'] }, ['ffmpeg', 'redis-server']).log).toContain(
    `${install} ffmpeg valkey-server`,
  );
});

test('an install that fails is tried once more with fresh lists', () => {
  const result = installOn({ after: ['ffmpeg'], failures: 1 }, ['ffmpeg']);
  expect(result.status).toBe(0);
  expect(result.log.filter((line) => !line.startsWith('policy'))).toEqual([
    `${install} ffmpeg`,
    update,
    `${install} ffmpeg`,
  ]);
});

test('an install that fails twice ends with its exit code, and the policy is gone all the same', () => {
  expect(installOn({ after: ['ffmpeg'], failures: 2 }, ['ffmpeg'])).toMatchObject({
    status: 100,
    policyStays: false,
  });
});
