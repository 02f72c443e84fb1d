/** Programs from the system: looked for, installed through apt where that is allowed, otherwise named with the command. */
import { spawnSync } from 'node:child_process';
import { accessSync, constants, statSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { installPlan } from './install-plan.mjs';
import { installScript } from './install-script.mjs';
import { needs } from './needs.mjs';
import { projectFolder, say, stop } from './say.mjs';

function isProgram(path) {
  try {
    accessSync(path, constants.X_OK);
    return statSync(path).isFile();
  } catch {
    // Absent or not ours to run: either way not a program for us.
    return false;
  }
}

function onPath(name) {
  return (process.env.PATH ?? '')
    .split(delimiter)
    .some((folder) => folder !== '' && isProgram(join(folder, name)));
}

/** A program that is named is taken at its word here; whether it works is said by whoever runs it, with the name. */
function satisfied(need) {
  if (need.named !== undefined && (process.env[need.named] ?? '') !== '') return true;
  if (need.anyOf.some(onPath)) return true;
  return need.packaged !== undefined && isProgram(join(projectFolder, 'node_modules', need.packaged));
}

function machine() {
  const programs = ['apt-get', 'brew', 'dnf', 'pacman'].filter(onPath);
  const root = process.getuid?.() === 0;
  const sudo = !root && onPath('sudo') && spawnSync('sudo', ['-n', 'true'], { stdio: 'ignore' }).status === 0;
  return { programs, root, sudo };
}

function install(plan) {
  say(`installing from the system's packages (once, a minute or two): ${plan.packages.join(', ')}`);
  if (plan.packages.includes('redis-server')) {
    say(
      'the service that comes with redis-server is neither started nor enabled: Rushlight starts a private one for each night (`systemctl enable --now redis-server` if you want the service too)',
    );
  }
  const shell = ['sh', '-c', installScript('/usr/sbin/policy-rc.d'), 'sh', ...plan.packages];
  const [file, ...args] = plan.sudo ? ['sudo', '-n', ...shell] : shell;
  const run = spawnSync(file, args, { stdio: ['ignore', 2, 2] });
  return run.status === 0;
}

/** `set`: a key of `needs`. Ends with exit code 3 when something stays missing. */
export function provideSystemPrograms(set) {
  const missing = needs[set].filter((need) => !satisfied(need));
  if (missing.length === 0) return;
  const here = machine();
  const plan = installPlan(missing, here);
  if (plan.action === 'tell') stop(plan.lines.join('\n'));
  say(`missing on this machine: ${missing.map((need) => `${need.need} (${need.why})`).join(', ')}`);
  const done = install(plan);
  const still = missing.filter((need) => !satisfied(need));
  if (done && still.length === 0) return;
  // The same text that somebody without the right to install gets: it holds the command.
  stop(
    [
      'the install did not help; its own words stand above.',
      ...installPlan(still.length > 0 ? still : missing, here, false).lines,
    ].join('\n'),
  );
}
