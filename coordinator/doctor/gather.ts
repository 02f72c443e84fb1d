/** Measures the machine: asks the programs, the file systems and the system. Reads only. */
import { accessSync, constants, existsSync, statSync } from 'node:fs';
import { statfs } from 'node:fs/promises';
import { availableParallelism, totalmem } from 'node:os';
import { dirname, resolve } from 'node:path';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { printableAddress } from '../../ledger/queue.ts';
import { burnInFont } from '../../files/installation.ts';
import { kernelNames, loadKernel } from '../../media/kernels/memory.ts';
import { locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { abilitiesOf, decodersOf, type FoundTool, locateTool } from '../../process/locate.ts';
import { runForAnswer } from '../../process/answer.ts';
import { findStoreProgram } from '../store/private.ts';
import { inspectSharedRedis, parseQueueAddress } from '../store/shared.ts';
import type { AllAbilities, MachineFacts, Sought, SharedQueue, StoreProgram, VolumeFacts } from './facts.ts';

export interface DoctorQuestion {
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  /** A shared queue; then no program for a built-in one is needed. */
  readonly queue?: string;
  readonly deliver?: string;
  readonly work?: string;
  /** How long a program may stay silent when asked for its version, ms. */
  readonly patienceMilliseconds?: number;
}

/** The findings of a refusal as a value; anything else is a fault of ours and goes on up. */
async function sought<Found>(search: Promise<Found>): Promise<Sought<Found>> {
  try {
    return { found: await search };
  } catch (error) {
    if (error instanceof FindingError) return { findings: error.findings };
    throw error;
  }
}

async function storeProgram(patienceMilliseconds: number): Promise<StoreProgram> {
  const wanted = 'redis-server or valkey-server';
  const named = process.env.RUSHLIGHT_REDIS_SERVER ?? '';
  const path = findStoreProgram();
  if (path === null)
    throw new FindingError(
      [finding('store-program-missing', named === '' ? 'not on PATH' : `${named} is not a program`, wanted)],
      3,
    );
  const run = await runForAnswer(path, ['--version'], { stallMilliseconds: patienceMilliseconds });
  // `Redis server v=7.0.15 sha=…`, `Valkey server v=8.1.1 sha=…`
  const match = /^(Redis|Valkey) server v=(\S+)/.exec(run.text);
  if (run.reason !== 'exited' || run.exitCode !== 0 || match === null || !run.whole) {
    throw new FindingError(
      [
        finding(
          'tool-unusable',
          `${path} --version: ${run.reason === 'stalled' ? 'no answer' : 'no such line'}`,
          'a line `Redis server v=…` or `Valkey server v=…`',
        ),
      ],
      3,
    );
  }
  return {
    path,
    from: named === '' ? 'path' : 'environment',
    product: match[1] as string,
    version: match[2] as string,
  };
}

async function sharedQueue(text: string): Promise<SharedQueue> {
  const look = async (): Promise<{ address: string; notes: Finding[] }> => {
    const address = parseQueueAddress(text);
    return { address: printableAddress(address), notes: await inspectSharedRedis(address) };
  };
  const looked = await sought(look());
  return 'found' in looked
    ? { address: looked.found.address, findings: looked.found.notes }
    : { address: '--queue', findings: looked.findings };
}

async function volume(role: VolumeFacts['role'], name: string): Promise<VolumeFacts> {
  const folder = resolve(name);
  let measured = folder;
  while (!existsSync(measured) && dirname(measured) !== measured) measured = dirname(measured);
  let writable = true;
  try {
    accessSync(measured, constants.W_OK);
  } catch {
    // Not allowed, or a volume mounted read-only: reported as not writable.
    writable = false;
  }
  if (!statSync(measured).isDirectory())
    return {
      role,
      folder,
      measured,
      freeBytes: null,
      freeFiles: null,
      writable,
      error: `${measured} is not a folder`,
    };
  try {
    const space = await statfs(measured);
    return {
      role,
      folder,
      measured,
      freeBytes: space.bavail * space.bsize,
      freeFiles: space.files === 0 ? null : space.ffree,
      writable,
      error: null,
    };
  } catch (error) {
    return {
      role,
      folder,
      measured,
      freeBytes: null,
      freeFiles: null,
      writable,
      error: (error as Error).message,
    };
  }
}

function font(): string | null {
  try {
    return burnInFont();
  } catch {
    // require.resolve throws when the package is not installed.
    return null;
  }
}

/** A container's share where there is one (process.constrainedMemory gives 0 or a number beyond the machine when there is none). */
function memoryBytes(): number {
  const share = process.constrainedMemory();
  return share > 0 && share < totalmem() ? share : totalmem();
}

async function kernelFacts(): Promise<MachineFacts['kernels']> {
  return await Promise.all(
    kernelNames.map(async (name) => ({
      name,
      error: await loadKernel(name).then(
        () => null,
        (error: unknown) => (error instanceof Error ? error.message : String(error)),
      ),
    })),
  );
}

export async function gather(question: DoctorQuestion): Promise<MachineFacts> {
  const patience = question.patienceMilliseconds ?? 20_000;
  const named: [VolumeFacts['role'], string | undefined][] = [
    ['delivery', question.deliver],
    ['work', question.work],
  ];
  const folders = named.filter((entry): entry is [VolumeFacts['role'], string] => entry[1] !== undefined);
  const [ffmpeg, ffprobe, kernels, libraw, store, queue, volumes] = await Promise.all([
    sought(locateTool('ffmpeg', question.ffmpeg, patience)),
    sought(locateTool('ffprobe', question.ffprobe, patience)),
    kernelFacts(),
    locateLibRaw(),
    question.queue === undefined ? sought(storeProgram(patience)) : null,
    question.queue === undefined ? null : sharedQueue(question.queue),
    Promise.all(
      (folders.length > 0 ? folders : [['here', '.'] as [VolumeFacts['role'], string]]).map(
        ([role, folder]) => volume(role, folder),
      ),
    ),
  ]);
  return {
    node: process.version,
    platform: `${process.platform} ${process.arch}`,
    cores: availableParallelism(),
    memoryBytes: memoryBytes(),
    ffmpeg,
    ffprobe,
    abilities: 'found' in ffmpeg ? await sought(allOf(ffmpeg.found)) : null,
    store,
    queue,
    kernels,
    libraw: libraw === null ? null : `${libraw.name} ${libraw.version}`,
    font: font(),
    volumes,
  };
}

async function allOf(ffmpeg: FoundTool): Promise<AllAbilities> {
  const [abilities, decoders] = await Promise.all([abilitiesOf(ffmpeg), decodersOf(ffmpeg)]);
  return { ...abilities, decoders };
}
