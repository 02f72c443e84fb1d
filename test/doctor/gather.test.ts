/** Doctor on this machine, with real programs and with stand-ins in their place. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { doctor } from '../../coordinator/commands/doctor.ts';
import { freshFolder } from '../support/folder.ts';
import { standIn } from '../support/stand-in.ts';

beforeEach(() => {
  for (const name of ['RUSHLIGHT_FFMPEG', 'RUSHLIGHT_FFPROBE', 'RUSHLIGHT_REDIS_SERVER'])
    vi.stubEnv(name, '');
});
afterEach(() => vi.unstubAllEnvs());

test('this machine, on which the tests run, is fit', async () => {
  const report = await doctor({});
  expect(report.lines.filter((line) => line.state === 'lacking')).toEqual([]);
  expect(report.verdict).toBe('fit');
  expect(report.lines.find((line) => line.what === 'encoders')?.found).toContain('prores_ks');
});

test('every program is looked at although each one fails in its own way', async () => {
  const folder = freshFolder('doctor');
  vi.stubEnv('RUSHLIGHT_FFMPEG', standIn(folder, 'ffmpeg', 'hang'));
  vi.stubEnv('RUSHLIGHT_FFPROBE', standIn(folder, 'ffprobe', 'version 4.4.2'));
  vi.stubEnv('RUSHLIGHT_REDIS_SERVER', standIn(folder, 'redis-server', 'garbage'));
  const report = await doctor({ patienceMilliseconds: 500 });
  expect(report.verdict).toBe('lacking');
  expect(
    report.lines.filter((line) => line.state === 'lacking').map((line) => [line.what, line.code]),
  ).toEqual([
    ['ffmpeg', 'tool-unusable'],
    ['ffprobe', 'tool-too-old'],
    ['redis-server or valkey-server', 'tool-unusable'],
  ]);
});

test('an ffmpeg that answers its version and nothing else is not taken for a good one', async () => {
  vi.stubEnv('RUSHLIGHT_FFMPEG', standIn(freshFolder('doctor'), 'ffmpeg', 'version-only 7.1'));
  const report = await doctor({});
  expect(
    report.lines.filter((line) => line.state === 'lacking').map((line) => [line.what, line.code]),
  ).toEqual([['abilities of ffmpeg', 'tool-unusable']]);
});

test('folders are measured where they are or will be', async () => {
  const folder = freshFolder('doctor');
  const report = await doctor({ deliver: join(folder, 'new', 'delivery'), work: folder });
  const lines = report.lines.filter((line) => line.what.endsWith('folder'));
  expect(lines.map((line) => line.what)).toEqual(['delivery folder', 'work folder']);
  expect(lines[0]?.found).toContain(`measured at ${folder}`);
});

test('a file in the place of a folder is reported', async () => {
  const file = join(freshFolder('doctor'), 'delivery');
  writeFileSync(file, '');
  const report = await doctor({ deliver: file });
  expect(report.lines.find((line) => line.what === 'delivery folder')).toMatchObject({
    state: 'lacking',
    code: 'folder-unusable',
  });
});

test('a shared queue that is not there is reported instead of a program', async () => {
  // Port 9 (discard, RFC 863) has no Redis.
  const report = await doctor({ queue: 'redis://127.0.0.1:9' });
  expect(report.lines.find((line) => line.what === 'queue')).toMatchObject({
    state: 'lacking',
    code: 'queue-unreachable',
  });
  expect(report.lines.map((line) => line.what)).not.toContain('redis-server or valkey-server');
});

test('a profile that does not exist is refused before anything is asked', async () => {
  await expect(doctor({ profiles: ['no-such-profile'] })).rejects.toMatchObject({
    exitCode: 2,
    findings: [{ code: 'profile-missing' }],
  });
});
