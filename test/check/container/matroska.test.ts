/** A lossless deliverable with one value changed, its checksums right again, is held with the place and the byte; what only informs is a note. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { pictureStream } from '../../../check/ffv1.ts';
import { judgeMatroska } from '../../../check/matroska-judge.ts';
import { readMatroska } from '../../../check/matroska.ts';
import type { Judged } from '../../../check/container-verdict.ts';
import { loadProfiles } from '../../../profiles/load.ts';
import { isMovie } from '../../../profiles/schema.ts';
import { freshFolder, madeOnce, sharedFolder } from '../../support/folder.ts';
import { type Made, makeAll } from '../../support/make.ts';
import { changed, renamed, withChecksums } from '../../support/matroska-editor.ts';
import { makeMovie } from '../../support/media.ts';

let made: Made;
let whole: Buffer;
beforeAll(async () => {
  const folder = join(sharedFolder, 'matroska-edits');
  const source = join(folder, 'A001C001.mov');
  await madeOnce(folder, async () => {
    await makeMovie(source, { frames: 12, size: '160x120', audio: [2], timecode: '01:00:00:00' });
  });
  const { profiles } = await loadProfiles({ wanted: ['archive-ffv1'] });
  const [one] = await makeAll(
    source,
    profiles.filter(isMovie).map(({ profile }) => profile),
    join(folder, `made-${process.pid}`),
  );
  made = one as Made;
  whole = readFileSync(made.path);
}, 240_000);

async function judged(bytes: Buffer): Promise<Judged> {
  const path = join(freshFolder('edited'), 'a.mkv');
  writeFileSync(path, bytes);
  const file = await readMatroska(path);
  return judgeMatroska({ file, ...pictureStream(file) }, made.outcome, made.checked.facts);
}

const u8 = (...values: readonly number[]): Buffer => Buffer.from(values);
const text = (value: string): Buffer => Buffer.from(value, 'latin1');

test('as it was made it passes, and checksums that are put right are those that were there', async () => {
  expect(made.checked.findings).toEqual([]);
  expect(withChecksums(Buffer.from(whole)).equals(whole)).toBe(true);
  const { faults, notes, fields } = await judged(whole);
  expect([faults, notes]).toEqual([[], []]);
  expect(fields).toBeGreaterThan(100);
});

test.each<[title: string, (bytes: Buffer) => Buffer, RegExp]>([
  ['transfer of PQ', (bytes) => changed(bytes, 0x55ba, u8(16)), /TransferCharacteristics at byte \d+: 16/],
  ['primaries of BT.2020', (bytes) => changed(bytes, 0x55bb, u8(9)), /Primaries at byte \d+: 9/],
  ['full range', (bytes) => changed(bytes, 0x55b9, u8(2)), /Range at byte \d+: 2/],
  [
    'a colour tag less',
    (bytes) => renamed(bytes, 0x55ba, 0x55b8),
    /no Tracks\/TrackEntry\[1\]\/Video\/Colour\/TransferCharacteristics/,
  ],
  ['another width', (bytes) => changed(bytes, 0xb0, u8(161)), /PixelWidth at byte \d+: 161/],
  ['interlaced', (bytes) => changed(bytes, 0x9a, u8(1)), /FlagInterlaced at byte \d+: 1/],
  ['a track that is disabled', (bytes) => renamed(bytes, 0x88, 0xb9), /0xb9 at byte \d+/],
  [
    'French',
    (bytes) => changed(bytes, 0x22b59c, text('fra'), 2),
    /TrackEntry\[2\]\/Language at byte \d+: "fra"/,
  ],
  ['lacing', (bytes) => changed(bytes, 0x9c, u8(1)), /FlagLacing at byte \d+: 1/],
  ['audio of one channel', (bytes) => changed(bytes, 0x9f, u8(1)), /Channels at byte \d+: 1/],
  ['audio of 16 bits', (bytes) => changed(bytes, 0x6264, u8(16)), /BitDepth at byte \d+: 16/],
  [
    'audio at another rate',
    (bytes) => changed(bytes, 0xb5, u8(0x40, 0xe5, 0x88, 0x80, 0, 0, 0, 0)),
    /SamplingFrequency at byte \d+: 44100/,
  ],
  [
    'a clock twice as fast',
    (bytes) => changed(bytes, 0x2ad7b1, u8(0x07, 0xa1, 0x20)),
    /TimestampScale at byte \d+: 500000/,
  ],
  [
    'half as long',
    (bytes) => changed(bytes, 0x4489, u8(0x40, 0x6f, 0x40, 0, 0, 0, 0, 0)),
    /Duration at byte \d+/,
  ],
  ['a name of a part', (bytes) => changed(bytes, 0x45a3, text('X_NUMBER'), 4), /"X_NUMBER"/],
  ['another timecode', (bytes) => changed(bytes, 0x4487, text('02:00:00:00')), /"TIMECODE" "02:00:00:00"/],
  ['another reel', (bytes) => changed(bytes, 0x4487, text('B001'), 2), /"REEL_NAME" "B001"/],
  ['the reel of the audio', (bytes) => changed(bytes, 0x63c5, u8(2)), /"REEL_NAME"/],
  [
    'a seek head that points elsewhere',
    (bytes) => changed(bytes, 0x53ac, u8(0xa2)),
    /SeekHead\/Seek\[1\] at byte \d+/,
  ],
  [
    'a cue that points elsewhere',
    (bytes) => changed(bytes, 0xf0, u8(10), 3),
    /Cues\/CuePoint\[3\] at byte \d+/,
  ],
  ['a cue of another time', (bytes) => changed(bytes, 0xb3, u8(84), 2), /Cues\/CuePoint\[2\] at byte \d+/],
  [
    'a picture that is not to be shown',
    (bytes) => {
      const copy = Buffer.from(bytes);
      const block = copy.indexOf(Buffer.from([0x81, 0, 0, 0x80]));
      copy[block + 3] = 0x88;
      return withChecksums(copy);
    },
    /Cluster\/flags of a block at byte \d+: 136/,
  ],
  [
    'a part without its checksum',
    (bytes) => {
      const copy = Buffer.from(bytes);
      const tags = copy.indexOf(Buffer.from([0x12, 0x54, 0xc3, 0x67]));
      const crc = copy.indexOf(Buffer.from([0xbf, 0x84]), tags);
      copy[crc] = 0xec;
      return copy;
    },
    /at byte \d+: no checksum/,
  ],
])('%s: held', async (_title, edit, says) => {
  const { faults } = await judged(edit(whole));
  expect(faults.map(({ found }) => found).join('\n')).toMatch(says);
});

test.each<[title: string, (bytes: Buffer) => Buffer, RegExp]>([
  ['another program', (bytes) => changed(bytes, 0x4d80, text('Bell')), /MuxingApp at byte \d+: "Bell"/],
  ['another encoder', (bytes) => changed(bytes, 0x4487, text('Bell ffv1'), 3), /"Bell ffv1"/],
  ['a text that names nothing', (bytes) => changed(bytes, 0x45a3, text('COMMENT'), 3), /"COMMENT"/],
])('%s: a note', async (_title, edit, says) => {
  const { faults, notes } = await judged(edit(whole));
  expect(faults).toEqual([]);
  expect(notes.map(({ found }) => found).join('\n')).toMatch(says);
});
