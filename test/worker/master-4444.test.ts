/** Masters that are movies: fed by the frame threads, checked as movies, and held when anything differs. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable } from '../../check/index.ts';
import { isMovieMasterWork, type Job, jobSchema } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { DeliverableReport } from '../../ledger/report.ts';
import { storedFingerprints, storedSketch } from '../../ledger/fingerprints.ts';
import { mandatoryChecks } from '../../profiles/schema.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import type { Operation } from '../faults/operation.ts';
import { faultyFfmpeg } from '../faults/stand-in.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { mediaTools } from '../support/make.ts';
import { groupFolder, reportOf as reportOfProfile } from '../support/master.ts';
import { type ClipOnDisk, masterJob, movieClip, rawClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const PROFILE = 'grading-master-4444';
const FRAMES = 7;
const WIDTH = 96;
const HEIGHT = 54;

/** A picture of little contrast and colour, as log pictures are; its corner a grey of 10-bit code 424, limited range. */
const CORNER = 32;
const inCorner = (across: number): string => `lt(X,${CORNER / across})*lt(Y,${CORNER})`;
const LOG = `trim=end_frame=${FRAMES},format=yuv422p10le,geq=lum='if(${inCorner(1)},424,300+(lum(X,Y)-64)*0.35)':cb='if(${inCorner(2)},512,512+(cb(X,Y)-512)*0.25)':cr='if(${inCorner(2)},512,512+(cr(X,Y)-512)*0.25)',setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv`;
const movie = (): Promise<ClipOnDisk> =>
  movieClip(groupFolder('movie'), {
    extra: ['-vf', LOG],
    frames: FRAMES,
    rate: '24000/1001',
    size: `${WIDTH}x${HEIGHT}`,
    timecode: '10:00:00:00',
    audio: [2, 1],
  });
const raw = (): Promise<ClipOnDisk> =>
  rawClip(groupFolder('raw'), { width: WIDTH, height: HEIGHT, frames: FRAMES });

const reportOf = (job: Job, profile = PROFILE): Promise<DeliverableReport> => reportOfProfile(job, profile);

async function codesOf(running: Promise<void>): Promise<string[]> {
  try {
    await running;
    return [];
  } catch (error) {
    if (!(error instanceof JobFailure)) throw error;
    return error.findings.map((item) => item.code);
  }
}

/** A program that writes down each of its commands and then is ffmpeg; and what it wrote, argument by argument. */
async function recordedFfmpeg(): Promise<{ readonly path: string; readonly commands: () => string[][] }> {
  const folder = groupFolder('commands');
  mkdirSync(folder, { recursive: true });
  const path = join(folder, 'ffmpeg');
  const { ffmpeg } = await mediaTools();
  writeFileSync(
    path,
    `#!/bin/sh\nprintf '%s\\0' "$@" > '${folder}/command-'$$\nexec '${ffmpeg.path}' "$@"\n`,
    { mode: 0o755 },
  );
  const commands = (): string[][] =>
    readdirSync(folder)
      .filter((name) => name.startsWith('command-'))
      .map((name) => readFileSync(join(folder, name), 'utf8').split('\0'));
  return { path, commands };
}

const fileOf = (job: Job): string => join(job.deliveryFolder, PROFILE, 'A001C001.mov');
const inFolder = (job: Job, profile = PROFILE): string[] =>
  readdirSync(layout.profileFolder(job.deliveryFolder, profile)).sort();

interface Decoded {
  readonly yuv: Uint16Array;
  readonly gbr: Uint16Array;
  readonly pixels: number;
}
const known = new Map<string, Decoded>();
/** By ffmpeg, once: the pictures as 12-bit Y'CbCr, as its decoder gives them, and the DPX frames beside as 10-bit G, B, R; planes, frame by frame. */
function decoded(job: Job): Decoded {
  const values = known.get(job.deliveryFolder) ?? decodedNow(job);
  known.set(job.deliveryFolder, values);
  return values;
}
function decodedNow(job: Job): Decoded {
  const read = (args: readonly string[]): Uint16Array => {
    const bytes = execFileSync('ffmpeg', ['-v', 'error', ...args, '-f', 'rawvideo', '-'], {
      maxBuffer: 1 << 26,
    });
    return new Uint16Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
  };
  const pixels = WIDTH * HEIGHT;
  const yuv = read(['-i', fileOf(job), '-map', '0:v', '-pix_fmt', 'yuv444p12le']);
  const [first] = readdirSync(join(job.deliveryFolder, 'dpx-10', 'A001C001')).sort() as [string];
  const gbr = read([
    '-start_number',
    String(Number(first.split('.')[1])),
    '-i',
    join(job.deliveryFolder, 'dpx-10', 'A001C001', 'A001C001.%07d.dpx'),
    '-pix_fmt',
    'gbrp10le',
  ]);
  return { yuv, gbr, pixels };
}

describe.each([
  ['a movie', movie, '10:00:00:00', 2, ['test/fixtures/profiles/small-h264.yaml', 'dpx-10', PROFILE]],
  ['raw frames', raw, '01:00:00:00', 0, ['dpx-10', PROFILE]],
])('from %s', (_, clip, timecode, tracks, profiles) => {
  let job: Job;
  let commands: string[][];

  beforeAll(async () => {
    job = await masterJob(await clip(), groupFolder('delivery'), profiles);
    const ffmpeg = await recordedFfmpeg();
    // As it goes through the queue.
    await runJob(
      jobSchema.parse(JSON.parse(JSON.stringify(job))),
      await workContext({ ffmpeg: ffmpeg.path }),
    );
    commands = ffmpeg.commands();
  }, 240_000);

  test('two masters and a movie come out of one decode of the source; what else reads its pictures reads single ones', () => {
    // Of raw frames there is none: the threads read them.
    const source = clip === movie ? `file:${job.rollFolder}/A001C001.mov` : 'none';
    const wholePictures = commands.filter(
      (args) =>
        args[args.indexOf('-i') + 1] === source &&
        !args.includes('-frames:v') &&
        !args.includes('-t') &&
        args.some((graph) => graph.includes('[0:0]') || graph.includes('[0:v')),
    );
    expect(wholePictures.length).toBe(clip === movie ? 1 : 0);
    // The other one that reads all of the source takes its audio alone.
    expect(commands.filter((args) => args.includes(source)).length).toBe(clip === movie ? 6 : 0);
  });

  test('one decode gives it beside the others; every check passed', async () => {
    for (const { profile } of job.deliverables) {
      const { state, findings } = await reportOf(job, profile.name);
      expect(state).toBe('published');
      // A test picture has colours that ACEScct in codes cannot hold, and half floats can.
      expect(findings.filter(({ code }) => code !== 'encoder-input-limited')).toEqual([]);
      if (profile.name === 'grading-master-exr') expect(findings).toEqual([]);
    }
    const report = await reportOf(job);
    expect(report.checks.map(({ check, status }) => [check, status])).toEqual(
      [
        ...mandatoryChecks,
        'picture-error',
        'reel',
        'encoder-input',
        'encoder-input-spot-check',
        'frames-as-decoded',
        'whole-frames',
        'amf',
      ].map((check) => [check, 'passed']),
    );
    expect(report.checks.find(({ check }) => check === 'frame-match')?.measured).toMatch(
      new RegExp(`^${FRAMES} frames: ${FRAMES} proved`),
    );
    // Of raw frames the registry of ACES has no identifier: their transform lies beside.
    const clf = clip === movie ? [] : ['A001C001.clf'];
    expect(inFolder(job)).toEqual(['A001C001.amf', ...clf, 'A001C001.mov']);
  });

  test('ffprobe and MediaInfo read 4444, its frames, rate, timecode and audio, and no colours that ACEScct does not have', () => {
    const reported = JSON.parse(
      execFileSync(
        'ffprobe',
        ['-v', 'error', '-count_packets', '-show_streams', '-of', 'json', fileOf(job)],
        { encoding: 'utf8' },
      ),
    ) as { streams: Record<string, unknown>[] };
    const [video] = reported.streams;
    expect(video).toMatchObject({
      codec_name: 'prores',
      codec_tag_string: 'ap4h',
      profile: '4444',
      width: WIDTH,
      height: HEIGHT,
      r_frame_rate: '24000/1001',
      nb_read_packets: String(FRAMES),
      color_space: 'bt709',
      tags: { timecode },
    });
    for (const name of ['color_primaries', 'color_transfer'])
      expect(['unknown', undefined]).toContain(video?.[name]);
    const audioTracks = reported.streams.filter(({ codec_type }) => codec_type === 'audio');
    expect(audioTracks.map(({ codec_name }) => codec_name)).toEqual(
      Array.from({ length: tracks }, () => 'pcm_s24le'),
    );
    const info = JSON.parse(
      execFileSync('mediainfo', ['--Output=JSON', fileOf(job)], { encoding: 'utf8' }),
    ) as { media: { track: Record<string, string>[] } };
    expect(info.media.track.find((track) => track['@type'] === 'Video')).toMatchObject({
      CodecID: 'ap4h',
      Format_Profile: '4444',
      FrameCount: String(FRAMES),
      ChromaSubsampling: '4:4:4',
      ScanType: 'Progressive',
    });
    expect(info.media.track.find((track) => track['@type'] === 'Other')).toMatchObject({
      TimeCode_FirstFrame: timecode,
    });
  });

  test("its pictures are those of the DPX frames, by ffmpeg: ACEScct, as Y'CbCr of BT.709", () => {
    const { yuv, gbr, pixels } = decoded(job);
    // Noise at this size costs the codec something, here and there; what is wrong by a curve, a matrix or a range is off by tens of codes everywhere.
    expect([yuv.length, gbr.length]).toEqual([3 * pixels * FRAMES, 3 * pixels * FRAMES]);
    const off: [number[], number[], number[]] = [[], [], []];
    for (let frame = 0; frame < FRAMES; frame += 1) {
      const base = 3 * pixels * frame;
      for (let pixel = 0; pixel < pixels; pixel += 1) {
        const codes = [0, 1, 2].map((plane) => gbr[base + plane * pixels + pixel] as number);
        // Where DPX comes to its end, Y'CbCr goes on.
        if (codes.some((code) => code === 0 || code === 1023)) continue;
        const [g, b, r] = codes.map((code) => code / 1023) as [number, number, number];
        // Recommendation ITU-R BT.709, items 3.2 to 3.4, at 10 bits.
        const y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        const wanted = [64 + 876 * y, 512 + (896 * (b - y)) / 1.8556, 512 + (896 * (r - y)) / 1.5748];
        for (const [plane, code] of wanted.entries())
          off[plane]?.push((yuv[base + plane * pixels + pixel] as number) / 4 - code);
      }
    }
    for (const plane of off) {
      plane.sort((one, other) => one - other);
      expect(plane.length).toBeGreaterThan((pixels * FRAMES) / 3);
      expect(Math.abs(plane[plane.length >> 1] as number)).toBeLessThan(1.5);
    }
  });

  // What follows is the same whatever it is made from, but for the audio and the grey, which the movie alone has.
  if (clip !== movie && !everyRow) return;
  test('an audit finds the same again by what is kept', async () => {
    const report = await reportOf(job);
    const { fingerprints, finding } = await storedFingerprints(report, job.deliveryFolder, {});
    expect(finding).toBeNull();
    if (report.outcome.kind === 'frames') throw new Error('a folder');
    const { sketch } = await storedSketch(report, job.deliveryFolder, {});
    const retryable = await checkDeliverable({
      path: fileOf(job),
      outcome: report.outcome,
      checks: ['picture-error', 'reel'],
      sourceFacts: job.facts,
      sourceFingerprints: fingerprints,
      encoded: report.bitstream ?? null,
      sketch,
      tools: await mediaTools(),
    });
    expect(retryable).toMatchObject({ passed: true, findings: [], xxh128: report.file?.xxh128 });
  });

  test('made again by three threads, every byte is the same; a second run of a finished job makes nothing', async () => {
    const retryable = {
      ...job,
      deliveryFolder: (await masterJob({ ...job, place: job.clip.place }, freshFolder('again'), [PROFILE]))
        .deliveryFolder,
      deliverables: job.deliverables.filter(isMovieMasterWork),
    };
    await runJob(retryable, { ...(await workContext()), threads: 3 });
    expect(readFileSync(fileOf(retryable)).equals(readFileSync(fileOf(job)))).toBe(true);
    const before = await reportOf(retryable);
    await runJob(retryable, await workContext());
    expect(await reportOf(retryable)).toEqual(before);
  });

  if (clip === movie)
    test('18 per cent grey of S-Log3 comes out as 18 per cent grey of ACEScct', () => {
      const { yuv, pixels } = decoded(job);
      const mean = [0, 0, 0];
      // Away from the edge of the corner, which the codecs before and behind blur.
      for (let y = 4; y < 12; y += 1)
        for (let x = 4; x < 12; x += 1)
          for (const plane of [0, 1, 2])
            mean[plane] = (mean[plane] as number) + (yuv[plane * pixels + y * WIDTH + x] as number) / 4 / 64;
      // By hand from the published curves: (424 - 64) / 876 is code 420.41 of 1023, 0.19 * 10^(0.41 / 261.5) - 0.01 = 0.18069 of light,
      // (log2 0.18069 + 9.72) / 17.52 = 0.41390 of ACEScct (Academy S-2016-001), and 64 + 876 * 0.41390 = 426.6.
      expect(Math.abs((mean[0] as number) - 426.6)).toBeLessThan(2.5);
      for (const plane of [1, 2]) expect(Math.abs((mean[plane] as number) - 512)).toBeLessThan(1.5);
    });
});

describe('an encoder at fault', () => {
  const folder = join(sharedFolder, 'faults-4444');
  let clip: ClipOnDisk;

  beforeAll(async () => {
    clip = await movieClip(folder, {
      extra: ['-vf', LOG],
      frames: FRAMES,
      rate: '24000/1001',
      size: `${WIDTH}x${HEIGHT}`,
      timecode: '10:00:00:00',
      audio: [2],
    });
  }, 120_000);

  async function held(
    ffmpeg: string,
    wanted: readonly string[] = [PROFILE],
    stallMilliseconds = 60_000,
  ): Promise<{ job: Job; codes: string[] }> {
    const job = await masterJob(clip, freshFolder('delivery'), wanted);
    return { job, codes: await codesOf(runJob(job, await workContext({ ffmpeg, stallMilliseconds }))) };
  }

  const frames = (map: readonly number[]): Operation => ({
    do: 'frames',
    stage: 'encoder',
    profile: PROFILE,
    map,
    count: FRAMES,
  });
  const faults: [string, Operation, string][] = [
    ['two pictures swapped', frames([0, 1, 3, 2, 4, 5, 6]), 'frames-swapped'],
    [
      'a block of 8 x 8 in one picture, two codes off',
      {
        do: 'graph',
        stage: 'encoder',
        from: ',setsar=',
        to: ",geq=lum='lum(X\\,Y)+2*eq(N\\,3)*between(X\\,40\\,47)*between(Y\\,30\\,37)':cb='cb(X\\,Y)':cr='cr(X\\,Y)':interpolation=nearest,setsar=",
      },
      'master-picture-differs',
    ],
    [
      'another word for its code values',
      { do: 'option', stage: 'encoder', profile: PROFILE, option: '-metadata', value: 'comment=BT.709' },
      'container-differs',
    ],
    ...further<[string, Operation, string]>(
      [
        'levels stretched',
        { do: 'filter', stage: 'encoder', profile: PROFILE, filters: 'lutyuv=y=val*1.04', retag: true },
        'levels-differ',
      ],
      [
        'no word for its code values',
        { do: 'option', stage: 'encoder', profile: PROFILE, option: '-metadata', value: 'comment=' },
        'container-part-absent',
      ],
      [
        'one line of chroma in the last picture',
        {
          do: 'graph',
          stage: 'encoder',
          from: ',setsar=',
          to: ",geq=lum='lum(X\\,Y)':cb='cb(X\\,Y)+2*eq(N\\,6)*eq(Y\\,53)':cr='cr(X\\,Y)':interpolation=nearest,setsar=",
        },
        'master-picture-differs',
      ],
      [
        'another profile',
        { do: 'option', stage: 'encoder', profile: PROFILE, option: '-profile:v', value: '4444xq' },
        'codec-differs',
      ],
      [
        'audio of another level',
        {
          do: 'audio',
          stage: 'encoder',
          profile: PROFILE,
          track: 0,
          filters: 'aresample,volume=0.9,aresample',
        },
        'audio-altered',
      ],
      ['a picture in the place of its neighbour', frames([0, 1, 1, 3, 4, 5, 6]), 'frame-repeated'],
      ['a picture lost', frames([0, 1, 3, 4, 5, 6]), 'frame-count-differs'],
    ),
  ];
  test.each(faults)('%s is seen, and nothing stands', async (_, operation, code) => {
    const faulty = faultyFfmpeg(freshFolder('faulty'), operation);
    const { job, codes } = await held(faulty.path);
    expect(faulty.done()).toMatchObject({ code: 0 });
    expect(codes).toContain(code);
    expect(inFolder(job)).toEqual([]);
  });

  /** Everything but the encoder that is fed is the real program. */
  function encoderInputStandIn(script: string): string {
    const path = join(freshFolder('stand-in'), 'ffmpeg');
    writeFileSync(path, `#!/bin/sh\ncase " $* " in *" -i pipe:8 "*) ${script} ;; esac\nexec ffmpeg "$@"\n`, {
      mode: 0o755,
    });
    return path;
  }

  // Longer than a decoder may take to begin on a busy machine: the silence is the encoder's alone.
  test.each<readonly [string, string, number, string]>([
    ['dies in the middle', 'head -c 40000 <&8 >/dev/null; kill -9 $$', 60_000, 'encoder-killed'],
    ['takes nothing', 'sleep 60', 8000, 'encoder-stalled'],
    ...further<readonly [string, string, number, string]>(
      ['says that all is well and made nothing', 'cat <&8 >/dev/null; exit 0', 60_000, 'encoder-failed'],
      ['fails in the middle', 'head -c 40000 <&8 >/dev/null; exit 69', 60_000, 'encoder-failed'],
      ['takes everything and never ends', 'cat <&8 >/dev/null; sleep 60', 1500, 'encoder-stalled'],
    ),
  ])(
    'one that %s is reported, leaves nothing, and the other master of the clip stands',
    async (_, script, stallMilliseconds, code) => {
      const { job, codes } = await held(encoderInputStandIn(script), ['dpx-10', PROFILE], stallMilliseconds);
      expect(codes).toEqual([code]);
      expect(inFolder(job)).toEqual([]);
      expect(await reportOf(job)).toMatchObject({ state: 'failed', findings: [{ code, profile: PROFILE }] });
      expect(await reportOf(job, 'dpx-10')).toMatchObject({ state: 'published' });
    },
  );
});
