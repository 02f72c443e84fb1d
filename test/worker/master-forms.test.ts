/** Forms of masters that a profile chooses: bits of DPX, compressions of OpenEXR, the profile of RDD 36; and what none of them can hold. */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { MasterCheckReport } from '../../check/master/index.ts';
import { walkExr } from '../../check/master/exr/chunks.ts';
import { sourceOfBytes } from '../../check/master/exr/source.ts';
import { decodeAll } from '../../check/master/exr/values.ts';
import type { Job } from '../../ledger/job.ts';
import type { ValuesSeen } from '../../proof/value-range.ts';
import { runJob } from '../../worker/job.ts';
import { encoded } from '../formats/exr/encoded.ts';
import { buildDng, testSamples } from '../support/dng.ts';
import { freshFolder } from '../support/folder.ts';
import { groupFolder, interpretation, reportOf, checkInPlace } from '../support/master.ts';
import { masterJob, movieClip, sequenceClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const WIDTH = 98;
const HEIGHT = 54;
const FRAMES = 3;
const CLIP = 'A001C001';

/** Profiles that stand on a built-in one, as a user writes them. */
function written(folder: string, name: string, lines: readonly string[]): string {
  const path = join(folder, `${name}.yaml`);
  writeFileSync(path, ['version: 1', `name: ${name}`, 'summary: for a test', ...lines, ''].join('\n'));
  return path;
}

/** Frames, without what lies beside them. */
const framesIn = (folder: string): string[] =>
  readdirSync(folder)
    .filter((name) => /\.(?:exr|dpx)$/.test(name))
    .sort()
    .map((name) => join(folder, name));
const filesOf = (job: Job, profile: string): string[] => framesIn(join(job.deliveryFolder, profile, CLIP));

/** By one ffmpeg, planes G, B, R of all frames, which are numbered without a gap. */
function decodedNow(files: readonly string[], pixels: string): Buffer {
  const [, before, number, after] = /^(.*?)(\d+)(\.\w+)$/.exec(files[0] as string) as unknown as string[];
  const input = ['-start_number', number as string, '-i', `${before}%0${number?.length}d${after}`];
  return execFileSync(
    'ffmpeg',
    ['-v', 'error', ...input, '-fps_mode', 'passthrough', '-f', 'rawvideo', '-pix_fmt', pixels, '-'],
    { maxBuffer: 1 << 26 },
  );
}
const known = new Map<string, Buffer>();
/** What was decoded once is kept: nothing changes what a job published. */
function decoded(files: readonly string[], pixels: string): Buffer {
  const key = [pixels, ...files].join('\n');
  const values = known.get(key) ?? decodedNow(files, pixels);
  known.set(key, values);
  return values;
}
const words = (bytes: Buffer): number[] =>
  Array.from({ length: bytes.length / 2 }, (_, at) => bytes.readUInt16LE(2 * at));
const floats = (bytes: Buffer): number[] =>
  Array.from({ length: bytes.length / 4 }, (_, at) => bytes.readFloatLE(4 * at));

let job: Job;
beforeAll(async () => {
  const folder = groupFolder('profiles');
  const clip = await movieClip(groupFolder('movie-roll'), {
    frames: FRAMES,
    rate: '24000/1001',
    size: `${WIDTH}x${HEIGHT}`,
    timecode: '10:00:00:00',
    codec: 'prores',
    audio: [2],
  });
  job = await masterJob(
    clip,
    groupFolder('forms'),
    [
      'grading-master-exr',
      'dpx-10',
      written(folder, 'dpx-12', ['extends: dpx-10', 'bits: 12']),
      written(folder, 'dpx-16', ['extends: dpx-10', 'bits: 16']),
      written(folder, 'exr-zips', ['extends: grading-master-exr', 'compression: zips']),
      written(folder, 'exr-piz', ['extends: grading-master-exr', 'compression: piz']),
      written(folder, 'exr-dwaa', ['extends: grading-master-exr', 'compression: dwaa']),
      written(folder, 'exr-dwab', ['extends: grading-master-exr', 'compression: dwab', 'dwa_level: 90']),
      written(folder, 'movie-xq', ['extends: grading-master-4444', 'quality: 4444-xq']),
    ],
    interpretation,
  );
  await runJob(job, await workContext());
}, 240_000);

test.each(['grading-master-exr', 'exr-zips', 'exr-piz', 'exr-dwaa', 'exr-dwab'])(
  '%s: published, proved, nothing limited',
  async (profile) => {
    const { state, findings, checks } = await reportOf(job, profile);
    expect(state).toBe('published');
    expect(findings).toEqual([]);
    expect(checks.every(({ status }) => status === 'passed')).toBe(true);
  },
);

test.each([
  ['exr-zips', 'zip, individual scanlines'],
  ['exr-piz', 'piz'],
])("%s: OpenEXR's own reader finds the same pixels as in ZIP", (profile, words) => {
  const files = filesOf(job, profile);
  expect(files).toHaveLength(FRAMES);
  const headers = execFileSync('exrheader', files, { encoding: 'utf8' });
  expect(headers.split(`compression (type compression): ${words}`)).toHaveLength(FRAMES + 1);
  const pairs = filesOf(job, 'grading-master-exr').flatMap((file, index) => [
    ...[file, files[index] as string],
    ...['--fail', '0', '--hardfail', '0', '--diff'],
  ]);
  expect(execFileSync('oiiotool', pairs, { encoding: 'utf8' }).match(/^PASS$/gm)).toHaveLength(FRAMES);
});

test.each([
  ['exr-dwaa', 'dwa, small scanline blocks', 45],
  ['exr-dwab', 'dwa, medium scanline blocks', 90],
])("%s: OpenEXR's own reader reads the level, and pixels near those in ZIP", (profile, words, level) => {
  const files = filesOf(job, profile);
  const headers = execFileSync('exrheader', files, { encoding: 'utf8' });
  expect(headers.match(new RegExp(`compression\\): ${words}`, 'g'))).toHaveLength(FRAMES);
  expect(headers.match(new RegExp(`dwaCompressionLevel \\(type float\\): ${level}`, 'g'))).toHaveLength(
    FRAMES,
  );
  const folder = freshFolder('plain');
  const plain = files.map((_, index) => join(folder, `plain.${index}.exr`));
  // The command in their headers, which is long, is more than ffmpeg reads of one attribute.
  execFileSync('oiiotool', [
    '--nosoftwareattrib',
    ...files.flatMap((file, index) => [file, '--compression', 'none', '-o', plain[index] as string]),
  ]);
  const inZip = filesOf(job, 'grading-master-exr');
  const [zips, dwas] = [inZip, plain].map((all) => floats(decoded(all, 'gbrpf32le'))) as [number[], number[]];
  const onCurve = (value: number): number =>
    Math.sign(value) *
    (Math.abs(value) <= 1 ? Math.abs(value) ** (1 / 2.2) : 1 + Math.log(Math.abs(value)) / 2.2);
  const values = zips.length / FRAMES;
  expect(values).toBe(3 * WIDTH * HEIGHT);
  for (const [index, file] of inZip.entries()) {
    const [zip, dwa] = [zips, dwas].map((all) => all.slice(index * values, (index + 1) * values)) as [
      number[],
      number[],
    ];
    const squares = zip.reduce(
      (sum, value, at) => sum + (onCurve(value) - onCurve(dwa[at] as number)) ** 2,
      0,
    );
    // 0.00264 at level 45 by arithmetic (check/master/loss.ts), in proportion at others; and half as much again.
    expect(Math.sqrt(squares / zip.length)).toBeLessThan((1.5 * 0.00264 * level) / 45);
    expect(Math.sqrt(squares / zip.length)).toBeGreaterThan(0);
    expect(readFileSync(files[index] as string).length).toBeLessThan(readFileSync(file).length);
  }
});

test('the report has the least and the greatest of each channel, as OpenImageIO finds them', async () => {
  const { checks } = await reportOf(job, 'grading-master-exr');
  const values = checks.find(({ check }) => check === 'whole-frames')?.values;
  const said = execFileSync('oiiotool', ['--stats', ...filesOf(job, 'grading-master-exr')], {
    encoding: 'utf8',
  });
  const ends = (name: string): number[][] =>
    [...said.matchAll(new RegExp(`Stats ${name}: ([-\\d.e ]+)`, 'g'))].map((found) =>
      (found[1] as string).trim().split(/\s+/).map(Number),
    );
  const [least, greatest] = [ends('Min'), ends('Max')];
  expect([least.length, greatest.length]).toEqual([FRAMES, FRAMES]);
  expect(values?.pixels).toBe(FRAMES * WIDTH * HEIGHT);
  for (const [at, channel] of ['R', 'G', 'B'].entries()) {
    const found = values?.channels.find((one) => one.channel === channel);
    // It prints six places behind the point.
    expect(found?.least).toBeCloseTo(Math.min(...least.map((of) => of[at] as number)), 4);
    expect(found?.greatest).toBeCloseTo(Math.max(...greatest.map((of) => of[at] as number)), 3);
  }
});

describe.each([
  [10, 'dpx-10', 'gbrp10le'],
  [12, 'dpx-12', 'gbrp12le'],
  [16, 'dpx-16', 'gbrp16le'],
])('DPX of %d bits', (bits, profile, pixels) => {
  const most = 2 ** bits - 1;

  test("ffmpeg decodes the ACEScct of the other master's values, and OpenImageIO reads the bits", async () => {
    const codes = words(decoded(filesOf(job, profile), pixels));
    const linear = floats(decoded(filesOf(job, 'grading-master-exr'), 'gbrpf32le'));
    const count = WIDTH * HEIGHT;
    let [worst, compared] = [0, 0];
    for (let frame = 0; frame < FRAMES; frame += 1)
      for (let pixel = 0; pixel < count; pixel += 1) {
        const at = 3 * count * frame + pixel;
        const [g, b, r] = [0, 1, 2].map((plane) => linear[at + plane * count] as number) as [
          number,
          number,
          number,
        ];
        // Academy TB-2014-004: AP0 to AP1.
        const green = -0.0765537734 * r + 1.1762296998 * g - 0.0996759264 * b;
        // Where no channel is great, rounding to half floats before the logarithm costs 2^-12 of a stop's logarithm.
        if (green < 0.02 || Math.max(r, g, b) > 4 * green || Math.min(r, g, b) < 0) continue;
        const wanted = (most * (Math.log2(green) + 9.72)) / 17.52;
        worst = Math.max(worst, Math.abs((codes[at] as number) - wanted));
        compared += 1;
      }
    expect(compared).toBeGreaterThan(100);
    expect(worst).toBeLessThan(0.52 + (most / 17.52 / Math.LN2) * 8 * 2 ** -12);
    const said = execFileSync('iinfo', ['-v', filesOf(job, profile)[0] as string], { encoding: 'utf8' });
    expect(said).toContain(`${WIDTH} x   ${HEIGHT}, 3 channel, uint${bits === 16 ? '16' : bits} dpx`);
  });

  test('what it cannot hold is a note, with as many values as ffmpeg finds beyond the scale', async () => {
    const { findings, checks, state } = await reportOf(job, profile);
    expect([state, findings.map(({ code }) => code)]).toEqual(['published', ['encoder-input-limited']]);
    const [, limited] = /^(\d+) of \d+ values limited/.exec(findings[0]?.found ?? '') ?? [];
    const linear = floats(decoded(filesOf(job, 'grading-master-exr'), 'gbrpf32le'));
    const count = WIDTH * HEIGHT;
    let beyond = 0;
    for (let frame = 0; frame < FRAMES; frame += 1)
      for (let pixel = 0; pixel < count; pixel += 1) {
        const at = 3 * count * frame + pixel;
        const [g, b, r] = [0, 1, 2].map((plane) => linear[at + plane * count] as number) as [
          number,
          number,
          number,
        ];
        const ap1 = [
          1.4514393161 * r - 0.2365107469 * g - 0.2149285693 * b,
          -0.0765537734 * r + 1.1762296998 * g - 0.0996759264 * b,
          0.0083161484 * r - 0.0060324498 * g + 0.9977163014 * b,
        ];
        for (const value of ap1) {
          const code =
            most *
            (value <= 0.0078125
              ? 10.5402377416545 * value + 0.0729055341958355
              : (Math.log2(value) + 9.72) / 17.52);
          if (code < -0.5 || code >= most + 0.5) beyond += 1;
        }
      }
    expect(beyond).toBeGreaterThan(100);
    expect(Math.abs(Number(limited) / beyond - 1)).toBeLessThan(0.02);
    expect(checks.find(({ check }) => check === 'whole-frames')?.values?.atEnds).toBeGreaterThanOrEqual(
      Number(limited),
    );
  });
});

test('XQ is XQ to ffprobe, and says in its own metadata what its codes are', async () => {
  const { state, checks, findings } = await reportOf(job, 'movie-xq');
  expect([state, findings.filter(({ code }) => code !== 'encoder-input-limited')]).toEqual(['published', []]);
  expect(checks.every(({ status }) => status === 'passed')).toBe(true);
  const said = JSON.parse(
    execFileSync(
      'ffprobe',
      [
        '-v',
        'error',
        '-show_streams',
        '-show_format',
        '-of',
        'json',
        join(job.deliveryFolder, 'movie-xq', `${CLIP}.mov`),
      ],
      { encoding: 'utf8' },
    ),
  ) as { streams: Record<string, string>[]; format: { tags: Record<string, string> } };
  expect(said.streams[0]).toMatchObject({ profile: 'XQ', codec_tag_string: 'ap4x', color_space: 'bt709' });
  expect(said.format.tags.comment).toBe(
    "ACEScct (Academy S-2016-001), primaries AP1, as Y'CbCr with the matrix of ITU-R BT.709, limited range, encoded from 10 bits",
  );
});

describe('a spoiled copy does not pass', () => {
  async function checked(
    profile: string,
    spoil: (bytes: Buffer) => unknown,
    seen?: ValuesSeen,
  ): Promise<MasterCheckReport> {
    const folder = join(freshFolder('spoiled'), CLIP);
    cpSync(join(job.deliveryFolder, profile, CLIP), folder, { recursive: true });
    const path = framesIn(folder)[1] as string;
    const bytes = readFileSync(path);
    const other = await spoil(bytes);
    writeFileSync(path, Buffer.isBuffer(other) ? other : bytes);
    return await checkInPlace(job, profile, folder, seen);
  }
  const flip =
    (place: (bytes: Buffer) => number) =>
    (bytes: Buffer): void => {
      const at = place(bytes);
      bytes[at] = (bytes[at] as number) ^ 0x10;
    };

  test.each(['dpx-12', 'dpx-16', 'exr-zips', 'exr-piz', 'exr-dwaa', 'exr-dwab'])(
    '%s unspoiled passes',
    async (profile) => {
      expect(await checked(profile, () => undefined)).toMatchObject({ passed: true, findings: [] });
    },
  );

  test.each([
    [
      'exr-piz',
      'a byte of a chunk',
      flip((bytes) => bytes.length - 3000),
      /master-(structure-wrong|picture-differs)/,
    ],
    [
      'exr-zips',
      'a byte of a chunk',
      flip((bytes) => bytes.length - 1500),
      /master-(structure-wrong|picture-differs)/,
    ],
    [
      'dpx-12',
      'a bit behind a code',
      (bytes: Buffer) => void (bytes[2049] = (bytes[2049] as number) | 1),
      /master-structure-wrong/,
    ],
    ['dpx-12', 'a code, its top bit', flip((bytes) => bytes.length - 1000), /master-picture-differs/],
    [
      'dpx-16',
      'the last bit of a code',
      (bytes: Buffer) => void (bytes[3001] = (bytes[3001] as number) ^ 1),
      /master-picture-differs/,
    ],
    [
      'dpx-16',
      'packing of another kind',
      (bytes: Buffer) => void bytes.writeUInt16BE(1, 804),
      /master-structure-wrong/,
    ],
    [
      'dpx-12',
      'bits of another number',
      (bytes: Buffer) => void bytes.writeUInt8(16, 803),
      /master-structure-wrong/,
    ],
    [
      'dpx-16',
      'another highest code',
      (bytes: Buffer) => void bytes.writeUInt32BE(1023, 792),
      /master-header-differs/,
    ],
  ])('%s: %s', async (profile, _what, spoil, code) => {
    const { passed, findings } = await checked(profile, spoil);
    expect(passed).toBe(false);
    expect(findings.map((item) => item.code).join(' ')).toMatch(code);
  });

  /** The header of one file and, behind it, what another has behind its own. */
  const behindItsHeader = async (own: Buffer, from: Buffer): Promise<Buffer> => {
    const [end, fromEnd] = await Promise.all(
      [own, from].map(async (bytes) => (await walkExr(sourceOfBytes(bytes))).header.end),
    );
    if (end === undefined || fromEnd === undefined) throw new Error('no header');
    const body = Buffer.from(from.subarray(fromEnd));
    // Places in the offset table count from the beginning of the file.
    const first = Number(body.readBigUInt64LE(0)) - fromEnd;
    for (let at = 0; at < first; at += 8)
      body.writeBigUInt64LE(body.readBigUInt64LE(at) + BigInt(end - fromEnd), at);
    return Buffer.concat([own.subarray(0, end), body]);
  };
  const frameOf =
    (profile: string, frame: number) =>
    (own: Buffer): Promise<Buffer> =>
      behindItsHeader(own, readFileSync(filesOf(job, profile)[frame] as string));
  /** The same picture, changed before it is coded. */
  const codedAgain =
    (level: number, change: (value: number) => number = (value) => value) =>
    async (own: Buffer): Promise<Buffer> => {
      const planes = await decodeAll(
        sourceOfBytes(readFileSync(filesOf(job, 'grading-master-exr')[1] as string)),
      );
      const plane = (name: string): Float32Array => (planes.get(name) as Float32Array).map(change);
      const { bytes } = await encoded(
        { width: WIDTH, height: HEIGHT, container: 'exr', compression: 'dwaa', level },
        { r: plane('R'), g: plane('G'), b: plane('B') },
      );
      return await behindItsHeader(own, bytes);
    };
  const picture = /master-picture-differs/;

  test.each([
    [
      'a byte of a chunk',
      'exr-dwaa',
      flip((bytes) => bytes.length - 2000),
      /master-structure-wrong|bitstream-differs/,
    ],
    ['the picture of the next frame', 'exr-dwaa', frameOf('exr-dwaa', 2), picture],
    ['coded at another level', 'exr-dwaa', codedAgain(200), picture],
    ['coded at twice the level', 'exr-dwaa', codedAgain(90), /master-picture-differs|bitstream-differs/],
    ['a fiftieth brighter', 'exr-dwaa', codedAgain(45, (value) => 1.02 * value), picture],
    [
      'a level in the header that is another',
      'exr-dwaa',
      (bytes: Buffer): unknown => bytes.writeFloatLE(46, bytes.indexOf('dwaCompressionLevel') + 30),
      /master-header-differs/,
    ],
  ] as const)('DWA, %s', async (_what, profile, spoil, code) => {
    const { passed, findings } = await checked(profile, spoil);
    expect(passed).toBe(false);
    const codes = findings.map((item) => item.code);
    expect(codes.join(' ')).toMatch(code);
    // By what its values are, and not because it cannot be read.
    if (code === picture) expect(codes).not.toContain('master-structure-wrong');
  });

  test('counts of the maker that the files do not show', async () => {
    const range = { least: [0, 0, 0], greatest: [1, 1, 1], overWhite: 0 } as const;
    const none = { below: 0, above: 0, least: 0, greatest: 1 };
    const seen = (profile: string, limited: typeof none): Promise<MasterCheckReport> =>
      checked(profile, () => undefined, {
        ranges: Array(FRAMES).fill(range),
        limited: Array(FRAMES).fill(limited),
      });
    const dpx = await seen('dpx-12', { ...none, below: 3 * WIDTH * HEIGHT });
    expect(dpx.findings.find(({ code }) => code === 'master-picture-differs')?.found).toMatch(
      /\d+ values at the ends of the scale, and 15876 were limited/,
    );
    expect(
      (await seen('exr-piz', none)).findings.find(({ code }) => code === 'master-picture-differs')?.found,
    ).toMatch(/R goes to [-\d.]+, and its maker saw 0/);
    // What loses something is held to what its level may lose at all.
    expect(
      (await seen('exr-dwaa', none)).findings.find(({ code }) => code === 'master-picture-differs')?.found,
    ).toMatch(/R goes to [-\d.]+, and its maker saw [01]/);
    const [short] = (await checked('exr-zips', () => undefined, { ranges: [], limited: [] })).findings;
    expect(short?.found).toContain('nobody counted what its form had no room for');
  });
});

test('raw frames whose table goes far beyond their white level are a note: most of the clip is brighter than white', async () => {
  const rollFolder = groupFolder('raw-roll');
  mkdirSync(join(rollFolder, CLIP), { recursive: true });
  for (let frame = 0; frame < 2; frame += 1)
    writeFileSync(
      join(rollFolder, CLIP, `${CLIP}_${String(frame + 101).padStart(6, '0')}.dng`),
      buildDng({
        width: 64,
        height: 48,
        samples: testSamples(64, 48, 8, frame + 1),
        bits: 8,
        rate: [24, 1],
        timecode: `01:00:00:0${frame}`,
        tags: [
          // LinearizationTable (DNG 1.6) to 4095, and no WhiteLevel: then white is 2^8 - 1.
          {
            tag: 50712,
            type: 'short',
            values: Array.from({ length: 256 }, (_, code) => Math.round((4095 * code) / 255)),
          },
          { tag: 50717, type: 'long', values: [] },
          { tag: 50714, type: 'long', values: [] },
        ],
      }),
    );
  const clip = await sequenceClip(rollFolder, {
    kind: 'sequence',
    folder: CLIP,
    prefix: `${CLIP}_`,
    suffix: '.dng',
    padding: 6,
    first: 101,
    count: 2,
    statedRate: null,
  });
  const raw = await masterJob(clip, freshFolder('over-bright'), ['grading-master-exr']);
  await runJob(raw, await workContext());
  const { state, findings } = await reportOf(raw, 'grading-master-exr');
  expect([state, findings.map(({ code }) => code)]).toEqual(['published', ['master-over-bright']]);
  expect(findings[0]?.found).toMatch(/^\d+ % of the pixels above scene-linear 1\.0 in every channel/);
});
