/** Is this Node new enough? Asked before anything else is loaded, so this file uses nothing that an old Node lacks. */

export const OLDEST_NODE = [20, 19];

/** Pure: `v20.19.0` → null when it will do, else what to tell. */
export function nodeTooOld(version) {
  const numbers = /^v?(\d+)\.(\d+)/.exec(version);
  const major = numbers === null ? 0 : Number(numbers[1]);
  const minor = numbers === null ? 0 : Number(numbers[2]);
  if (major > OLDEST_NODE[0] || (major === OLDEST_NODE[0] && minor >= OLDEST_NODE[1])) return null;
  return [
    'set-up: this Node is too old',
    '  found     ' + version,
    '  expected  ' + OLDEST_NODE.join('.') + ' or newer',
    '  remedy    Install Node 20.19 or newer (the long-term releases are on nodejs.org), then run this again.',
  ].join('\n');
}

export function requireNode() {
  const complaint = nodeTooOld(process.version);
  if (complaint !== null) {
    process.stderr.write(`${complaint}\n`);
    process.exit(3);
  }
}
