/** Intake of a roll against the checksum program on the same files. */
import { execFile, execFileSync } from 'node:child_process';
import { closeSync, mkdirSync, mkdtempSync, openSync, rmSync, writeFileSync, writeSync } from 'node:fs';
import { createCipheriv } from 'node:crypto';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { noDayManifests } from '../../files/manifest/day.ts';
import { intakeRoll } from '../../coordinator/intake/index.ts';
import { makeManifest } from '../../coordinator/manifests/make.ts';
import type { BenchLine } from './line.ts';
import { median } from './median.ts';

const FILES = 3;
const MEBIBYTES = 1536;
const REPETITIONS = 7;
const READERS = 4;
const ALL_BYTES = FILES * MEBIBYTES * 2 ** 20;

/** Bytes without a pattern, the same every time: the key stream of a cipher under a fixed key. */
function writeNoise(path: string, seed: number): void {
  const cipher = createCipheriv('aes-128-ctr', Buffer.alloc(16, seed), Buffer.alloc(16));
  const nothing = Buffer.alloc(8 * 2 ** 20);
  const file = openSync(path, 'w');
  for (let written = 0; written < MEBIBYTES; written += 8) writeSync(file, cipher.update(nothing));
  closeSync(file);
}

async function secondsOf(act: () => Promise<unknown>): Promise<number> {
  const started = performance.now();
  await act();
  return (performance.now() - started) / 1000;
}

/** Medians of alternating repetitions, after one of each that is not counted: it fills the page cache. */
async function alternating(
  ours: () => Promise<unknown>,
  theirs: () => Promise<unknown>,
): Promise<{ ours: number; theirs: number }> {
  const seconds: { ours: number[]; theirs: number[] } = { ours: [], theirs: [] };
  for (let turn = 0; turn <= REPETITIONS; turn += 1) {
    const pair = { theirs: await secondsOf(theirs), ours: await secondsOf(ours) };
    if (turn === 0) continue;
    seconds.ours.push(pair.ours);
    seconds.theirs.push(pair.theirs);
  }
  return { ours: median(seconds.ours), theirs: median(seconds.theirs) };
}

export async function benchIntake(): Promise<BenchLine[]> {
  const base = mkdtempSync(join(tmpdir(), 'rushlight-bench-'));
  try {
    const roll = join(base, 'day', 'A001');
    mkdirSync(roll, { recursive: true });
    const names = Array.from({ length: FILES }, (_, index) => `A001C00${index + 1}.mov`);
    for (const [index, name] of names.entries()) writeNoise(join(roll, name), index + 1);
    const listed = join(base, 'listed');
    mkdirSync(listed);
    writeFileSync(
      join(listed, 'A001.xxh64'),
      execFileSync('xxhsum', ['-H1', ...names], { cwd: roll, stdio: ['ignore', 'pipe', 'ignore'] }),
    );
    const made = join(base, 'manifests');
    await makeManifest({ rollFolder: roll, to: made, algorithm: 'xxh128' });

    const intake = (manifests: string) => async (): Promise<void> => {
      const result = await intakeRoll({
        day: 'day',
        roll: 'A001',
        folder: roll,
        copies: [],
        manifests: [manifests],
        dayManifests: noDayManifests,
        readers: READERS,
      });
      const read = result.copies[0];
      if (read?.verified !== true || read.bytes !== ALL_BYTES || result.manifests[0]?.files !== FILES)
        throw new Error(
          `intake did not prove the roll: ${JSON.stringify({ findings: result.findings, copies: result.copies })}`,
        );
    };
    const program = (name: string) => async (): Promise<void> => {
      await promisify(execFile)(name, names, { cwd: roll });
    };
    const lines: BenchLine[] = [];
    for (const { manifests, sum, kind, target } of [
      { manifests: listed, sum: 'xxh64sum', kind: 'checksum file, XXH64', target: 0.8 },
      { manifests: made, sum: 'xxh128sum', kind: 'ASC MHL, XXH128', target: null },
    ]) {
      const { ours, theirs } = await alternating(intake(manifests), program(sum));
      const ratio = theirs / ours;
      const rate = (seconds: number): string => `${(ALL_BYTES / 2 ** 30 / seconds).toFixed(2)} GiB/s`;
      lines.push({
        name: `intake, ${kind}`,
        measured: `${ratio.toFixed(2)} of ${sum} (${rate(ours)} against ${rate(theirs)})`,
        target: target === null ? 'reported' : `at least ${target}`,
        passed: target === null ? null : ratio >= target,
      });
    }
    return lines;
  } finally {
    rmSync(base, { recursive: true, force: true });
  }
}
