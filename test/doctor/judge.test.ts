/** What doctor says of machines that are written down here. */
import { describe, expect, test } from 'vitest';
import { finding } from '../../findings/finding.ts';
import type { MachineFacts } from '../../coordinator/doctor/facts.ts';
import { isFit, judge } from '../../coordinator/doctor/judge.ts';
import { needsOf } from '../../coordinator/doctor/needs.ts';
import { doctorText } from '../../coordinator/doctor/text.ts';
import type { FoundTool } from '../../process/locate.ts';
import { builtInProfiles } from '../../profiles/load.ts';

const tool = (name: 'ffmpeg' | 'ffprobe', version: string, more: Partial<FoundTool> = {}): FoundTool => {
  const [major, minor] = version.split('.').map(Number);
  return {
    name,
    path: `/usr/bin/${name}`,
    from: 'path',
    version,
    release: { major: major as number, minor: minor as number },
    build: 'b',
    passedOver: [],
    ...more,
  };
};
const abilities = [
  { kind: 'encoder', name: 'dnxhd', neededFor: ['editorial-vc3'], required: true },
  { kind: 'encoder', name: 'libx264', neededFor: ['review-h264'], required: true },
  { kind: 'filter', name: 'drawtext', neededFor: ['review-h264'], required: true },
  { kind: 'decoder', name: 'dpx', neededFor: ['DPX sequences'], required: false },
] as const;
const needs = { abilities, font: true, masters: true };
const GIB = 1024 ** 3;
const fitMachine: MachineFacts = {
  node: 'v22.11.0',
  platform: 'linux x64',
  cores: 8,
  memoryBytes: 16 * GIB,
  ffmpeg: { found: tool('ffmpeg', '7.1') },
  ffprobe: { found: tool('ffprobe', '7.1') },
  abilities: {
    found: {
      encoders: new Set(['dnxhd', 'libx264']),
      decoders: new Set(['dpx']),
      filters: new Set(['drawtext']),
    },
  },
  store: { found: { path: '/usr/bin/redis-server', from: 'path', product: 'Redis', version: '7.0.15' } },
  queue: null,
  kernels: [
    { name: 'cfa', error: null },
    { name: 'exr', error: null },
  ],
  libraw: 'LibRaw 0.21.2',
  font: '/fonts/mono.ttf',
  volumes: [
    {
      role: 'delivery',
      folder: '/proxies',
      measured: '/proxies',
      freeBytes: 500 * GIB,
      freeFiles: 1_000_000,
      writable: true,
      error: null,
    },
  ],
};
const lineOf = (facts: Partial<MachineFacts>, what: string) =>
  judge({ ...fitMachine, ...facts }, needs).filter((line) => line.what === what);

test('a machine that has everything is fit, and every line is good', () => {
  const lines = judge(fitMachine, needs);
  expect(lines.filter((line) => line.state !== 'good')).toEqual([]);
  expect(lines.map((line) => line.what)).toEqual([
    'Node',
    'ffmpeg',
    'ffprobe',
    'encoders',
    'decoders',
    'filters',
    'kernels',
    'LibRaw',
    'redis-server or valkey-server',
    'font',
    'cores',
    'memory',
    'delivery folder',
  ]);
  expect(isFit(lines)).toBe(true);
});

const lacks: [string, Partial<MachineFacts>, string, string][] = [
  ['Node too old', { node: 'v18.20.4' }, 'Node', 'node-too-old'],
  ['a Node that says nothing', { node: '' }, 'Node', 'node-too-old'],
  [
    'no ffmpeg',
    { ffmpeg: { findings: [finding('tool-missing', 'not on PATH', 'ffmpeg')] }, abilities: null },
    'ffmpeg',
    'tool-missing',
  ],
  [
    'an ffprobe that hangs',
    { ffprobe: { findings: [finding('tool-unusable', 'no answer', 'a line')] } },
    'ffprobe',
    'tool-unusable',
  ],
  [
    'no encoder',
    {
      abilities: {
        found: { encoders: new Set(['dnxhd']), decoders: new Set(['dpx']), filters: new Set(['drawtext']) },
      },
    },
    'encoder libx264',
    'profile-tool-lacks',
  ],
  [
    'no filter',
    {
      abilities: {
        found: { encoders: new Set(['dnxhd', 'libx264']), decoders: new Set(['dpx']), filters: new Set() },
      },
    },
    'filter drawtext',
    'profile-tool-lacks',
  ],
  [
    'lists that could not be read',
    { abilities: { findings: [finding('tool-unusable', 'no answer', 'a list')] } },
    'abilities of ffmpeg',
    'tool-unusable',
  ],
  [
    'no store program',
    { store: { findings: [finding('store-program-missing', 'not on PATH', 'redis-server')] } },
    'redis-server or valkey-server',
    'store-program-missing',
  ],
  [
    'a Redis too old',
    { store: { found: { path: '/r', from: 'environment', product: 'Redis', version: '5.0.7' } } },
    'redis-server or valkey-server',
    'queue-too-old',
  ],
  [
    'a queue that does not answer',
    {
      store: null,
      queue: { address: 'redis://q', findings: [finding('queue-unreachable', 'ECONNREFUSED', 'an answer')] },
    },
    'queue',
    'queue-unreachable',
  ],
  [
    'a kernel that was never compiled',
    {
      kernels: [
        { name: 'cfa', error: null },
        { name: 'exr', error: 'ENOENT: no such file' },
      ],
    },
    'kernels',
    'kernel-missing',
  ],
  ['no font', { font: null }, 'font', 'font-missing'],
  [
    'a delivery that may not be written',
    {
      volumes: [
        {
          role: 'delivery',
          folder: '/p',
          measured: '/p',
          freeBytes: 500 * GIB,
          freeFiles: 1_000_000,
          writable: false,
          error: null,
        },
      ],
    },
    'delivery folder',
    'folder-unusable',
  ],
  [
    'a volume that does not answer',
    {
      volumes: [
        {
          role: 'work',
          folder: '/w',
          measured: '/w',
          freeBytes: null,
          freeFiles: null,
          writable: true,
          error: 'EIO',
        },
      ],
    },
    'work folder',
    'folder-unusable',
  ],
];
test.each(lacks)('%s: lacking, with found, expected and remedy', (_title, facts, what, code) => {
  const lines = lineOf(facts, what);
  expect(lines).toMatchObject([{ state: 'lacking', code }]);
  for (const part of [lines[0]?.expected, lines[0]?.remedy]) expect(part).toMatch(/\w/);
  expect(isFit(judge({ ...fitMachine, ...facts }, needs))).toBe(false);
});

const notes: [string, Partial<MachineFacts>, string, string][] = [
  [
    'an ffmpeg between the oldest and the recommended',
    { ffmpeg: { found: tool('ffmpeg', '5.1') } },
    'ffmpeg',
    'tool-not-recommended',
  ],
  [
    'little room',
    {
      volumes: [
        {
          role: 'delivery',
          folder: '/p',
          measured: '/p',
          freeBytes: 3 * GIB,
          freeFiles: 1_000_000,
          writable: true,
          error: null,
        },
      ],
    },
    'delivery folder',
    'space-low',
  ],
  [
    'room for few files',
    {
      volumes: [
        {
          role: 'delivery',
          folder: '/p',
          measured: '/p',
          freeBytes: 500 * GIB,
          freeFiles: 12,
          writable: true,
          error: null,
        },
      ],
    },
    'delivery folder',
    'space-low',
  ],
  ['no LibRaw', { libraw: null }, 'LibRaw', 'raw-reader-missing'],
  ['one core', { cores: 1 }, 'cores', 'machine-small'],
  ['little memory', { memoryBytes: GIB }, 'memory', 'machine-small'],
  [
    'a decoder that only some sources need',
    {
      abilities: {
        found: {
          encoders: new Set(['dnxhd', 'libx264']),
          decoders: new Set(),
          filters: new Set(['drawtext']),
        },
      },
    },
    'decoder dpx',
    'decoder-missing',
  ],
];
test.each(notes)('%s: told, and the machine is fit all the same', (_title, facts, what, code) => {
  expect(lineOf(facts, what)).toMatchObject([{ state: 'note', code }]);
  expect(isFit(judge({ ...fitMachine, ...facts }, needs))).toBe(true);
});

describe('what need not be', () => {
  test('a snapshot build has no number and is taken as new', () => {
    expect(
      lineOf(
        { ffmpeg: { found: tool('ffmpeg', '0.0', { version: 'N-118193-g5f38c82536', release: null }) } },
        'ffmpeg',
      ),
    ).toMatchObject([{ state: 'good' }]);
  });
  test('any Valkey will do', () => {
    expect(
      lineOf(
        { store: { found: { path: '/v', from: 'path', product: 'Valkey', version: '8.1.1' } } },
        'redis-server or valkey-server',
      ),
    ).toMatchObject([{ state: 'good' }]);
  });
  test('with a shared queue no program for a private one is asked for', () => {
    const lines = judge(
      { ...fitMachine, store: null, queue: { address: 'redis://q:6379', findings: [] } },
      needs,
    );
    expect(lines.map((line) => line.what)).not.toContain('redis-server or valkey-server');
    expect(isFit(lines)).toBe(true);
  });
  test('without masters no kernels, and no LibRaw', () => {
    const lines = judge(
      { ...fitMachine, kernels: [{ name: 'cfa', error: 'ENOENT' }], libraw: null },
      { ...needs, masters: false },
    );
    expect(lines.filter((line) => line.state !== 'good')).toEqual([]);
    expect(lines.map((line) => line.what)).not.toContain('kernels');
  });
  test('without burnt-in text no font', () => {
    expect(isFit(judge({ ...fitMachine, font: null }, { ...needs, font: false }))).toBe(true);
  });
  test('a folder that is not there yet is measured where it will be', () => {
    const [line] = lineOf(
      {
        volumes: [
          {
            role: 'delivery',
            folder: '/p/new',
            measured: '/p',
            freeBytes: 500 * GIB,
            freeFiles: null,
            writable: true,
            error: null,
          },
        ],
      },
      'delivery folder',
    );
    expect(line).toMatchObject({ state: 'good' });
    expect(line?.found).toContain('/p/new (not there yet; measured at /p)');
  });
});

test('a program on PATH that was passed over is reported beside the one that is used', () => {
  const passedOver = [finding('tool-too-old', '/usr/bin/ffmpeg (path): 4.4.2', 'ffmpeg 5.1 or newer')];
  expect(
    lineOf({ ffmpeg: { found: tool('ffmpeg', '7.0.2', { from: 'package', passedOver }) } }, 'ffmpeg'),
  ).toMatchObject([
    { state: 'note', code: 'tool-not-recommended' },
    { state: 'note', code: 'tool-passed-over', found: '/usr/bin/ffmpeg (path): 4.4.2' },
  ]);
});

test('the built-in profiles ask for their encoders and for decoders that read their files back', async () => {
  const asked = needsOf((await builtInProfiles()).map((loaded) => loaded.profile));
  const required = (kind: string): string[] =>
    asked.filter((need) => need.kind === kind && need.required).map((need) => need.name);
  expect(required('encoder').sort()).toEqual([
    'aac',
    'dnxhd',
    'ffv1',
    'libx264',
    'libx265',
    'pcm_f32le',
    'pcm_f64le',
    'pcm_s16le',
    'pcm_s24le',
    'pcm_s32le',
    'pcm_u8',
    'prores_ks',
  ]);
  expect(required('decoder').sort()).toEqual([
    'aac',
    'dnxhd',
    'ffv1',
    'h264',
    'hevc',
    'pcm_f32le',
    'pcm_f64le',
    'pcm_s16le',
    'pcm_s24le',
    'pcm_s32le',
    'pcm_u8',
    'prores',
  ]);
  expect(required('filter')).toContain('drawtext');
  expect(asked.find((need) => need.name === 'hevc')).toMatchObject({
    required: true,
    neededFor: expect.arrayContaining(['HEVC sources', 'checking review-hdr']) as unknown,
  });
});

test('the text has one line for what is good, and found, expected and remedy for what is not', () => {
  const text = doctorText(
    judge(
      {
        ...fitMachine,
        ffmpeg: { findings: [finding('tool-missing', 'not on PATH', 'ffmpeg 5.1 or newer')] },
        abilities: null,
      },
      needs,
    ),
  );
  expect(text).toMatch(/^good {5}Node +v22\.11\.0$/m);
  expect(text).toMatch(
    /^LACKING {2}ffmpeg +found {5}not on PATH\n +expected {2}ffmpeg 5\.1 or newer\n +remedy {4}Run/m,
  );
  expect(text).toMatch(/This machine lacks one thing that a run needs\.\n$/);
});
