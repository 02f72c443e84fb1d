/** Remedies that a run gives most often, followed word for word to the end that they promise. One small day, changed and mended. */
import { execFileSync } from 'node:child_process';
import { copyFileSync, cpSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { generateKeyPairSync } from 'node:crypto';
import { join } from 'node:path';
import { beforeAll, expect, onTestFinished, test, type TestContext } from 'vitest';
import type { NightResult } from '../../coordinator/night/request.ts';
import { commandProcess, type RunCommand, runCli } from '../support/cli.ts';
import { copyDay, makeDay, writeMd5Manifest } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow } from '../support/lane.ts';
import { ffmpeg } from '../support/media.ts';
import { encoding, heldFfmpeg, nightCommand, runWords } from '../support/night.ts';
import { needsRoot } from '../support/root.ts';
import { recordsIn } from '../support/schemas.ts';

const runCommand = commandProcess();
type Said = Awaited<ReturnType<RunCommand>>;

const base = join(sharedFolder, 'remedies');
const day = join(base, 'day-08');
const copy = join(base, 'copy', 'day-08');
const delivery = join(base, 'delivery');
const backup = join(base, 'backup-of-delivery');
const roll = join(day, 'A001');
const clip = join(roll, 'A001C001.mov');
const deliverable = join(delivery, 'day-08', 'A001', 'small-vc3', 'A001C001.mov');
const aside = join(base, 'moved-away');

const check = (...more: string[]): Promise<Said> =>
  runCommand(['check', day, '--copy', copy, '--quiet', ...more]);
const words = (...more: string[]): string[] =>
  runWords({ day, delivery, work: join(base, 'work') }, '--quiet', ...more);
const run = (...more: string[]): Promise<Said> => runCommand(words(...more));
const audit = (...more: string[]): Promise<Said> => runCommand(['audit', delivery, '--quiet', ...more]);

/** Exit code, and the codes of everything that is held. */
const heldOf = ({ code, stdout, stderr }: Said): [number | null, string[]] => [
  code,
  [...`${stdout}${stderr}`.matchAll(/held {2}.*\[([a-z-]+)\]/g)].map((match) => match[1] as string).sort(),
];
const clear = [0, []];

function flipIn(file: string): void {
  const bytes = readFileSync(file);
  const middle = bytes.length >> 1;
  bytes[middle] = (bytes[middle] as number) ^ 1;
  writeFileSync(file, bytes);
}

beforeAll(async () => {
  await makeDay(day, { A001: { 'A001C001.mov': { frames: 12 } } });
  copyDay(day, copy);
  mkdirSync(aside);
}, 120_000);

test('manifest-missing: make one, pass its folder with --manifests, and both copies are verified', async () => {
  const old = readFileSync(join(roll, 'checksums.md5'));
  for (const folder of [day, copy]) rmSync(join(folder, 'A001', 'checksums.md5'));
  expect(heldOf(await check())).toEqual([1, ['manifest-missing']]);
  const manifests = join(base, 'manifests');
  expect((await runCommand(['manifest', roll, '--to', manifests])).code).toBe(0);
  expect(heldOf(await check('--manifests', manifests))).toEqual(clear);
  for (const folder of [day, copy]) writeFileSync(join(folder, 'A001', 'checksums.md5'), old);
}, 120_000);

test('file-checksum-differs: copy the file again from the copy that is verified', async () => {
  flipIn(clip);
  const [code, held] = heldOf(await check());
  expect(code).toBe(1);
  expect(held).toContain('file-checksum-differs');
  copyFileSync(join(copy, 'A001', 'A001C001.mov'), clip);
  expect(heldOf(await check())).toEqual(clear);
}, 120_000);

test('roll-file-absent: copy the file again from the copy that is verified', async () => {
  rmSync(clip);
  const [code, held] = heldOf(await check());
  expect(code).toBe(1);
  expect(held).toContain('roll-file-absent');
  copyFileSync(join(copy, 'A001', 'A001C001.mov'), clip);
  expect(heldOf(await check())).toEqual(clear);
}, 120_000);

test('file-unlisted: move the file out of the roll, or make a manifest that lists it', async () => {
  const note = join(roll, 'note.txt');
  const alone = ['check', day, '--quiet'];
  writeFileSync(note, 'take 3 is the good one\n');
  expect(heldOf(await runCommand(alone))).toEqual([1, ['file-unlisted']]);
  const manifests = join(base, 'manifests-with-note');
  expect((await runCommand(['manifest', roll, '--to', manifests])).code).toBe(0);
  expect(heldOf(await runCommand([...alone, '--manifests', manifests]))).toEqual(clear);
  renameSync(note, join(aside, 'note.txt'));
  expect(heldOf(await runCommand(alone))).toEqual(clear);
}, 120_000);

test('sequence-rate-unknown: state the rate with --rate', async () => {
  const stills = join(base, 'stills', 'day-08');
  mkdirSync(join(stills, 'B001', 'B001C001'), { recursive: true });
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=320x180:r=24', '-frames:v', '3', '-pix_fmt', 'rgb24'],
    join(stills, 'B001', 'B001C001', 'B001C001.%04d.tif'),
  );
  writeMd5Manifest(join(stills, 'B001'));
  const plan = (...more: string[]): Promise<Said> =>
    runCommand(['plan', stills, '--deliver', join(base, 'stills-out'), '--quiet', '--json', ...more]);
  const codes = ({ stdout }: Said): string[] =>
    (JSON.parse(stdout) as { findings: { code: string }[] }).findings.map((item) => item.code);
  expect(codes(await plan())).toContain('sequence-rate-unknown');
  expect(codes(await plan('--rate', '24'))).not.toContain('sequence-rate-unknown');
}, 120_000);

test('a run with one copy is ready, and says that it is one', async () => {
  const result = await run();
  expect(heldOf(result)).toEqual(clear);
  expect(result.stdout).toMatch(/^ready \(1 copy\) {2}A001 /m);
  cpSync(delivery, backup, { recursive: true });
}, 240_000);

test('digest-differs: restore the file from another copy of the delivery, and the audit is ready', async () => {
  flipIn(deliverable);
  const [code, held] = heldOf(await audit());
  expect(code).toBe(1);
  expect(held).toContain('digest-differs');
  cpSync(backup, delivery, { recursive: true });
  expect(heldOf(await audit())).toEqual(clear);
}, 240_000);

test('digest-differs and file-absent without another copy: move what is there away and run again; left there, it is never overwritten. work-folder-in-use meanwhile: wait for that run to end', async () => {
  const good = join(aside, 'A001C001.mov');
  renameSync(deliverable, good);
  const [codeWithout, heldWithout] = heldOf(await audit());
  expect(codeWithout).toBe(1);
  expect(heldWithout).toContain('file-absent');
  copyFileSync(good, deliverable);
  flipIn(deliverable);
  const changed = readFileSync(deliverable);
  const [code, held] = heldOf(await run());
  expect(code).toBe(1);
  expect(held).toContain('target-name-taken');
  expect(readFileSync(deliverable)).toEqual(changed);
  renameSync(deliverable, join(aside, 'A001C001-changed.mov'));
  const wait = heldFfmpeg(freshFolder('held'));
  // A process of its own: others are run meanwhile.
  const mending = runCli(words(...wait.words));
  const folders = { day, copy, delivery, work: join(base, 'work') };
  try {
    await encoding(folders);
    const refused = await runCommand(nightCommand({ ...folders, delivery: join(base, 'another-delivery') }));
    expect(refused.code).toBe(2);
    expect(refused.stdout).toContain('"work-folder-in-use"');
    const status = await runCommand(['status', delivery, '--work', folders.work, '--json']);
    expect(JSON.parse(status.stdout)).toMatchObject({ atWork: { state: 'alive' } });
  } finally {
    wait.letGo();
  }
  expect(heldOf(await mending)).toEqual(clear);
  expect(heldOf(await audit())).toEqual(clear);
}, 240_000);

// With one roll that fits and one that does not, in npm test: bad-targets.test.ts.
const spaceFreed = async (context: TestContext): Promise<void> => {
  needsRoot(context);
  const volume = freshFolder('volume');
  execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=256k', 'rushlight-test', volume]);
  onTestFinished(() => void execFileSync('umount', ['-l', volume]));
  const there = { day, copy, delivery: join(volume, 'delivery'), work: join(base, 'work') };
  const short = JSON.parse((await runCli(nightCommand(there))).stdout) as NightResult;
  expect(short.rolls.flatMap(({ findings }) => findings.map((item) => item.code))).toContain('target-short');
  execFileSync('mount', ['-o', 'remount,size=64m', volume]);
  const again = await runCli(nightCommand(there));
  expect(again.code, again.stderr).toBe(0);
};
if (everyRow) test('target-short: free space on the delivery drive, and run again', spaceFreed, 240_000);

test('signature-absent after a run that changed the statement: sign again', async () => {
  const { privateKey, publicKey } = generateKeyPairSync('ed25519');
  const key = join(base, 'dit.pem');
  const open = join(base, 'dit.pub.pem');
  writeFileSync(key, privateKey.export({ type: 'pkcs8', format: 'pem' }), { mode: 0o600 });
  writeFileSync(open, publicKey.export({ type: 'spki', format: 'pem' }));
  expect((await runCommand(['sign', delivery, '--key', key, '--quiet'])).code).toBe(0);
  expect(heldOf(await audit('--public-key', open))).toEqual(clear);
  // A second copy is named: the statement says so, and the old signature is of another one.
  const again = await run('--copy', copy);
  expect(heldOf(again)).toEqual(clear);
  expect(again.stdout).toMatch(/^ready \(2 copies\) {2}A001 /m);
  expect(heldOf(await audit('--public-key', open))).toEqual([1, ['signature-absent', 'verdict-differs']]);
  expect((await runCommand(['sign', delivery, '--key', key, '--quiet'])).code).toBe(0);
  expect(heldOf(await audit('--public-key', open))).toEqual(clear);
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
}, 240_000);
