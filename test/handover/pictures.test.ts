/** Relinking by pictures: a frame of a proxy or master, followed back by the bin that lies beside it, shows the frame of the source to which it leads, and no neighbour of it. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { beforeAll, expect, test } from 'vitest';
import { readEdl } from '../../handover/edl/read.ts';
import { clipsOf, type OtioClip, type OtioReference, readOtio } from '../../handover/otio/read.ts';
import { sourceFrameAt } from '../../handover/relink.ts';
import { parseRate } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import { commandProcess } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { runWords } from '../support/night.ts';

beforeAll(makeDelivered);
const run = commandProcess();

interface Made {
  /** The shoot day, and the folder of the day in the delivery. */
  readonly shot: string;
  readonly day: string;
  /** Frames that are drawn. */
  readonly draws: number;
  readonly clips: readonly string[];
}

const settings = `version: 1
show:
  project_rate: 24
  input: { name: bt709 }
rolls:
  B012: { off_speed: project-rate }
`;

/** Drop-frame over a minute and over midnight, twice as fast as the project, in two files; proxies and masters of all. */
async function mixed(): Promise<Made> {
  const folder = freshFolder('pictures');
  const shot = join(folder, 'day-12');
  await makeDay(shot, {
    A012: {
      'A012C001.mov': { frames: 40, rate: '30000/1001', timecode: '00:01:58;20' },
      'A012C002.mov': { frames: 37, rate: '30000/1001', timecode: '23:59:59;10' },
    },
    B012: { 'B012C001.mov': { frames: 48, rate: '48', timecode: '10:00:00:10', audio: [] } },
    C012: {
      'C012C001.mov': { frames: 24, rate: '24', timecode: '11:00:00:00', audio: [] },
      // Fewer frames than the first part, and the same pictures: a frame that is sought in the wrong part or at the wrong place in it is not there, or shows another.
      'C012C001_1.mov': { frames: 17, rate: '24', timecode: '11:00:01:00', audio: [] },
    },
  });
  const file = join(folder, 'show.yaml');
  mkdirSync(folder, { recursive: true });
  writeFileSync(file, settings);
  const delivery = join(folder, 'delivery');
  const night = await run(
    runWords(
      {
        day: shot,
        delivery,
        work: join(folder, 'work'),
        profiles: ['test/fixtures/profiles/small-vc3.yaml', 'grading-master-exr'],
      },
      ...['--settings', file],
    ),
  );
  expect(night.code, night.stdout + night.stderr).toBe(0);
  return {
    shot,
    day: join(delivery, 'day-12'),
    draws: 100,
    clips: ['A012C001', 'A012C002', 'B012C001', 'C012C001'],
  };
}

const plain = async (): Promise<Made> => ({
  shot: delivered.day,
  day: join(delivered.delivery, 'day-07'),
  draws: 10,
  clips: ['A005C001', 'A005C002'],
});

const [WIDTH, HEIGHT] = [160, 90];
const decoded = new Map<string, Float64Array[]>();

/** Small grey pictures of all frames, each of mean 0 and length 1: levels and curves count for little. Decoded by ffmpeg, once. */
function pictures(key: string, input: readonly string[]): Float64Array[] {
  const known = decoded.get(key);
  if (known !== undefined) return known;
  const bytes = execFileSync(
    'ffmpeg',
    [
      ...['-hide_banner', '-loglevel', 'error', '-nostdin', ...input],
      ...['-map', '0:v', '-fps_mode', 'passthrough'],
      ...['-vf', `scale=${WIDTH}:${HEIGHT}:flags=area,format=gray`, '-f', 'rawvideo', '-'],
    ],
    { maxBuffer: 2 ** 28 },
  );
  const size = WIDTH * HEIGHT;
  const frames = Array.from({ length: bytes.length / size }, (_, at) => {
    const one = Float64Array.from(bytes.subarray(at * size, (at + 1) * size));
    const mean = one.reduce((sum, value) => sum + value, 0) / size;
    const centred = one.map((value) => value - mean);
    const length = Math.hypot(...centred);
    return centred.map((value) => value / length);
  });
  decoded.set(key, frames);
  return frames;
}

const alike = (a: Float64Array, b: Float64Array): number =>
  a.reduce((sum, value, at) => sum + value * (b[at] ?? 0), 0);

/** Frames of what a reference leads to, from the folder that the bin lies in. */
function picturesOf(reference: OtioReference, folder: string): Float64Array[] {
  const place = (url: string): string => fileURLToPath(new URL(url, pathToFileURL(`${folder}/`)));
  if (reference.OTIO_SCHEMA === 'ExternalReference.1') {
    const path = place(reference.target_url);
    return pictures(path, ['-i', path]);
  }
  if (reference.OTIO_SCHEMA !== 'ImageSequenceReference.1') throw new Error(reference.OTIO_SCHEMA);
  const {
    target_url_base: base,
    name_prefix,
    name_suffix,
    frame_zero_padding: digits,
    start_frame,
  } = reference;
  const pattern = `${place(base)}${name_prefix}%0${digits}d${name_suffix}`;
  // Linear light in the curve of the source: small moves in its shadows would be lost otherwise.
  return pictures(pattern, [
    ...['-apply_trc', 'bt709', '-framerate', '24', '-start_number', String(start_frame)],
    ...['-i', pattern],
  ]);
}

/** Which frame of a source file looks most like it, of those that are near and of all. */
function nearest(picture: Float64Array, among: readonly Float64Array[]): number {
  const likeness = among.map((one) => alike(picture, one));
  return likeness.indexOf(Math.max(...likeness));
}

function fromBin(day: string): Map<string, OtioClip> {
  const bin = readOtio(readFileSync(join(day, 'handover', 'bin.otio'), 'utf8'));
  const found = new Map<string, OtioClip>();
  for (const clip of clipsOf(bin)) if (!found.has(clip.name)) found.set(clip.name, clip);
  return found;
}

/** Starts of clips by the lists that lie there, each read at the rate that it states. */
function fromLists(day: string): Map<string, { start: string; frames: number; reel: string }> {
  const found = new Map<string, { start: string; frames: number; reel: string }>();
  const folder = join(day, 'handover');
  for (const path of readdirSync(folder, { recursive: true }) as string[]) {
    if (!path.endsWith('.edl')) continue;
    const text = readFileSync(join(folder, path), 'utf8');
    const rate = parseRate(/^\* (\S+) FRAMES A SECOND/m.exec(text)?.[1] ?? '');
    for (const { clipName, sourceIn, sourceFrames, fullReel } of readEdl(text, rate).events)
      found.set(clipName ?? '', { start: formatTimecode(sourceIn), frames: sourceFrames, reel: fullReel });
  }
  return found;
}

test.each<readonly [string, () => Promise<Made>]>([
  ['a day of two clips', plain],
  ...further<readonly [string, () => Promise<Made>]>([
    'a mixed day: drop-frame, over midnight, off-speed, spanned; proxies and masters',
    mixed,
  ]),
])('%s', async (_what, make) => {
  const { shot, day, draws, clips: names } = await make();
  const clips = fromBin(day);
  expect([...clips.keys()].sort()).toEqual(names);
  const lists = fromLists(day);
  expect([...lists.keys()].sort()).toEqual(names);
  let state = Number(process.env.RUSHLIGHT_SEED ?? '20261130') >>> 0;
  const next = (below: number): number => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return Math.floor((state / 2 ** 32) * below);
  };
  const wrong: unknown[] = [];
  for (let draw = 0; draw < draws; draw += 1) {
    const name = names[next(names.length)] as string;
    const clip = clips.get(name) as OtioClip;
    const keys = [...clip.references.keys()].filter((key) => key !== 'source');
    const key = keys[next(keys.length)] as string;
    const reference = clip.references.get(key) as OtioReference;
    const { start_time: start, duration } = reference.available_range ?? {};
    const frame = next(duration?.value ?? 0);
    const source = sourceFrameAt(clip, key, (start?.value ?? 0) + frame);
    const roll = (clip.metadata.rushlight as { roll: string }).roll;
    const path = join(shot, roll, source?.file ?? '');
    const made = picturesOf(reference, join(day, 'handover'))[frame];
    const shows = made === undefined ? null : nearest(made, pictures(path, ['-i', path]));
    if (source === null || shows !== source.frame) wrong.push({ name, key, frame, source, shows });
  }
  expect(wrong).toEqual([]);
  for (const [name, { frames, reel }] of lists) {
    const clip = clips.get(name);
    expect([name, frames, reel]).toEqual([
      name,
      clip?.references.get('DEFAULT_MEDIA')?.available_range?.duration.value,
      (clip?.metadata.rushlight as { reel: string }).reel,
    ]);
  }
});
