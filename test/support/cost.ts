/**
 * What each test file costs, in seconds of processor time of itself and of every program that it started and waited for:
 * with RUSHLIGHT_TEST_COST=<file> a line for each test file is added there. Wall time says little on a machine that others use.
 */
import { appendFileSync, readFileSync } from 'node:fs';
import { relative } from 'node:path';
import { afterAll, expect } from 'vitest';
import { packageFolder } from '../../files/installation.ts';

const report = process.env.RUSHLIGHT_TEST_COST;
/** Linux counts in hundredths of a second (proc(5): USER_HZ). */
const TICKS = 100;

/** User and system time of this process and of its children that have ended (proc(5): fields 14 to 17 of stat). */
function spent(): { user: number; system: number } {
  const stat = readFileSync('/proc/self/stat', 'utf8');
  // The second field is the program's name and may hold spaces.
  const fields = stat
    .slice(stat.lastIndexOf(')') + 2)
    .split(' ')
    .map(Number);
  const [user, system, userOfChildren, systemOfChildren] = fields.slice(11, 15) as [
    number,
    number,
    number,
    number,
  ];
  return { user: (user + userOfChildren) / TICKS, system: (system + systemOfChildren) / TICKS };
}

if (report !== undefined) {
  const before = spent();
  afterAll(() => {
    const after = spent();
    const [user, system] = [after.user - before.user, after.system - before.system];
    const file = relative(packageFolder, expect.getState().testPath ?? '');
    appendFileSync(
      report,
      `${(user + system).toFixed(1)}\tuser ${user.toFixed(1)}\tsystem ${system.toFixed(1)}\t${file}\n`,
    );
  });
}
