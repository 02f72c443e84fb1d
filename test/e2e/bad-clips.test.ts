/**
 * One night over a roll full of bad clips and two good ones, and a second roll without fault: each bad clip is held with
 * its own finding, the good clips of the same roll are made, the second roll is ready.
 */
import { copyFileSync, mkdirSync, readFileSync, symlinkSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { runCli, type CliResult } from '../support/cli.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { codesOf, codesOfClip, filesBelow, readVerdict } from '../support/delivery.ts';
import { sharedFolder } from '../support/folder.ts';
import { ffmpeg, makeMovie } from '../support/media.ts';
import { recordsIn } from '../support/schemas.ts';
import type { RollVerdict } from '../../ledger/roll.ts';

const base = join(sharedFolder, 'bad-clips');
const day = join(base, 'day-04');
const delivery = join(base, 'delivery');
const profile = 'test/fixtures/profiles/small-vc3.yaml';

/** Overwrites bytes in the middle of the file, inside the picture data. */
function spoil(path: string, from: number, count: number): void {
  const bytes = readFileSync(path);
  for (let index = 0; index < count; index += 1)
    bytes[Math.floor(bytes.length * from) + index] = (index * 197 + 13) % 256;
  writeFileSync(path, bytes);
}

async function makeBadRoll(roll: string): Promise<void> {
  mkdirSync(roll, { recursive: true });
  const clip = (name: string): string => join(roll, name);
  await makeMovie(clip('good-first.mov'), { frames: 24, timecode: '10:00:00:00' });
  writeFileSync(clip('zero.mov'), '');
  // No index: the header atom stands at the end and is cut off.
  await makeMovie(clip('no-index.mov'), { frames: 24 });
  truncateSync(clip('no-index.mov'), 60_000);
  // Index first, data cut: the header promises more frames than there are.
  await makeMovie(clip('short-data.mov'), { frames: 48, extra: ['-movflags', '+faststart'] });
  truncateSync(clip('short-data.mov'), Math.floor(readFileSync(clip('short-data.mov')).length * 0.6));
  await makeMovie(clip('corrupt.mov'), { frames: 48, size: '640x360' });
  spoil(clip('corrupt.mov'), 0.5, 20_000);
  await makeMovie(clip('no-timecode.mov'), { timecode: null });
  await ffmpeg(
    '-f',
    'lavfi',
    '-i',
    'testsrc2=s=320x180:r=30:d=2',
    '-vf',
    "select='not(eq(mod(n\\,7)\\,3))'",
    '-fps_mode',
    'vfr',
    '-c:v',
    'libx264',
    '-preset',
    'ultrafast',
    '-timecode',
    '01:00:00:00',
    clip('uneven.mov'),
  );
  const small = join(base, 'small.h264');
  const large = join(base, 'large.h264');
  const h264 = ['-c:v', 'libx264', '-preset', 'ultrafast', '-bf', '0'];
  await ffmpeg(
    ...[
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=320x180:r=24:d=1',
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=160x90:r=24:d=1',
    ],
    ...['-map', '0:v', ...h264, large, '-map', '1:v', ...h264, small],
  );
  writeFileSync(join(base, 'both.h264'), Buffer.concat([readFileSync(large), readFileSync(small)]));
  await ffmpeg(
    '-framerate',
    '24',
    '-f',
    'h264',
    '-i',
    join(base, 'both.h264'),
    '-c',
    'copy',
    '-video_track_timescale',
    '24000',
    '-timecode',
    '01:00:00:00',
    clip('two-sizes.mov'),
  );
  await makeMovie(clip('audio-short.mov'), { frames: 48, audioSeconds: 1 });
  await makeMovie(clip('audio-long.mov'), { frames: 24, audioSeconds: 3 });
  await makeMovie(join(roll, 'left', 'same.mov'), { timecode: '03:00:00:00' });
  await makeMovie(join(roll, 'right', 'same.mov'), { timecode: '04:00:00:00' });
  await makeMovie(join(base, 'outside.mov'), {});
  copyFileSync(join(base, 'outside.mov'), clip('target.mov'));
  writeFileSync(clip('playlist.mov'), 'ffconcat version 1.0\nfile target.mov\n');
  writeFileSync(
    clip('playlist-hls.mp4'),
    '#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\ntarget.mov\n#EXT-X-ENDLIST\n',
  );
  writeFileSync(clip('unknown.rawclip'), Buffer.alloc(4096, 7));
  writeMd5Manifest(roll);
}

describe('a roll full of bad clips', () => {
  let result: CliResult;
  let bad: RollVerdict;

  beforeAll(async () => {
    await makeBadRoll(join(day, 'A001'));
    await makeMovie(join(day, 'B001', 'B001C001.mov'), { frames: 24, timecode: '11:00:00:00' });
    writeMd5Manifest(join(day, 'B001'));
    await makeMovie(join(day, 'C001', 'C001C001.mov'), { frames: 24, timecode: '12:00:00:00' });
    writeMd5Manifest(join(day, 'C001'));
    symlinkSync(join(base, 'outside.mov'), join(day, 'C001', 'link.mov'));
    result = await runCli([
      'run',
      day,
      '--deliver',
      delivery,
      '--work',
      join(base, 'work'),
      '--profile',
      profile,
      '--stills',
      '0',
    ]);
    bad = await readVerdict(delivery, 'day-04', 'A001');
  }, 240_000);

  test('ends with 1: something is held', () => {
    expect(result.code, result.stderr).toBe(1);
  });

  test('leaves the roll without fault ready', async () => {
    const good = await readVerdict(delivery, 'day-04', 'B001');
    expect(good.findings.filter((item) => item.code !== 'timecode-assumed')).toEqual([]);
    expect(good.verdict).toBe('ready');
  });

  test('makes and proves the good clips beside the bad ones', () => {
    expect(bad.verdict).toBe('held');
    for (const id of ['good-first', 'target']) {
      const clip = bad.clips.find((entry) => entry.clip.id === id);
      expect(clip?.deliverables.map((entry) => entry.state)).toEqual(['published']);
      expect(clip?.verdict).toBe('ready');
    }
  });

  test.each([
    ['zero', 'clip-empty'],
    ['no-index', 'clip-no-index'],
    ['short-data', 'clip-truncated'],
    ['corrupt', 'clip-decode-error'],
    ['no-timecode', 'timecode-missing'],
    ['uneven', 'clip-rate-varies'],
    ['two-sizes', 'clip-raster-changes'],
    ['audio-short', 'audio-length'],
    ['audio-long', 'audio-length'],
    ['playlist', 'clip-playlist'],
    ['playlist-hls', 'clip-playlist'],
  ])('%s is held with %s', (id, code) => {
    expect(codesOfClip(bad, id)).toContain(code);
    expect(bad.clips.find((entry) => entry.clip.id === id)?.verdict).toBe('held');
  });

  test('two clips that would get the same name are both held, and neither is made', () => {
    const same = bad.clips.filter((entry) => entry.clip.name === 'same');
    expect(same).toHaveLength(2);
    for (const entry of same) expect(codesOfClip(bad, entry.clip.id)).toContain('name-collision');
    expect(
      filesBelow(join(delivery, 'day-04', 'A001')).filter(
        (file) => file.includes('same') && file.endsWith('.mov'),
      ),
    ).toEqual([]);
  });

  test('a file that nobody understands holds the roll by its name', () => {
    expect(bad.findings.filter((item) => item.code === 'file-unrecognised').map((item) => item.file)).toEqual(
      ['unknown.rawclip'],
    );
  });

  test('a link out of the roll is never followed, and holds its roll before anything is made', async () => {
    const linked = await readVerdict(delivery, 'day-04', 'C001');
    expect(linked.verdict).toBe('held');
    expect(codesOf(linked)).toContain('link-leaves-roll');
    expect(linked.clips).toEqual([]);
  });

  test('every record, of what is held and of what is ready, fits its JSON Schema', () => {
    expect(recordsIn(delivery)).toEqual({
      kinds: [
        'clip-report',
        'deliverable-report',
        'handover-predicate',
        'pages-predicate',
        'roll',
        'statement-predicate',
      ],
      faults: [],
    });
  });

  test('nothing stands under a final name but what is published', () => {
    const made = filesBelow(join(delivery, 'day-04', 'A001', 'small-vc3'));
    expect(made).toEqual(['good-first.mov', 'target.mov']);
  });
});
