/** A machine proves itself: each thing that jobs need of it, there and not there. Real programs, folders and mounts. */
import { execFileSync } from 'node:child_process';
import { chmodSync, mkdirSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { type MachineProof, proveClass, proveMachine } from '../../coordinator/machine/proof.ts';
import type { Posting } from '../../ledger/farm.ts';
import { deliveryPlace, numberedName } from '../../ledger/lease.ts';
import { createLease, newLease } from '../../ledger/lease-file.ts';
import { tryKeeping } from '../../ledger/target-health.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import { freshFolder } from '../support/folder.ts';
import { mediaTools } from '../support/make.ts';
import { needsRoot } from '../support/root.ts';

const codes = (findings: readonly { readonly code: string }[]): string[] => findings.map(({ code }) => code);

interface Bench {
  readonly folder: string;
  readonly posting: Posting;
  readonly machine: MachineProof;
}

/** A day, a delivery that run-1 has, and a machine whose programs are known. */
async function bench(): Promise<Bench> {
  const folder = freshFolder('proof');
  const [source, delivery] = [join(folder, 'day-03'), join(folder, 'delivery')];
  mkdirSync(join(source, 'A001'), { recursive: true });
  mkdirSync(delivery);
  await createLease(join(delivery, numberedName(deliveryPlace(delivery), 1)), newLease('run-1'));
  const tools = await mediaTools();
  return {
    folder,
    machine: { tools: { found: tools }, findings: [] },
    posting: {
      version: 0,
      queue: 'rushlight-jobs-run-1-0',
      run: 'run-1',
      delivery,
      source,
      rolls: [join(source, 'A001')],
      toolchain: toolchainOf(tools).digest,
      weight: 1,
      decoders: [],
      volumes: [],
    },
  };
}

test('a machine that has everything is fit, and leaves nothing behind', async () => {
  const { posting, machine } = await bench();
  expect(await proveClass(posting, machine)).toEqual([]);
  expect(readdirSync(posting.delivery)).toEqual(['.rushlight-lease-run-1']);
});

test.each<[string, (bench: Bench) => Partial<Posting> | undefined, string]>([
  [
    'a roll that is not there',
    ({ posting }) => void rmSync(posting.rolls[0] as string, { recursive: true }),
    'source-missing',
  ],
  [
    'a delivery that is not there',
    ({ folder }) => ({ delivery: join(folder, 'nowhere') }),
    'target-is-another',
  ],
  [
    'an empty folder in its place',
    ({ folder }) => {
      mkdirSync(join(folder, 'empty'));
      return { delivery: join(folder, 'empty') };
    },
    'target-is-another',
  ],
  ['a delivery that another run has', () => ({ run: 'run-2' }), 'target-is-another'],
  ['other programs than the run', () => ({ toolchain: 'another' }), 'toolchain-differs'],
  [
    'a decoder that is of another version',
    () => ({ decoders: [{ name: 'LibRaw', version: '0.0.1' }] }),
    'decoder-differs',
  ],
])('%s', async (_, spoil, code) => {
  const made = await bench();
  const changed = spoil(made) ?? {};
  const found = codes(await proveClass({ ...made.posting, ...changed }, made.machine));
  // Where LibRaw is not installed, that is what is found of it.
  expect(found.map((one) => (one === 'raw-no-decoder' ? 'decoder-differs' : one))).toEqual([code]);
});

test('a delivery that is full, or cannot be written, is tried and not asked', async (context) => {
  needsRoot(context);
  const { folder } = await bench();
  const small = join(folder, 'small');
  mkdirSync(small);
  execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=64k', 'none', small]);
  try {
    await expect(tryKeeping(join(small, 'trial'), Buffer.alloc(256 * 1024))).rejects.toMatchObject({
      code: 'ENOSPC',
    });
    expect(readdirSync(small)).toEqual([]);
    execFileSync('mount', ['-o', 'remount,ro', small]);
    await expect(tryKeeping(join(small, 'trial'), Buffer.alloc(4096))).rejects.toMatchObject({
      code: 'EROFS',
    });
  } finally {
    execFileSync('umount', [small]);
  }
});

test('a program that does not answer makes a machine unfit for everything; one that is there does not', async () => {
  const folder = freshFolder('proof');
  const hangs = join(folder, 'ffmpeg');
  writeFileSync(hangs, '#!/bin/sh\nexec sleep 60\n');
  chmodSync(hangs, 0o755);
  const { ffprobe } = await mediaTools();
  const proof = await proveMachine({ ffmpeg: hangs, ffprobe: ffprobe.path, patienceMilliseconds: 400 });
  expect(codes(proof.findings)).toEqual(['tool-unusable']);
  expect(proof.findings[0]?.found).toContain('no answer');
  const { posting } = await bench();
  expect(codes(await proveClass(posting, proof))).toEqual(['tool-unusable']);
});
