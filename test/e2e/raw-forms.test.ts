/** Raw frames that phones, drones and converters write, through a whole night: LinearRaw, frames that lie on their side, corrections that they ask for. */
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { runForOutput } from '../../process/run.ts';
import { commandProcess, runCli } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { type DngOptions, buildDng } from '../support/dng.ts';
import { sharedFolder } from '../support/folder.ts';
import { runWords } from '../support/night.ts';
import { further } from '../support/lane.ts';
import { gainMap, opcodeList, reach, vignette, warp } from '../support/opcodes.ts';

const runCommand = commandProcess();
const base = join(sharedFolder, 'raw-forms');
const day = join(base, 'day-08');
const delivery = join(base, 'delivery');
const [WIDTH, HEIGHT, FRAMES] = [160, 96, 2];

/** Camera values of a scene: a bell in bronze on a slope, a mark in its upper left corner, so that it is seen which way it lies. */
function scene(x: number, y: number, frame: number): readonly [number, number, number] {
  if (x < 40 && y < 24 && (y < 8 || x < 8)) return [0.3, 0.4, 0.1];
  const inBell = Math.hypot((x - 90 - 2 * frame) / 30, (y - 50) / 36) < 1;
  const light = 0.05 + (0.3 * x) / WIDTH;
  return inBell ? [0.25, 0.3, 0.1] : [light * 0.45, light, light * 0.6];
}

function samples(linearRaw: boolean, frame: number): Uint16Array {
  const out = new Uint16Array(WIDTH * HEIGHT * (linearRaw ? 3 : 1));
  for (let y = 0; y < HEIGHT; y += 1)
    for (let x = 0; x < WIDTH; x += 1) {
      const codes = scene(x, y, frame).map((value) => Math.round(value * 4000));
      if (linearRaw) out.set(codes, (y * WIDTH + x) * 3);
      else out[y * WIDTH + x] = codes[(y % 2) + (x % 2)] as number;
    }
  return out;
}

const WHITE = { tag: 50_717, type: 'long', values: [4000] } as const;
const whole = [0, 0, HEIGHT, WIDTH] as const;
const rolls: Readonly<Record<string, Partial<DngOptions>>> = {
  // As phones and converters write it.
  P001: { linearRaw: true, jpeg: { components: 3 }, tags: [{ ...WHITE, values: [4000, 4000, 4000] }] },
  P002: { tags: [WHITE, { tag: 274, type: 'short', values: [6] }] },
  P003: {
    linearRaw: true,
    tags: [
      { ...WHITE, values: [4000, 4000, 4000] },
      { tag: 274, type: 'short', values: [3] },
    ],
  },
  P004: {
    tags: [
      WHITE,
      opcodeList(1, [{ id: 5, fields: [['u32', 0, 1, 0, 50, 60]] }]),
      opcodeList(2, [gainMap(reach(whole), 1, 2, [1, 2])]),
      opcodeList(3, [vignette([0.5, 0.2, 0, 0, 0]), { ...warp([[0.96, 0.04, 0, 0, 0, 0]]), flags: 1 }]),
    ],
  },
  // Nobody knows what it asks, and it may not be passed over.
  P005: { tags: [WHITE, opcodeList(3, [{ id: 77, fields: [['u32', 1]] }])] },
  P006: { tags: [WHITE, opcodeList(3, [{ id: 77, fields: [['u32', 1]] }, vignette([3, 0, 0, 0, 0])])] },
};

/** LinearRaw, a mosaic that lies on its side, and one that is corrected. */
const developedByHalf = ['P001', 'P002', ...further('P004')];

interface RollVerdict {
  readonly verdict: string;
  readonly findings: readonly { readonly code: string; readonly found: string }[];
}
const verdictOf = (roll: string): RollVerdict =>
  JSON.parse(readFileSync(join(delivery, 'day-08', roll, 'roll.json'), 'utf8')) as RollVerdict;

interface Frame {
  readonly width: number;
  readonly height: number;
  readonly text: string;
  readonly at: (x: number, y: number) => readonly number[];
}
const known = new Map<string, Promise<Frame>>();
/** Values of the first master frame of a roll, as OpenImageIO reads them, each read once. */
function frameOf(roll: string, profile = 'grading-master-exr'): Promise<Frame> {
  const key = `${roll} ${profile}`;
  const frame = known.get(key) ?? readFrame(roll, profile);
  known.set(key, frame);
  return frame;
}
async function readFrame(roll: string, profile: string): Promise<Frame> {
  const folder = join(delivery, 'day-08', roll, profile, `${roll}C001`);
  const file = join(
    folder,
    readdirSync(folder)
      .filter((name) => name.endsWith('.exr'))
      .sort()[0] ?? '',
  );
  const { stdout } = await runForOutput('oiiotool', ['--info', '-v', '--dumpdata', file]);
  const text = stdout.toString('utf8');
  const [, width = '0', height = '0'] = /: +(\d+) x +(\d+), 3 channel/.exec(text) ?? [];
  const pixels = new Map<string, number[]>();
  for (const [, x, y, values] of text.matchAll(/Pixel \((\d+), (\d+)\): (.*)/g))
    pixels.set(`${x},${y}`, (values ?? '').trim().split(/\s+/).map(Number));
  return {
    width: Number(width),
    height: Number(height),
    text,
    at: (x, y) => pixels.get(`${x},${y}`) ?? [],
  };
}

/** AP0 of camera values .3 .4 .1 under the test camera's matrices, computed by other code (test/raw/develop-colour.test.ts). */
const MARK = [0.535611, 0.418321, 0.053682];
const isMark = (values: readonly number[]): boolean =>
  values.length === 3 && values.every((value, channel) => Math.abs(value - (MARK[channel] as number)) < 5e-4);

beforeAll(async () => {
  for (const [roll, options] of Object.entries(rolls)) {
    const folder = join(day, roll, `${roll}C001`);
    mkdirSync(folder, { recursive: true });
    for (let frame = 0; frame < FRAMES; frame += 1)
      writeFileSync(
        join(folder, `${roll}C001_${String(frame + 1).padStart(6, '0')}.dng`),
        buildDng({
          width: WIDTH,
          height: HEIGHT,
          samples: samples(options.linearRaw === true, frame),
          bits: 12,
          rate: [24, 1],
          timecode: `08:00:00:${String(frame).padStart(2, '0')}`,
          ...options,
        }),
      );
    writeMd5Manifest(join(day, roll));
  }
  const settings = join(base, 'show.yaml');
  const half = join(base, 'exr-half.yaml');
  writeFileSync(
    half,
    'version: 1\nname: exr-half\nsummary: half as wide and high\nextends: grading-master-exr\ndevelopment: { demosaic: half }\n',
  );
  writeFileSync(
    settings,
    `version: 1\nshow: { profiles: [grading-master-exr] }\nrolls:\n  P006: { raw: { corrections: leave } }\n${developedByHalf
      .map((roll) => `  ${roll}: { profiles: [grading-master-exr, ${half}] }\n`)
      .join('')}`,
  );
  await runCli(
    runWords(
      { day, delivery, work: join(base, 'work'), profiles: [] },
      '--settings',
      settings,
      '--workers',
      '1',
    ),
  );
}, 400_000);

test('rolls of LinearRaw, of turned frames and of corrections that are made are ready', () => {
  for (const roll of ['P001', 'P002', 'P003', 'P004'])
    expect([roll, verdictOf(roll)]).toMatchObject([roll, { verdict: 'ready' }]);
});

test('LinearRaw has the colours that other code computes', async () => {
  const { width, height, at, text } = await frameOf('P001');
  expect([width, height]).toEqual([WIDTH, HEIGHT]);
  expect(isMark(at(4, 12)), String(at(4, 12))).toBe(true);
  expect(text).not.toContain('turned');
});

test('frames that lie on their side, or upside down, stand upright', async () => {
  // Orientation 6: what is stored left is at the top.
  const side = await frameOf('P002');
  expect([side.width, side.height]).toEqual([HEIGHT, WIDTH]);
  expect(isMark(side.at(HEIGHT - 1 - 4, 20))).toBe(true);
  expect(isMark(side.at(HEIGHT - 1 - 14, 3))).toBe(true);
  expect(isMark(side.at(HEIGHT - 1 - 14, 20))).toBe(false);
  expect(side.text).toContain('turned 90 degrees clockwise');
  const upside = await frameOf('P003');
  expect([upside.width, upside.height]).toEqual([WIDTH, HEIGHT]);
  expect(isMark(upside.at(WIDTH - 1 - 20, HEIGHT - 1 - 4))).toBe(true);
});

/** AP0 below a full sensor is a matrix of camera values: where four pixels are far from an edge of colours, a block is their mean. */
test.each(developedByHalf)(
  '%s developed by half is half as wide and high, upright, and each pixel the mean of four',
  async (roll) => {
    const [whole, half] = [await frameOf(roll), await frameOf(roll, 'exr-half')];
    expect([half.width, half.height]).toEqual([whole.width / 2, whole.height / 2]);
    expect(half.text).toContain('demosaic half');
    const mosaic = roll !== 'P001';
    let compared = 0;
    for (let y = 2; y < half.height - 2; y += 3)
      for (let x = 2; x < half.width - 2; x += 3) {
        const from = (first: number, last: number): (readonly number[])[] => {
          const places = Array.from({ length: last - first + 1 }, (_, at) => first + at);
          return places.flatMap((down) => places.map((beside) => whole.at(2 * x + beside, 2 * y + down)));
        };
        const of = (channel: number, values: (readonly number[])[]): number[] =>
          values.map((pixel) => pixel[channel] as number);
        // Of a mosaic each method finds colours in its own way where they change.
        const isFlat = [0, 1, 2].every((channel) => {
          const around = of(channel, from(-2, 3));
          return Math.max(...around) - Math.min(...around) < 0.02;
        });
        if (mosaic && !isFlat) continue;
        compared += 1;
        for (const channel of [0, 1, 2]) {
          const mean = of(channel, from(0, 1)).reduce((sum, value) => sum + value, 0) / 4;
          const off = Math.abs((half.at(x, y)[channel] as number) - mean);
          expect(off, `${x}, ${y}, channel ${channel}`).toBeLessThan(
            mosaic ? 0.004 : 2e-4 + Math.abs(mean) / 1000,
          );
        }
      }
    expect(compared).toBeGreaterThan(100);
  },
);

test('an audit of all of it says the same as the night', async () => {
  const { code, stdout } = await runCommand(['audit', delivery, '--json']);
  const { rolls } = JSON.parse(stdout) as { rolls: { roll: string; measured: string }[] };
  expect(rolls.length).toBe(6);
  expect(rolls.filter(({ measured }) => measured !== 'ready').map(({ roll }) => roll)).toEqual(['P005']);
  expect(code).toBe(1);
}, 120_000);

test('what was corrected stands in every header', async () => {
  const { text } = await frameOf('P004');
  expect(text).toContain(
    'corrections FixBadPixelsList (list 1), GainMap (list 2), FixVignetteRadial (list 3), WarpRectilinear (list 3)',
  );
});

test('a correction that nobody knows and that must be made holds, in words, and goes on by choice', async () => {
  expect(verdictOf('P005').verdict).toBe('held');
  expect(verdictOf('P005').findings).toContainEqual(
    expect.objectContaining({ code: 'raw-opcode-not-applied', found: 'opcode 77 (list 3): not known here' }),
  );
  expect(verdictOf('P006')).toMatchObject({ verdict: 'ready' });
  expect(verdictOf('P006').findings).toContainEqual(
    expect.objectContaining({
      code: 'raw-opcode-left-out',
      found: 'opcode 77 (list 3): not known here; FixVignetteRadial (list 3)',
    }),
  );
  // The mark in the corner, with a gain of 4 if it had been made.
  expect(isMark((await frameOf('P006')).at(3, 20))).toBe(true);
});
