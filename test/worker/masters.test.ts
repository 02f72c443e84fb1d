/** Masters as a worker makes them: from raw frames and from movies, published as folders, proved, and held when anything differs. */
import { execFileSync } from 'node:child_process';
import {
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { basename, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { MasterCheckReport } from '../../check/master/index.ts';
import { type Job, workOf } from '../../ledger/job.ts';
import { mastersOf } from '../support/jobs.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow } from '../support/lane.ts';
import { groupFolder, interpretation, reportOf, checkInPlace } from '../support/master.ts';
import { type ClipOnDisk, masterJob, movieClip, rawClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const profiles = ['grading-master-exr', 'grading-master-aces', 'dpx-10'];
const WIDTH = 96;
const HEIGHT = 54;
const FRAMES = 6;

const raw = (): Promise<ClipOnDisk> =>
  rawClip(groupFolder('raw-roll'), { width: WIDTH, height: HEIGHT, frames: FRAMES });
const movie = (): Promise<ClipOnDisk> =>
  movieClip(groupFolder('movie-roll'), {
    frames: FRAMES,
    rate: '24000/1001',
    size: `${WIDTH}x${HEIGHT}`,
    timecode: '10:00:00:00',
    codec: 'prores',
    audio: [2],
  });

const filesOf = (job: Job, profile: string): string[] =>
  readdirSync(join(job.deliveryFolder, profile, 'A001C001')).sort();
const pathOf = (job: Job, profile: string, name: string): string =>
  join(job.deliveryFolder, profile, 'A001C001', name);

describe.each([
  ['raw frames', raw, 86_400],
  ['a movie', movie, 864_000],
])('from %s', (_, clip, first) => {
  /** Everything is looked at in the masters of the raw frames; the long lane does so in those of the movie too. */
  const ofAll = everyRow || clip === raw;
  let job: Job;

  beforeAll(async () => {
    job = await masterJob(await clip(), groupFolder('masters'), profiles, interpretation);
    await runJob(job, await workContext());
  });

  test.each(profiles)(
    '%s stands published, every check passed, a file for each frame numbered from the timecode',
    async (profile) => {
      const report = await reportOf(job, profile);
      expect(report.state).toBe('published');
      // The movie is full of colours that no camera gives: ACEScct ends above most of them.
      const limited = profile === 'dpx-10' && clip === movie;
      expect(report.findings.map(({ code }) => code)).toEqual(limited ? ['encoder-input-limited'] : []);
      expect(report.checks.map(({ check, status }) => [check, status])).toEqual([
        ['frames', 'passed'],
        ['timecode', 'passed'],
        ['structure', 'passed'],
        ['header', 'passed'],
        ['pixel-values', 'passed'],
        ['spot-check', 'passed'],
        ['write-verify', 'passed'],
        ['frames-as-decoded', 'passed'],
        ['whole-frames', 'passed'],
        ['amf', 'passed'],
      ]);
      const extension = profile === 'dpx-10' ? 'dpx' : 'exr';
      // The registry of ACES has the log of the movie, and nothing for raw frames.
      expect(filesOf(job, profile)).toEqual([
        ...Array.from(
          { length: FRAMES },
          (_unused, index) => `A001C001.${String(first + index).padStart(7, '0')}.${extension}`,
        ),
        'A001C001.amf',
        ...(clip === raw ? ['A001C001.clf'] : []),
      ]);
      expect(readdirSync(join(job.deliveryFolder, profile))).toEqual(['A001C001']);
    },
  );

  test("OpenEXR's own program reads what the header says, in frame 4", () => {
    const reported = execFileSync(
      'exrheader',
      [pathOf(job, 'grading-master-exr', filesOf(job, 'grading-master-exr')[4] as string)],
      { encoding: 'utf8' },
    );
    for (const part of [
      'compression (type compression): zip',
      'white (0.32168 0.33767)',
      'framesPerSecond (type rational): 24000/1001',
      `imageCounter (type int): ${first + 4}`,
      'reelName (type string): "A001"',
      'owner (type string): "Bell foundry film"',
      // The number in the name of a raw frame, from 101 on; in a movie its place.
      `sourceFrame (type string): "${clip === raw ? 105 : 4}"`,
      `sourceFile (type string): "${clip === raw ? 'A001C001_000105.dng' : 'A001C001.mov'}"`,
      'time 1:00:00:04'.replace('1:', first === 86_400 ? '01:' : '10:'),
    ])
      expect(reported).toContain(part);
  });

  test('made again elsewhere, with another number of threads, every byte is the same', async () => {
    // One form shows that the threads keep the order: of a movie they read one pipe in turn.
    const wanted = everyRow ? profiles : [clip === movie ? 'dpx-10' : 'grading-master-exr'];
    const place = { ...job, place: job.clip.place };
    const again = await masterJob(place, freshFolder('again'), wanted, interpretation);
    await runJob({ ...again, clip: job.clip, facts: job.facts }, { ...(await workContext()), threads: 3 });
    for (const profile of wanted)
      for (const name of filesOf(job, profile))
        expect(
          readFileSync(pathOf(again, profile, name)).equals(readFileSync(pathOf(job, profile, name))),
          name,
        ).toBe(true);
  });

  if (clip === movie)
    test('without settings a log movie is held, and with others its master is made again', async () => {
      const facts = { ...job.facts };
      const profile = (await loadProfiles({ wanted: ['grading-master-exr'] })).profiles[0]
        ?.profile as Parameters<typeof decideOutcome>[0]['profile'];
      const untagged = {
        ...facts,
        video: { ...facts.video, colour: { ...facts.video.colour, primaries: null, transfer: null } },
        interpretation: { ...interpretation, input: null, inputFrom: null },
      };
      expect(
        decideOutcome({ day: 'day-01', roll: 'A001', clip: job.clip, facts: untagged, profile }),
      ).toMatchObject({
        outcome: null,
        findings: [{ code: 'input-unknown' }],
      });
      const deliveryFolder = join(freshFolder('settings'), 'day-01', 'A001');
      cpSync(job.deliveryFolder, deliveryFolder, { recursive: true, preserveTimestamps: true });
      const again = { ...job, deliveryFolder };
      const first = await reportOf(again, 'grading-master-exr');
      const other = { ...interpretation, input: { name: 'vlog-vgamut' as const } };
      const decided = decideOutcome({
        day: 'day-01',
        roll: 'A001',
        clip: job.clip,
        facts: { ...facts, interpretation: other },
        profile,
      });
      if (decided.outcome === null) throw new Error('refused');
      await runJob(
        {
          ...again,
          facts: { ...facts, interpretation: other },
          deliverables: [workOf(profile, first.profileHash, decided.outcome)],
        },
        await workContext(),
      );
      const second = await reportOf(again, 'grading-master-exr');
      expect(second).toMatchObject({ state: 'published', supersedes: [first.file?.xxh128] });
      expect(second.file?.sha256).not.toBe(first.file?.sha256);
      expect(
        existsSync(join(again.deliveryFolder, 'grading-master-exr', basename(second.file?.path as string))),
      ).toBe(true);
    });

  // What follows reads the files alone: those of a movie are written, spoiled and found in the same way.
  if (!ofAll) return;
  test('sha256sum finds every file of the checksum list as it is', async () => {
    for (const profile of profiles) {
      const { checksumList } = await reportOf(job, profile);
      const reported = execFileSync(
        'sha256sum',
        ['-c', join(job.deliveryFolder, checksumList?.path as string)],
        {
          cwd: join(job.deliveryFolder, profile, 'A001C001'),
          encoding: 'utf8',
        },
      );
      expect(reported.trim().split('\n')).toHaveLength(filesOf(job, profile).length);
    }
  });

  test('the strict container holds the same pixels as the other, by OpenImageIO', () => {
    const names = filesOf(job, 'grading-master-exr').filter((name) => name.endsWith('.exr'));
    const pairs = names.flatMap((name) => [
      pathOf(job, 'grading-master-exr', name),
      pathOf(job, 'grading-master-aces', name),
      '--diff',
    ]);
    const reported = execFileSync('oiiotool', pairs, { encoding: 'utf8' });
    expect(reported.match(/^PASS$/gm)).toHaveLength(names.length);
    expect(reported).not.toMatch(/FAIL/i);
  });

  test('uncompressed frames have exactly the bytes that were foretold, within 2 per cent', async () => {
    for (const profile of ['grading-master-aces', 'dpx-10']) {
      const { outcome } = mastersOf(job).find((work) => work.profile.name === profile) as ReturnType<
        typeof mastersOf
      >[number];
      const report = await reportOf(job, profile);
      expect(Math.abs((report.file?.bytes ?? 0) / outcome.estimatedBytes - 1)).toBeLessThan(
        0.02 + 2000 / (6 * WIDTH * HEIGHT),
      );
    }
  });

  test('a second worker finds everything finished and makes nothing', async () => {
    const before = profiles.map((profile) =>
      filesOf(job, profile).map((name) => statSync(pathOf(job, profile, name)).mtimeMs),
    );
    await runJob(job, await workContext());
    expect(
      profiles.map((profile) =>
        filesOf(job, profile).map((name) => statSync(pathOf(job, profile, name)).mtimeMs),
      ),
    ).toEqual(before);
  });

  describe('a spoiled copy does not pass', () => {
    async function checked(
      profile: string,
      spoil: (folder: string, names: readonly string[]) => void,
    ): Promise<MasterCheckReport> {
      const folder = join(freshFolder('spoiled'), 'A001C001');
      cpSync(join(job.deliveryFolder, profile, 'A001C001'), folder, { recursive: true });
      spoil(folder, readdirSync(folder).sort());
      return await checkInPlace(job, profile, folder);
    }
    const edit = (path: string, change: (bytes: Buffer) => Buffer): void =>
      writeFileSync(path, change(readFileSync(path)));
    const at = (folder: string, names: readonly string[], index: number): string =>
      join(folder, names[index] as string);

    test.each(profiles)('%s unspoiled passes', async (profile) => {
      expect(await checked(profile, () => undefined)).toMatchObject({ passed: true, findings: [] });
    });

    const faults: [what: string, code: string, spoil: (folder: string, names: readonly string[]) => void][] =
      [
        ['a frame gone', 'master-frames-differ', (folder, names) => rmSync(at(folder, names, 2))],
        [
          'a frame too many',
          'master-frames-differ',
          (folder, names) => cpSync(at(folder, names, 2), join(folder, 'A001C001.9999999.exr')),
        ],
        ['something else beside', 'master-frames-differ', (folder) => mkdirSync(join(folder, 'thumbs'))],
        [
          'a frame cut off',
          'master-structure-wrong',
          (folder, names) => edit(at(folder, names, 3), (bytes) => bytes.subarray(0, bytes.length - 7)),
        ],
        [
          'a frame longer',
          'master-structure-wrong',
          (folder, names) => edit(at(folder, names, 3), (bytes) => Buffer.concat([bytes, Buffer.alloc(5)])),
        ],
        [
          'a frame empty',
          'master-structure-wrong',
          (folder, names) => writeFileSync(at(folder, names, 3), ''),
        ],
        [
          'two frames that changed places',
          'timecode-differs',
          (folder, names) => {
            renameSync(at(folder, names, 1), join(folder, 'x'));
            renameSync(at(folder, names, 4), at(folder, names, 1));
            renameSync(join(folder, 'x'), at(folder, names, 4));
          },
        ],
        [
          'a frame in the place of its neighbour',
          'timecode-differs',
          (folder, names) => cpSync(at(folder, names, 1), at(folder, names, 2)),
        ],
        [
          "a frame from its neighbour's pixels under its own header",
          'master-pixels-differ',
          (folder, names) => {
            const [own, other] = [readFileSync(at(folder, names, 2)), readFileSync(at(folder, names, 3))];
            // The headers of a clip are of one length, and what follows them needs nothing of them.
            const head = other.length - 6 * WIDTH * HEIGHT;
            writeFileSync(
              at(folder, names, 2),
              Buffer.concat([own.subarray(0, head - (own.length - other.length)), other.subarray(head)]),
            );
          },
        ],
      ];
    test.each(faults.slice(0, 8))('%s: %s', async (_what, code, spoil) => {
      const { passed, findings } = await checked('grading-master-exr', spoil);
      expect(passed).toBe(false);
      expect(findings.map((item) => item.code)).toContain(code);
    });

    // Without compression frames are all of one length, which is a check of its own.
    const inStrict = faults.filter(([what], index) => index === 8 || what === 'a frame longer');
    test.each(everyRow ? faults.slice(2) : inStrict)(
      'in the strict container, %s: %s',
      async (_what, code, spoil) => {
        const { passed, findings } = await checked('grading-master-aces', spoil);
        expect(passed).toBe(false);
        expect(findings.map((item) => item.code)).toContain(code);
      },
    );

    test('one bit of one value of one frame is seen by the digest of what left the encoder, whatever pixel it is', async () => {
      const { findings } = await checked('grading-master-aces', (folder, names) =>
        edit(at(folder, names, 5), (bytes) => {
          const spoiled = Buffer.from(bytes);
          spoiled[bytes.length - 100] = (spoiled[bytes.length - 100] as number) ^ 1;
          return spoiled;
        }),
      );
      expect(findings.map((item) => item.code)).toEqual(
        expect.arrayContaining(['bitstream-differs', 'master-structure-wrong']),
      );
    });

    test('a whole frame a tenth of a stop brighter is seen by the values', async () => {
      const { findings } = await checked('dpx-10', (folder, names) =>
        edit(at(folder, names, 1), (bytes) => {
          const spoiled = Buffer.from(bytes);
          for (let word = 2048; word < bytes.length; word += 4) {
            const codes = spoiled.readUInt32BE(word);
            const up = (code: number): number => Math.min(1023, code + 6);
            spoiled.writeUInt32BE(
              ((up(codes >>> 22) << 22) |
                (up((codes >>> 12) & 1023) << 12) |
                (up((codes >>> 2) & 1023) << 2)) >>>
                0,
              word,
            );
          }
          return spoiled;
        }),
      );
      expect(findings.map((item) => item.code)).toContain('master-pixels-differ');
      expect(findings.find((item) => item.code === 'master-pixels-differ')?.found).toContain(
        frameFileName(mastersOf(job)[2]?.outcome as never, 1),
      );
    });
  });
});

test('a raw frame that is damaged holds the clip, names the frame, and leaves nothing behind', async () => {
  const clip = await raw();
  const job = await masterJob(clip, freshFolder('damaged'), profiles, interpretation);
  const path = join(clip.rollFolder, 'A001C001', 'A001C001_000104.dng');
  // As long as before: what was read at intake is not read again for every job.
  const bytes = readFileSync(path);
  writeFileSync(path, bytes.fill(0, 0, 4));
  await expect(runJob(job, await workContext())).rejects.toMatchObject({ retryable: false });
  for (const profile of profiles) {
    expect(await reportOf(job, profile)).toMatchObject({
      state: 'failed',
      findings: [{ code: 'frame-develop-failed' }],
    });
    expect(readdirSync(join(job.deliveryFolder, profile))).toEqual([]);
  }
});
