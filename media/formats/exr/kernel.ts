/** The kernels of the EXR writer (media/kernels/assembly/exr.ts) in a thread's memory: what they are called with, and how much room they need. */
import { type KernelMemory, kernels } from '../../kernels/memory.ts';

/** Addresses are of the thread's memory, `y` counts in the data window; see the source for each one's reach. */
export interface ExrKernel {
  /** `count` float32 values to halves. */
  halves(from: number, count: number, to: number): void;
  clearCounts(): void;
  countNans(): number;
  countClamped(): number;
  countClampedBelow(): number;
  /** Writes `count` chunks of one line each, head and values. */
  rawChunks(r: number, g: number, b: number, width: number, firstY: number, count: number, to: number): void;
  splitAndPredict(from: number, size: number, to: number): void;
  scratchBytes(): number;
  /** Size of the zlib stream; 0 when it would not be smaller than `limit`. */
  zlib(from: number, size: number, section: number, scratch: number, to: number, limit: number): number;
  /** Size of the chunk, head included. */
  zipChunk(
    r: number,
    g: number,
    b: number,
    width: number,
    y: number,
    count: number,
    raw: number,
    split: number,
    scratch: number,
    to: number,
  ): number;
}

export interface PizKernel {
  pizScratchBytes(): number;
  /** Size of the codes of `count` words; 0 when they would reach `end`. */
  huffman(from: number, count: number, scratch: number, to: number, end: number): number;
  /** Size of the chunk, head included. `planes`: halves B, G, R, one channel behind the other; they are spoiled. */
  pizChunk(
    planes: number,
    width: number,
    y: number,
    count: number,
    raw: number,
    scratch: number,
    to: number,
  ): number;
}

export interface DwaKernel {
  dwaScratchBytes(): number;
  dwaPrepare(level: number, scratch: number): void;
  /** Count of the words at `ac`; see the source for what lies where. */
  dwaBlocks(planes: number, width: number, count: number, scratch: number, dc: number, ac: number): number;
}

/** What kernels may read and write behind the end of an area. */
export const KERNEL_SLACK = 64;

/** And PIZ behind the end of a chunk that does not become smaller, before it gives up. */
export const PIZ_SLACK = 4096;

export const dwaKernel = (memory: KernelMemory): Promise<DwaKernel> => kernels<DwaKernel>('dwa', memory);
export const pizKernel = (memory: KernelMemory): Promise<PizKernel> => kernels<PizKernel>('piz', memory);
export const exrKernel = (memory: KernelMemory): Promise<ExrKernel> => kernels<ExrKernel>('exr', memory);
