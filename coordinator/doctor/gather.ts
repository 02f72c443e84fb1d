/** Measures the machine: asks the programs, the file systems and the system. Reads only. */
import { availableParallelism, totalmem } from 'node:os';
import { type Finding, FindingError, finding } from '../../findings/finding.ts';
import { printableAddress } from '../../ledger/queue.ts';
import { locateLibRaw } from '../../media/raw/decoders/libraw.ts';
import { abilitiesOf, decodersOf, type FoundTool, locateTool } from '../../process/locate.ts';
import { runForAnswer } from '../../process/answer.ts';
import { findStoreProgram } from '../store/private.ts';
import { inspectSharedRedis, parseQueueAddress, type QueueFileOptions } from '../store/shared.ts';
import type { AllAbilities, MachineFacts, SharedQueue, StoreProgram, VolumeFacts } from './facts.ts';
import { font, kernelFacts, sought, volume } from './measure.ts';

export interface DoctorQuestion extends QueueFileOptions {
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  /** A shared queue; then no program for a built-in one is needed. */
  readonly queue?: string;
  readonly deliver?: string;
  readonly work?: string;
  /** How long a program may stay silent when asked for its version, ms. */
  readonly patienceMilliseconds?: number;
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

async function sharedQueue(text: string, files: QueueFileOptions): Promise<SharedQueue> {
  const look = async (): Promise<{ address: string; notes: Finding[] }> => {
    const address = parseQueueAddress(text, files);
    return { address: printableAddress(address), notes: await inspectSharedRedis(address) };
  };
  const looked = await sought(look());
  return 'found' in looked
    ? { address: looked.found.address, findings: looked.found.notes }
    : { address: '--queue', findings: looked.findings };
}

/** A container's share where there is one (process.constrainedMemory gives 0 or a number beyond the machine when there is none). */
function memoryBytes(): number {
  const share = process.constrainedMemory();
  return share > 0 && share < totalmem() ? share : totalmem();
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
    question.queue === undefined ? null : sharedQueue(question.queue, question),
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
