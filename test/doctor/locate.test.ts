/** Finding ffmpeg and ffprobe, with small real programs in their place. */
import { chmodSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { FindingError } from '../../findings/finding.ts';
import { abilitiesOf, decodersOf, locateTool } from '../../process/locate.ts';
import { freshFolder } from '../support/folder.ts';
import { standIn } from '../support/stand-in.ts';

/** Nothing of this machine is on PATH but what a stand-in itself needs (a shell is started by its full name). */
function pathOf(...folders: string[]): void {
  vi.stubEnv('PATH', folders.join(':'));
}

async function refusal(run: Promise<unknown>): Promise<FindingError> {
  const error = await run.then(
    () => null,
    (thrown: unknown) => thrown,
  );
  expect(error).toBeInstanceOf(FindingError);
  return error as FindingError;
}

beforeEach(() => {
  vi.stubEnv('RUSHLIGHT_FFMPEG', '');
  vi.stubEnv('RUSHLIGHT_FFPROBE', '');
});
afterEach(() => {
  vi.unstubAllEnvs();
  vi.doUnmock('@ffprobe-installer/ffprobe');
});

describe('order of places', () => {
  test('option before environment before PATH', async () => {
    const folder = freshFolder('places');
    const byOption = standIn(join(folder, 'option'), 'ffmpeg', 'version 7.1');
    const byEnvironment = standIn(join(folder, 'environment'), 'ffmpeg', 'version 7.0');
    const byPath = standIn(join(folder, 'path'), 'ffmpeg', 'version 6.1');
    pathOf(join(folder, 'path'));
    expect(await locateTool('ffmpeg')).toMatchObject({
      path: byPath,
      from: 'path',
      version: '6.1',
      release: { major: 6, minor: 1 },
    });
    vi.stubEnv('RUSHLIGHT_FFMPEG', byEnvironment);
    expect(await locateTool('ffmpeg')).toMatchObject({
      path: byEnvironment,
      from: 'environment',
      version: '7.0',
    });
    expect(await locateTool('ffmpeg', byOption)).toMatchObject({
      path: byOption,
      from: 'option',
      version: '7.1',
    });
  });

  test('a named program that will not do is refused, although PATH has a good one', async () => {
    const folder = freshFolder('named');
    standIn(join(folder, 'path'), 'ffmpeg', 'version 7.1');
    pathOf(join(folder, 'path'));
    vi.stubEnv('RUSHLIGHT_FFMPEG', standIn(join(folder, 'old'), 'ffmpeg', 'version 4.4.2-0ubuntu0.22.04.1'));
    const error = await refusal(locateTool('ffmpeg'));
    expect(error.exitCode).toBe(3);
    expect(error.findings).toMatchObject([{ code: 'tool-too-old', expected: 'ffmpeg 5.1 or newer' }]);
    expect(error.findings[0]?.found).toContain('4.4.2');
  });

  test('a folder on PATH with something that may not be executed is walked past', async () => {
    const folder = freshFolder('walk');
    mkdirSync(join(folder, 'first', 'ffmpeg'), { recursive: true });
    mkdirSync(join(folder, 'second'));
    writeFileSync(join(folder, 'second', 'ffmpeg'), 'not a program', { mode: 0o644 });
    const good = standIn(join(folder, 'third'), 'ffmpeg', 'version 5.1.9');
    pathOf(join(folder, 'first'), join(folder, 'second'), join(folder, 'third'));
    expect((await locateTool('ffmpeg')).path).toBe(good);
  });
});

describe('the optional package', () => {
  const packageHas = (path: string): void => {
    vi.doMock('@ffprobe-installer/ffprobe', () => ({ default: { path } }));
  };

  test('is taken when PATH has none', async () => {
    const folder = freshFolder('package');
    packageHas(standIn(folder, 'ffprobe', 'version 7.0.2'));
    pathOf(join(folder, 'empty'));
    expect(await locateTool('ffprobe')).toMatchObject({ from: 'package', version: '7.0.2', passedOver: [] });
  });

  test('is taken when the one on PATH is too old, and the old one is reported', async () => {
    const folder = freshFolder('package');
    packageHas(standIn(join(folder, 'package'), 'ffprobe', 'version 7.0.2'));
    standIn(join(folder, 'path'), 'ffprobe', 'version 4.4.2');
    pathOf(join(folder, 'path'));
    expect(await locateTool('ffprobe')).toMatchObject({
      from: 'package',
      version: '7.0.2',
      passedOver: [{ code: 'tool-too-old' }],
    });
  });

  test('gives way to a good one on PATH', async () => {
    const folder = freshFolder('package');
    packageHas(standIn(join(folder, 'package'), 'ffprobe', 'version 7.0.2'));
    standIn(join(folder, 'path'), 'ffprobe', 'version 5.1.9');
    pathOf(join(folder, 'path'));
    expect(await locateTool('ffprobe')).toMatchObject({ from: 'path', version: '5.1.9' });
  });

  test('whose program lost its execute bit is reported as such', async () => {
    const folder = freshFolder('package');
    const program = standIn(folder, 'ffprobe', 'version 7.0.2');
    chmodSync(program, 0o644);
    packageHas(program);
    pathOf(join(folder, 'empty'));
    const error = await refusal(locateTool('ffprobe'));
    expect(error.findings).toMatchObject([{ code: 'tool-missing' }]);
    expect(error.findings[0]?.found).toContain('(package) may not be executed by this user');
  });
});

describe('versions as builds print them', () => {
  test.each([
    ['5.1.9-0+deb12u1', { major: 5, minor: 1 }],
    ['n7.1', { major: 7, minor: 1 }],
    ['7.1.1_1', { major: 7, minor: 1 }],
    ['N-118193-g5f38c82536', null],
    ['git-2025-01-01-abcdef', null],
  ])('%s', async (version, release) => {
    const program = standIn(freshFolder('version'), 'ffmpeg', `version ${version}`);
    expect(await locateTool('ffmpeg', program)).toMatchObject({ version, release });
  });
  test.each(['5.0.3', '4.4.2-0ubuntu0.22.04.1', 'n3.4'])('%s is too old', async (version) => {
    const error = await refusal(
      locateTool('ffmpeg', standIn(freshFolder('version'), 'ffmpeg', `version ${version}`)),
    );
    expect(error.findings).toMatchObject([{ code: 'tool-too-old' }]);
  });
});

describe('programs that do not answer as they should', () => {
  test.each([
    ['hangs', 'hang', 'no answer'],
    ['prints something else', 'garbage', 'no such line'],
    ['fails', 'fail', 'exit code 1'],
    ['dies by a signal', 'die', 'SIGKILL'],
    ['prints nothing', 'silent', 'no such line'],
  ] as const)('one that %s', async (_title, behaviour, found) => {
    const error = await refusal(
      locateTool('ffprobe', standIn(freshFolder('bad'), 'ffprobe', behaviour), 500),
    );
    expect(error.exitCode).toBe(3);
    expect(error.findings).toMatchObject([{ code: 'tool-unusable', expected: 'a line `ffprobe version …`' }]);
    expect(error.findings[0]?.found).toContain(found);
  });

  test('the line of another program is not taken for it', async () => {
    const error = await refusal(
      locateTool('ffprobe', standIn(freshFolder('other'), 'ffmpeg', 'version 7.1')),
    );
    expect(error.findings).toMatchObject([{ code: 'tool-unusable' }]);
  });

  test('a name that leads nowhere, and a file that may not be executed', async () => {
    const folder = freshFolder('absent');
    expect((await refusal(locateTool('ffmpeg', join(folder, 'nothing')))).findings[0]?.found).toContain(
      'is not there',
    );
    const program = standIn(folder, 'ffmpeg', 'version 7.1');
    chmodSync(program, 0o644);
    const error = await refusal(locateTool('ffmpeg', program));
    expect(error.findings).toMatchObject([{ code: 'tool-missing' }]);
    expect(error.findings[0]?.found).toContain('may not be executed');
  });

  test('a build whose lists cannot be read is not taken for one without encoders', async () => {
    const found = await locateTool('ffmpeg', standIn(freshFolder('lists'), 'ffmpeg', 'version-only 7.1'));
    expect((await refusal(abilitiesOf(found))).findings).toMatchObject([{ code: 'tool-unusable' }]);
  });
});

test('two builds of one version are told apart', async () => {
  const folder = freshFolder('build');
  const one = await locateTool(
    'ffmpeg',
    standIn(join(folder, 'a'), 'ffmpeg', 'version 7.1', 'configuration: --enable-libx264'),
  );
  const two = await locateTool(
    'ffmpeg',
    standIn(join(folder, 'b'), 'ffmpeg', 'version 7.1', 'configuration: --disable-libx264'),
  );
  expect(one.version).toBe(two.version);
  expect(one.build).not.toBe(two.build);
});

test('the real ffmpeg of this machine lists what it can do', async () => {
  vi.unstubAllEnvs();
  const ffmpeg = await locateTool('ffmpeg');
  const abilities = await abilitiesOf(ffmpeg);
  expect([...abilities.encoders]).toEqual(expect.arrayContaining(['prores_ks', 'dnxhd', 'pcm_s24le']));
  expect([...(await decodersOf(ffmpeg))]).toEqual(expect.arrayContaining(['prores', 'h264', 'dpx']));
  expect([...abilities.filters]).toEqual(
    expect.arrayContaining(['scale', 'setparams', 'aresample', 'concat']),
  );
});
