/** Coordinator and worker say the same of a delivery that cannot be written to. */
import { existsSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { failureOf } from '../../coordinator/night/target.ts';
import { targetTroubleOf, tryWriting } from '../../ledger/target-health.ts';
import { targetFailure } from '../../worker/classify.ts';
import { targetStateOf } from '../../worker/target.ts';
import { freshFolder } from '../support/folder.ts';

const failed = (code: string, path?: string): Error =>
  Object.assign(new Error(code), { code, ...(path === undefined ? {} : { path }) });

/** Meanings of the codes: POSIX.1-2017, errno.h; EDQUOT and ESTALE as Linux uses them (errno(3)). */
const codes = [
  ['ENOSPC', 'full'],
  ['EDQUOT', 'full'],
  ['EROFS', 'read-only'],
  ['EACCES', 'read-only'],
  ['EPERM', 'read-only'],
  ['ENOENT', 'gone'],
  ['ENOTDIR', 'gone'],
  ['ESTALE', 'gone'],
  ['EIO', 'gone'],
  ['ENXIO', 'gone'],
  ['ENODEV', 'gone'],
] as const;

describe('of an error below the delivery', () => {
  test.each(codes)('%s: it is %s', (code, failure) => {
    const error = failed(code, '/delivery/day/A001/cut/x.mov');
    expect(targetTroubleOf(error)).toBe(failure);
    expect(targetStateOf(error, '/delivery')).toBe(failure);
    expect(failureOf(error, '/delivery')).toMatchObject({ code: `target-${failure}`, found: code });
    expect(targetFailure(failure, '/delivery', {}).findings[0]?.code).toBe(`target-${failure}`);
  });

  test('any other error is none of it to the worker, and a place that does not answer to the coordinator', () => {
    expect(targetStateOf(failed('EINVAL', '/delivery/x'), '/delivery')).toBeNull();
    expect(targetStateOf(failed('ENOENT', '/source/x'), '/delivery')).toBeNull();
    expect(targetStateOf(failed('ENOENT'), '/delivery')).toBeNull();
    expect(targetStateOf(new RangeError('a fault of ours'), '/delivery')).toBeNull();
    expect(failureOf(failed('EINVAL'), '/delivery').code).toBe('target-gone');
  });
});

test('a trial leaves nothing behind, whether it succeeds or not', async () => {
  const folder = freshFolder('trial');
  await tryWriting(join(folder, 'x.trial'), 4096);
  expect(readdirSync(folder)).toEqual([]);
  await expect(tryWriting(join(folder, 'none', 'x.trial'), 1)).rejects.toThrow('ENOENT');
  expect(existsSync(folder) && statSync(folder).isDirectory()).toBe(true);
});
