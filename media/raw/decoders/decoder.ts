/** What every decoder of raw frames is to the rest: a name, a version, what it refuses, and the sensor's code values of one frame. */
import { readFile } from 'node:fs/promises';
import { CodedError } from '../../../files/coded-error.ts';
import { fsPath } from '../../../files/names.ts';
import type { Samples } from '../../formats/dng/decode.ts';
import type { DngFrame } from '../../formats/dng/header.ts';
import { sourceOfBytes } from '../../formats/tiff/header.ts';
import { readDng } from '../../formats/dng/reader.ts';
import type { Declaration } from '../../declaration.ts';

export interface Cfa {
  /** Code values as stored, before any linearisation, row by row, samples of a pixel beside each other; the whole raw picture, masked borders included. */
  readonly cfa: Samples;
  readonly width: number;
  readonly height: number;
}

export interface DecodeOptions {
  readonly signal?: AbortSignal;
  /** All bytes of the file when the caller has read them. */
  readonly file?: Buffer;
}

export interface RawDecoder {
  readonly name: string;
  readonly version: string;
  /** Of a declared decoder: what other machines find it by. */
  readonly declaration?: Declaration;
  /** Why this frame is for another decoder; null when it takes it. */
  objection(path: string, frame: DngFrame): string | null;
  /** Throws StillDamage for a frame that is damaged, DecoderFailed when a program fails, and the file system's errors. `path` is absolute, in the form of files/names.ts. */
  decode(path: string, frame: DngFrame, options?: DecodeOptions): Promise<Cfa>;
}

export class DecoderFailed extends CodedError {
  readonly decoder: string;
  constructor(decoder: string, detail: string) {
    super('decoder-failed', `${decoder}: ${detail}`);
    this.name = 'DecoderFailed';
    this.decoder = decoder;
  }
}

/** One file as it is handed to a decoder: read once, its tags and its bytes. Throws StillDamage, DngRefusal, or the file system's error. */
export async function openRaw(path: string): Promise<{ frame: DngFrame; file: Buffer }> {
  const file = await readFile(fsPath(path));
  return { frame: await readDng(sourceOfBytes(file)), file };
}

/** The first that takes the frame; otherwise what each has against it. */
export function chooseDecoder(
  path: string,
  frame: DngFrame,
  decoders: readonly RawDecoder[],
): { readonly decoder: RawDecoder } | { readonly objections: readonly string[] } {
  const objections: string[] = [];
  for (const decoder of decoders) {
    const objection = decoder.objection(path, frame);
    if (objection === null) return { decoder };
    objections.push(`${decoder.name}: ${objection}`);
  }
  return { objections };
}
