/** Makes the demo's shoot day on disk: clips, manifests, three copies, and the damage. Everything lies below one folder. */
import { createHash } from 'node:crypto';
import {
  closeSync,
  cpSync,
  existsSync,
  mkdirSync,
  openSync,
  readdirSync,
  readSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
  writeSync,
} from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import pLimit from 'p-limit';
import { z } from 'zod';
import { FindingError, finding } from '../../findings/finding.ts';
import { readRecord, writeRecord } from '../../ledger/store.ts';
import { checksumLine } from '../../files/manifest/checksum-file.ts';
import { hashFile } from '../../files/manifest/hash.ts';
import type { FoundTool } from '../../process/locate.ts';
import { ratio } from '../../media/time/rate.ts';
import { addFrames, formatTimecode, parseTimecode } from '../../media/time/timecode.ts';
import { type RunResult, runTool } from '../../process/run.ts';
import { makeManifest } from '../manifests/make.ts';
import { bellWave, SAMPLE_RATE } from './bell-sound.ts';
import { clipArguments, logArguments } from './clip.ts';
import { logFrame } from './log-frame.ts';
import { rawFrame } from './raw-frame.ts';
import { sceneAt } from './scene.ts';
import {
  COPIES,
  DAMAGED,
  DAY,
  type DemoRoll,
  type DemoShot,
  type DemoTake,
  PROFILE,
  rolls,
  SETTINGS,
  TITLE,
} from './script.ts';

/** Where everything of a demo lies. */
function demoFolders(folder: string) {
  return {
    folder,
    record: join(folder, 'demo.json'),
    shoot: join(folder, 'shoot'),
    /** The shoot day on each drive; the first is the working copy. */
    days: COPIES.map((copy) => join(folder, 'shoot', copy, DAY)),
    manifests: join(folder, 'shoot', 'manifests'),
    settings: join(folder, 'shoot', 'show.yaml'),
    profile: join(folder, 'shoot', 'foundry-proxy.yaml'),
    delivery: join(folder, 'delivery'),
    work: join(folder, 'work'),
  };
}
export type DemoFolders = ReturnType<typeof demoFolders>;

/** Says that the folder is a demo's, which script it was made from, and whether the making was finished. */
const demoRecordSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('demo'),
  title: z.string(),
  script: z.string(),
  whole: z.boolean(),
});
const script = createHash('sha256')
  .update(JSON.stringify([rolls, SETTINGS, PROFILE]))
  .digest('hex');

export interface ShootEvents {
  /** One line for people, as each thing is begun. */
  say(line: string): void;
  readonly signal?: AbortSignal;
}

/**
 * Makes the shoot day, or takes the one that an earlier demo left here whole. `made` says which.
 * Throws FindingError: exit 2 when the folder belongs to somebody else, 3 when this ffmpeg cannot make the clips.
 */
export async function makeShoot(
  folder: string,
  ffmpeg: FoundTool,
  shoot: ShootEvents,
): Promise<{ folders: DemoFolders; made: boolean }> {
  const folders = demoFolders(folder);
  const before = await readRecord(folders.record, demoRecordSchema);
  if (before.state === 'absent' && existsSync(folder) && readdirSync(folder).length > 0)
    throw taken(folder, 'other files');
  if (before.state === 'damaged') throw taken(folder, 'a demo.json that cannot be read');
  if (before.state === 'read' && before.value.script !== script)
    throw taken(folder, 'the demo of another version');
  if (before.state === 'read' && before.value.whole) return { folders, made: false };
  // What an interrupted making left behind is ours: the record says so.
  rmSync(folders.shoot, { recursive: true, force: true });
  const record = { version: 0, kind: 'demo', title: TITLE, script } as const;
  await writeRecord(folders.record, demoRecordSchema, { ...record, whole: false });
  await film(folders, ffmpeg, shoot);
  writeFileSync(folders.settings, SETTINGS);
  writeFileSync(folders.profile, PROFILE);
  for (const roll of rolls) await writeManifest(folders, roll);
  for (const day of folders.days.slice(1))
    cpSync(folders.days[0] as string, day, { recursive: true, preserveTimestamps: true });
  damage(folders);
  await writeRecord(folders.record, demoRecordSchema, { ...record, whole: true });
  return { folders, made: true };
}

function taken(folder: string, what: string): FindingError {
  return new FindingError(
    [
      finding(
        'demo-folder-taken',
        `${folder} holds ${what}`,
        'an empty folder, or one that a demo of this version made',
      ),
    ],
    2,
  );
}

/** Every clip onto the working copy, as many at once as there are cores for. */
async function film(folders: DemoFolders, ffmpeg: FoundTool, shoot: ShootEvents): Promise<void> {
  const limit = pLimit(Math.min(4, availableParallelism()));
  const { signal } = shoot;
  const stop = signal === undefined ? {} : { signal };
  const takes = rolls.flatMap((roll) => {
    const folder = join(folders.days[0] as string, roll.name);
    /** `path`: where the program writes. */
    const movie = (name: string, take: (path: string) => Promise<RunResult>): (() => Promise<void>) => {
      const path = join(folder, name);
      return async () => {
        const run = await take(`${path}.part`);
        signal?.throwIfAborted();
        if (run.reason !== 'exited' || run.exitCode !== 0) throw notMade(name, ffmpeg, run);
        renameSync(`${path}.part`, path);
      };
    };
    return [
      ...roll.clips.map((clip) => ({
        ...clip,
        folder,
        take: movie(clip.name, (path) => runTool(ffmpeg.path, clipArguments(clip, roll.name, path), stop)),
      })),
      ...(roll.takes ?? []).map((take) => ({ ...take, folder, take: async () => recordTake(take, folder) })),
      ...(roll.shots ?? []).map((shot) => ({
        ...shot,
        folder,
        take:
          shot.recorded === 'raw'
            ? () => shootRaw(shot, roll.name, folder, signal)
            : movie(shot.name, (path) =>
                runTool(ffmpeg.path, logArguments(shot, roll.name, path), {
                  ...stop,
                  feed: async (write) => {
                    for (let frame = 0; frame < shot.frames; frame += 1)
                      if (!(await write(logFrame(sceneOf(shot, frame))))) return;
                  },
                }),
              ),
      })),
    ];
  });
  await Promise.all(
    takes.map(({ name, scene, folder, take }) =>
      limit(async () => {
        signal?.throwIfAborted();
        shoot.say(`filming ${name}: ${scene}`);
        mkdirSync(folder, { recursive: true });
        await take();
      }),
    ),
  );
}

const notMade = (name: string, ffmpeg: FoundTool, run: RunResult): FindingError =>
  new FindingError(
    [
      finding(
        'demo-not-made',
        `${name}: ${run.startError ?? (run.stderr.trim().split('\n').at(-1) || `${run.reason}, exit code ${run.exitCode}`)}`,
        'a clip made by ffmpeg',
        { file: ffmpeg.path },
      ),
    ],
    3,
  );

const rateOf = ({ rate }: Pick<DemoShot, 'rate'>): readonly [number, number] => {
  const [num = 0, den = 1] = rate.split('/').map(Number);
  return [num, den];
};

function sceneOf(shot: DemoShot, frame: number): Float64Array {
  const [num, den] = rateOf(shot);
  return sceneAt(frame, (frame * den) / num);
}

/** Of the label of a first frame, in samples: an hour of labels at 24000/1001 lasts 3603.6 s. */
function sinceMidnight(shot: Pick<DemoShot, 'rate' | 'timecode'>): number {
  const [num, den] = rateOf(shot);
  return Math.round((parseTimecode(shot.timecode, ratio(num, den)).frame * den * SAMPLE_RATE) / num);
}

/** The recorder ran a second before the camera and a second after it. */
function recordTake({ name, samples, tone, words, ...take }: DemoTake, folder: string): void {
  writeFileSync(
    join(folder, name),
    bellWave({
      ...{ tone, samples: samples + 2 * SAMPLE_RATE, struck: SAMPLE_RATE, words },
      since: sinceMidnight(take) - SAMPLE_RATE,
    }),
  );
}

/** A folder of frames, and beside them the sound, which was switched on a hundredth of a second earlier. */
async function shootRaw(
  shot: DemoShot,
  reel: string,
  roll: string,
  signal: AbortSignal | undefined,
): Promise<void> {
  const { name, frames, samples, timecode, tone } = shot;
  const [num, den] = rateOf(shot);
  const start = parseTimecode(timecode, ratio(num, den));
  const folder = join(roll, name);
  mkdirSync(folder, { recursive: true });
  for (let frame = 0; frame < frames; frame += 1) {
    signal?.throwIfAborted();
    const bytes = rawFrame({
      scene: sceneOf(shot, frame),
      timecode: formatTimecode(addFrames(start, frame)),
      rate: [num, den],
      reel,
    });
    writeFileSync(join(folder, `${name}_${String(frame).padStart(6, '0')}.dng`), bytes);
    // Another clip is filmed at the same time.
    await new Promise((next) => setImmediate(next));
  }
  const early = SAMPLE_RATE / 100;
  const since = sinceMidnight(shot) - early;
  writeFileSync(join(folder, `${name}.wav`), bellWave({ tone, samples: samples + early, since }));
}

async function writeManifest(folders: DemoFolders, roll: DemoRoll): Promise<void> {
  const rollFolder = join(folders.days[0] as string, roll.name);
  if (roll.manifest === 'mhl') {
    await makeManifest({ rollFolder, to: folders.manifests });
    return;
  }
  const lines: Buffer[] = [];
  for (const clip of roll.clips) {
    const read = await hashFile(join(rollFolder, clip.name), ['xxh128']);
    if (read.state !== 'read' || read.hashes.xxh128 === undefined)
      throw new Error(`a clip that was just made cannot be read: ${clip.name}, ${read.state}`);
    lines.push(checksumLine(read.hashes.xxh128, clip.name));
  }
  writeFileSync(join(rollFolder, `${roll.name}.xxh128`), Buffer.concat(lines));
}

/** One bit of one byte in the middle of a clip: too little for any picture to show, and for a size to tell. */
function damage(folders: DemoFolders): void {
  const day = folders.days[COPIES.indexOf(DAMAGED.copy)] as string;
  const path = join(day, DAMAGED.roll, DAMAGED.clip);
  const place = Math.floor(statSync(path).size / 2);
  const file = openSync(path, 'r+');
  try {
    const byte = Buffer.alloc(1);
    if (readSync(file, byte, 0, 1, place) !== 1)
      throw new Error(`nothing to damage at byte ${place} of ${path}`);
    byte.writeUInt8(byte.readUInt8() ^ 1);
    writeSync(file, byte, 0, 1, place);
  } finally {
    closeSync(file);
  }
}
