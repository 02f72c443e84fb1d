/** What to do about programs that are missing: a pure decision from what is missing and what this machine is. */

/** How each package manager is reported; the first that is on PATH is taken. */
const managers = [
  {
    name: 'apt',
    program: 'apt-get',
    command: (packages) =>
      `apt-get update && apt-get install -y --no-install-recommends ${packages.join(' ')}`,
    asRoot: true,
  },
  {
    name: 'brew',
    program: 'brew',
    command: (packages) => `brew install ${packages.join(' ')}`,
    asRoot: false,
  },
  {
    name: 'dnf',
    program: 'dnf',
    command: (packages) => `dnf install -y ${packages.join(' ')}`,
    asRoot: true,
  },
  {
    name: 'pacman',
    program: 'pacman',
    command: (packages) => `pacman -S --needed ${packages.join(' ')}`,
    asRoot: true,
  },
];

/**
 * `missing`: entries of needs.mjs. `machine`: `{ programs, root, sudo }`, the names of package managers on PATH, whether
 * this is root, and whether sudo works without a password.
 * Gives `{ action: 'install', packages, sudo }` or, always without `mayInstall`, `{ action: 'tell', lines }`.
 * Only apt is driven from here: it is the one that this project is tested with.
 */
export function installPlan(missing, machine, mayInstall = true) {
  const manager = managers.find((one) => machine.programs.includes(one.program));
  const lines = missing.map((one) => `  ${one.need} (${one.why})`);
  if (manager === undefined) {
    return {
      action: 'tell',
      lines: [
        'missing on this machine:',
        ...lines,
        'No package manager that is known here was found. Install them so that they are on PATH, then run this again.',
      ],
    };
  }
  const packages = [
    ...new Set(missing.map((one) => one.packages[manager.name]).filter((name) => name !== undefined)),
  ];
  if (mayInstall && manager.name === 'apt' && (machine.root || machine.sudo))
    return { action: 'install', packages, sudo: !machine.root };
  const prefix = manager.asRoot && !machine.root ? 'sudo ' : '';
  const command = manager
    .command(packages)
    .split(' && ')
    .map((part) => prefix + part)
    .join(' && ');
  return {
    action: 'tell',
    lines: ['missing on this machine:', ...lines, 'Install them with', `  ${command}`, 'and run this again.'],
  };
}
