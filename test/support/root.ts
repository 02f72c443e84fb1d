/** Tests that mount a small volume need root. Without it they are skipped by name, and where CI is set they fail: there it must be given. */
import type { TestContext } from 'vitest';

export function needsRoot({ skip }: Pick<TestContext, 'skip'>): void {
  if (process.getuid?.() === 0) return;
  if ((process.env.CI ?? '') !== '')
    throw new Error('this test mounts a small volume and needs root, which a CI run must have');
  skip('needs root: it mounts a small volume');
}
