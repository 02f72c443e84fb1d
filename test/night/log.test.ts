/** The night's log ends before the last connection does. */
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { openLog } from '../../coordinator/night/log.ts';
import { freshFolder } from '../support/folder.ts';

test('a word after the end of the log is lost, and nothing else happens', async () => {
  const folder = freshFolder('log');
  const { logger, close } = openLog(folder, 'run-1');
  logger.info('before');
  await close();
  logger.error('after');
  const [name] = readdirSync(folder);
  const lines = readFileSync(join(folder, name as string), 'utf8')
    .trim()
    .split('\n');
  expect(lines.map((line) => (JSON.parse(line) as { msg: string }).msg)).toEqual(['before']);
});
