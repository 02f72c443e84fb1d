/** Decoders that somebody declares, from the settings to verified masters: movies and frames of forms that nobody else reads, and raw frames. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { readSettings } from '../../coordinator/settings/read.ts';
import { FindingError } from '../../findings/finding.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { type CliResult, commandProcess, runCli } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { runWords } from '../support/night.ts';

const runCommand = commandProcess();

const [WIDTH, HEIGHT, FRAMES] = [20, 14, 5];
/** Codes of twelve bits in 16. */
const FULL = 4095;

const base = join(sharedFolder, 'decoders');
const tools = join(base, 'tools');
const settings = join(base, 'show.yaml');

/** Code of a channel: every pixel of every frame another one. */
const codeAt = (frame: number, x: number, y: number, channel: number): number =>
  (frame * 701 + y * 257 + x * 97 + channel * 1361) % (FULL + 1);

function picture(frame: number, order: 'le' | 'be'): Buffer {
  const out = Buffer.alloc(WIDTH * HEIGHT * 6);
  for (let y = 0; y < HEIGHT; y += 1)
    for (let x = 0; x < WIDTH; x += 1)
      for (let channel = 0; channel < 3; channel += 1) {
        const at = ((y * WIDTH + x) * 3 + channel) * 2;
        if (order === 'le') out.writeUInt16LE(codeAt(frame, x, y, channel), at);
        else out.writeUInt16BE(codeAt(frame, x, y, channel), at);
      }
  return out;
}

/** A movie of a form that this test invented: a line of JSON, then the pictures. `fault`: what its decoder does with it. */
function bellMovie(path: string, fault: string | null, reported: object = {}): void {
  const head = {
    frames: FRAMES,
    rate: '24000/1001',
    width: WIDTH,
    height: HEIGHT,
    timecode: '10:00:00:00',
    reel: 'BELL01',
    fault,
    ...reported,
  };
  writeFileSync(
    path,
    Buffer.concat([
      Buffer.from(`${JSON.stringify(head)}\n`),
      ...Array.from({ length: FRAMES }, (_, frame) => picture(frame, 'le')),
    ]),
  );
}

const BELL_PROGRAM = `#!/usr/bin/env node
const { readFileSync, writeSync } = require('node:fs');
const [what, path] = process.argv.slice(2);
const file = readFileSync(path);
const line = file.indexOf(10);
const head = JSON.parse(file.subarray(0, line));
if (what === 'about') { console.log(JSON.stringify({ clip: head })); process.exit(0); }
const all = file.subarray(line + 1);
const frame = head.width * head.height * 6;
const put = (bytes) => { for (let at = 0; at < bytes.length; ) { try { at += writeSync(1, bytes, at); } catch (error) { if (error.code !== 'EAGAIN') throw error; } } };
if (head.fault === 'dies') { put(all.subarray(0, frame * 2.5)); console.error('the bell is cracked'); process.exit(3); }
if (head.fault === 'killed') { put(all.subarray(0, frame * 2)); process.kill(process.pid, 'SIGKILL'); }
if (head.fault === 'hangs') { put(all.subarray(0, frame * 2)); setInterval(() => {}, 1000); }
else put(head.fault === 'short' ? all.subarray(0, all.length - frame) : head.fault === 'long' ? Buffer.concat([all, Buffer.from([0])]) : all);
`;

/** Gives the sensor values of an uncompressed DNG in words of 16 bits, one strip (TIFF 6.0: tags 273 and 279), and leaves a sign that it did. */
const STRIP_PROGRAM = `#!/usr/bin/env node
const { appendFileSync, readFileSync } = require('node:fs');
const file = readFileSync(process.argv[2]);
const entries = file.readUInt32LE(4);
const tag = (wanted) => { for (let index = 0; index < file.readUInt16LE(entries); index += 1) { const at = entries + 2 + index * 12; if (file.readUInt16LE(at) === wanted) return file.readUInt32LE(at + 8); } };
appendFileSync(__filename + '.served', 'x');
process.stdout.write(file.subarray(tag(273), tag(273) + tag(279)));
`;

function program(name: string, text: string): void {
  writeFileSync(join(tools, name), text, { mode: 0o755 });
}

const dng = (frame: number): Buffer =>
  buildDng({
    width: 64,
    height: 48,
    samples: testSamples(64, 48, 12, frame + 1),
    bits: 12,
    words: true,
    rate: [24, 1],
    timecode: `07:00:00:${String(frame).padStart(2, '0')}`,
  });

/** `end`: a byte that no reader looks at, so that two rolls of equal pictures are no roll that was copied twice. */
function rawRoll(folder: string, end: number): void {
  mkdirSync(join(folder, 'A011C001'), { recursive: true });
  for (let frame = 0; frame < 3; frame += 1)
    writeFileSync(
      join(folder, 'A011C001', `A011C001_${String(frame).padStart(6, '0')}.dng`),
      Buffer.concat([dng(frame), Buffer.from([end])]),
    );
}

/** Rolls of one clip whose decoder fails in its own way. */
const faults: readonly (readonly [
  title: string,
  roll: string,
  fault: string | null,
  reported: object,
  code: string,
  said: RegExp,
])[] = [
  ['dies half-way', 'B021', 'dies', {}, 'decoder-failed', /the bell is cracked/],
  ['gives a frame too few', 'B023', 'short', {}, 'decoder-failed', /4 whole pictures/],
  ['falls silent', 'B025', 'hangs', {}, 'decoder-failed', /no answer/],
  [
    'counts fewer frames than it gives',
    'B027',
    null,
    { frames: FRAMES - 1 },
    'decoder-failed',
    /more than the 4 pictures/,
  ],
  ['says no number of frames', 'B028', null, { frames: 'many' }, 'decoder-metadata-incomplete', /frames/],
  [
    'says a timecode that does not exist',
    'B030',
    null,
    { timecode: '10:00:00:24' },
    'timecode-invalid',
    /10:00:00:24/,
  ],
  ...further<(typeof faults)[number]>(
    ['is killed', 'B022', 'killed', {}, 'decoder-failed', /SIGKILL|137/],
    ['gives a byte too many', 'B024', 'long', {}, 'decoder-failed', /1 bytes/],
    [
      'counts more frames than it gives',
      'B026',
      null,
      { frames: FRAMES + 1 },
      'decoder-failed',
      /5 whole pictures/,
    ],
    ['says a rate that is none', 'B029', null, { rate: '0/1' }, 'decoder-metadata-incomplete', /rate/],
  ),
];

/** One night over all that decoders give: rolls that become masters, and rolls that are held. */
let night: CliResult;
const delivery = join(base, 'delivery');
const delivered = (roll: string): string => join(delivery, 'day-11', roll);
const verdictOf = (roll: string): { verdict: string; findings: { code: string; found: string }[] } =>
  JSON.parse(readFileSync(join(delivered(roll), 'roll.json'), 'utf8')) as ReturnType<typeof verdictOf>;

function filledRoll(name: string, fill: (folder: string) => void): void {
  const roll = join(base, 'day-11', name);
  mkdirSync(roll, { recursive: true });
  fill(roll);
  writeMd5Manifest(roll);
}

async function reportOf(
  roll: string,
  clip: string,
): Promise<{
  command: readonly string[];
  outcome: { linearisation: Record<string, unknown> } & Record<string, unknown>;
}> {
  const read = await readRecord(
    join(roll, 'reports', 'deliverables', `${clip}.grading-master-exr.json`),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(JSON.stringify(read));
  return read.value as unknown as Awaited<ReturnType<typeof reportOf>>;
}

/** R, G, B of every pixel as OpenImageIO reads them, rows from the top, one file after another. */
function pixelsOf(...paths: string[]): number[][] {
  const reported = execFileSync('oiiotool', ['--dumpdata', ...paths], {
    encoding: 'utf8',
    maxBuffer: 1 << 26,
  });
  return [...reported.matchAll(/Pixel \(\d+, \d+\): (\S+) (\S+) (\S+)/g)].map(([, ...values]) =>
    values.map(Number),
  );
}

beforeAll(async () => {
  mkdirSync(tools, { recursive: true });
  program('bell-decode', BELL_PROGRAM);
  program('strips', STRIP_PROGRAM);
  writeFileSync(
    join(tools, 'bell.yaml'),
    `version: 1
name: bell
summary: Movies of the bell foundry
takes: { clips: movie, names: ['*.bell'] }
command: [./bell-decode, pictures, '{file}']
gives: { samples: rgb48le, full: ${FULL} }
probe:
  command: [./bell-decode, about, '{file}']
  format: json
  frames: /clip/frames
  rate: /clip/rate
  width: /clip/width
  height: /clip/height
  timecode: /clip/timecode
  reel: /clip/reel
patience_seconds: 2
`,
  );
  writeFileSync(
    join(tools, 'plates.yaml'),
    `version: 1\nname: plates\nsummary: Frames as PPM of 16 bits\ntakes: { clips: frames, names: ['*.plate'] }\ncommand: [cat, '{file}']\ngives: { samples: rgb48be, around: netpbm, full: ${FULL} }\n`,
  );
  writeFileSync(
    join(tools, 'strips.yaml'),
    "version: 1\nname: strips\nsummary: Sensor values of DNG frames\ntakes: { clips: frames, names: ['*.dng'] }\ncommand: [./strips, '{file}']\ngives: { samples: cfa16le }\n",
  );
  // AP0 to AP0: what is in the master is what the decoder gave.
  writeFileSync(
    settings,
    "version: 1\nshow: { input: { name: aces2065-1 } }\ncameras: [{ name: A, known_by: { rolls: ['A*'] }, raw: { decoder: strips } }]\ndecoders: [tools/bell.yaml, tools/plates.yaml, tools/strips.yaml]\n",
  );
  filledRoll('B011', (roll) => bellMovie(join(roll, 'B011C001.bell'), null));
  filledRoll('C011', (roll) => {
    mkdirSync(join(roll, 'B011C001'));
    for (let frame = 0; frame < FRAMES; frame += 1)
      writeFileSync(
        join(roll, 'B011C001', `B011C001.${String(frame + 7).padStart(4, '0')}.plate`),
        Buffer.concat([Buffer.from(`P6\n${WIDTH} ${HEIGHT}\n65535\n`), picture(frame, 'be')]),
      );
  });
  filledRoll('A011', (folder) => rawRoll(folder, 0));
  // Another camera's letter: the settings name nothing for it, and our own decoder comes first.
  filledRoll('D011', (folder) => rawRoll(folder, 1));
  for (const [, roll, fault, reported] of faults)
    filledRoll(roll, (folder) => bellMovie(join(folder, `${roll}C001.bell`), fault, reported));
  night = await runCli(
    runWords(
      { day: join(base, 'day-11'), delivery, work: join(base, 'work'), profiles: ['grading-master-exr'] },
      // The rate is that of the frames that state none.
      ...['--settings', settings, '--workers', '1', '--rate', '24', '--quiet'],
    ),
  );
}, 240_000);

describe('pictures of a declared decoder become masters', () => {
  test.each([
    ['a movie', 'B011', '0864000', { decoder: 'bell', full: FULL }],
    ['frames in files of their own', 'C011', null, { decoder: 'plates', full: FULL }],
  ] as const)(
    '%s: every value is what the program wrote, and the report says who served',
    async (_title, name, first, by) => {
      const roll = delivered(name);
      expect(verdictOf(name).verdict, night.stdout + night.stderr).toBe('ready');
      const files = readdirSync(join(roll, 'grading-master-exr', 'B011C001'))
        .filter((name) => name.endsWith('.exr'))
        .sort();
      expect(files).toHaveLength(FRAMES);
      if (first !== null) expect(files[0]).toBe(`B011C001.${first}.exr`);
      const area = WIDTH * HEIGHT;
      const all = pixelsOf(...files.map((file) => join(roll, 'grading-master-exr', 'B011C001', file)));
      expect(all).toHaveLength(FRAMES * area);
      for (const frame of files.keys()) {
        const pixels = all.slice(frame * area, (frame + 1) * area);
        // Half precision: 11 bits.
        const off = pixels.filter((values, index) =>
          values.some(
            (value, channel) =>
              Math.abs(value - codeAt(frame, index % WIDTH, Math.floor(index / WIDTH), channel) / FULL) >
              2 ** -11 * value + 1e-6,
          ),
        );
        expect(off).toEqual([]);
      }
      const report = await reportOf(roll, 'B011C001');
      expect(report.outcome.linearisation.declared).toMatchObject({
        ...by,
        version: expect.stringMatching(/^[0-9a-f]{12}$/) as unknown,
      });
      expect(report.command).toContain('{file}');
      const header = execFileSync(
        'exrheader',
        [join(roll, 'grading-master-exr', 'B011C001', files[0] as string)],
        { encoding: 'utf8' },
      );
      expect(header).toContain(
        `decoder ${by.decoder} ${(report.outcome.linearisation.declared as { version: string }).version}`,
      );
    },
  );

  test('movies for a display show them; without one none is made, which is said before anything is made', async () => {
    const folder = freshFolder('movies');
    mkdirSync(join(folder, 'day-11', 'B011'), { recursive: true });
    bellMovie(join(folder, 'day-11', 'B011', 'B011C001.bell'), null);
    writeMd5Manifest(join(folder, 'day-11', 'B011'));
    const day = [join(folder, 'day-11'), '--deliver', join(folder, 'delivery'), '--settings', settings];
    const plan = await runCommand(['plan', ...day, '--profile', 'archive-ffv1', '--quiet']);
    expect(plan.code).toBe(1);
    expect(plan.stdout).toContain('[declared-clip-no-movie]');
    // 288 wide: the display is that of editorial-vc3.
    const run = await runCommand([
      'run',
      ...day,
      '--profile',
      'test/campaign/profiles/fitted-vc3.yaml',
      '--quiet',
    ]);
    expect(run.code, run.stdout + run.stderr).toBe(0);
  });
});

describe('a clip is held, and nothing stands under its name, when its decoder', () => {
  test.each(faults)('%s', (_title, roll, _fault, _told, code, said) => {
    expect(night.code).toBe(1);
    const { verdict, findings } = verdictOf(roll);
    expect(verdict).toBe('held');
    const found = findings.filter((item) => item.code === code);
    expect(found, JSON.stringify(findings)).toHaveLength(1);
    expect(found[0]?.found).toMatch(said);
    const made = join(delivered(roll), 'grading-master-exr');
    expect(existsSync(made) ? readdirSync(made) : []).toEqual([]);
  });
});

test('raw frames are decoded by the declared decoder that the settings name, to the same picture as by our own', async () => {
  const [roll, other] = [delivered('A011'), delivered('D011')];
  for (const name of ['A011', 'D011']) expect(verdictOf(name).verdict, night.stdout).toBe('ready');
  // The survey decodes one frame, the master all of them.
  expect(readFileSync(join(tools, 'strips.served'), 'utf8')).toBe('x'.repeat(4));
  const { outcome } = await reportOf(roll, 'A011C001');
  expect(outcome.linearisation).toMatchObject({
    kind: 'raw',
    decoder: 'strips',
    decoderVersion: expect.stringMatching(/^[0-9a-f]{12}$/) as unknown,
  });
  expect((await reportOf(other, 'A011C001')).outcome.linearisation).toMatchObject({
    decoder: 'own',
    decoderVersion: null,
  });
  const frame = (folder: string): number[][] =>
    pixelsOf(
      join(
        folder,
        'grading-master-exr',
        'A011C001',
        readdirSync(join(folder, 'grading-master-exr', 'A011C001')).sort()[2] as string,
      ),
    );
  expect(frame(roll)).toEqual(frame(other));
});

describe('settings that cannot be', () => {
  const declaration = (name: string, command: string): string =>
    `version: 1\nname: ${name}\nsummary: a test\ntakes: { clips: frames, names: ['*.dng'] }\ncommand: [${command}, '{file}']\ngives: { samples: cfa16le }\n`;
  function settingsOf(text: string): string {
    const folder = freshFolder('wrong');
    writeFileSync(join(folder, 'gone.yaml'), declaration('gone', 'gone-program'));
    writeFileSync(join(folder, 'own.yaml'), declaration('own', 'cat'));
    writeFileSync(
      join(folder, 'poor.yaml'),
      'version: 1\nname: poor\nsummary: a test\ncommand: [cat, "{file}"]\ngives: { samples: cfa16le }\n',
    );
    writeFileSync(join(folder, 'show.yaml'), `version: 1\n${text}`);
    return join(folder, 'show.yaml');
  }

  test.each([
    ['a program that is not there', 'decoders: [gone.yaml]\n', 'decoder-program-missing', 'gone-program'],
    [
      'a declaration that is not there',
      'decoders: [nowhere.yaml]\n',
      'decoder-file-unreadable',
      'nowhere.yaml',
    ],
    ['a declaration that says too little', 'decoders: [poor.yaml]\n', 'decoder-file-wrong', 'takes'],
    [
      'a decoder that nobody declares',
      "cameras: [{ name: A, known_by: { rolls: ['A*'] }, raw: { decoder: chime } }]\n",
      'settings-value-wrong',
      'chime',
    ],
    [
      'a declared decoder with the name of ours',
      'decoders: [own.yaml]\n',
      'settings-value-wrong',
      'two decoders called own',
    ],
  ])('%s', async (_title, text, code, said) => {
    const error: unknown = await readSettings(settingsOf(text)).catch((thrown: unknown) => thrown);
    expect(error).toBeInstanceOf(FindingError);
    const { findings, exitCode } = error as FindingError;
    expect(exitCode).toBe(2);
    expect(findings.map((item) => item.code)).toEqual([code]);
    expect(JSON.stringify(findings)).toContain(said);
  });

  test.each(['run', 'plan'])('%s ends before anything is read', async (command) => {
    const path = settingsOf('decoders: [gone.yaml]\n');
    const delivery = join(path, '..', 'delivery');
    // Where a roll would be read there is none, which nobody comes to find out.
    mkdirSync(join(path, '..', 'day-11'));
    const night = await runCommand([
      command,
      join(path, '..', 'day-11'),
      '--deliver',
      delivery,
      '--settings',
      path,
      '--profile',
      'grading-master-exr',
      '--quiet',
    ]);
    expect(night.code).toBe(2);
    expect(night.stdout + night.stderr).toContain('decoder-program-missing');
    expect(existsSync(delivery)).toBe(false);
  });
});
