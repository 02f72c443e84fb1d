/** Asks a declared decoder what a clip is: frames, rate, size, timecode, reel. What it does not say is null; what it says and cannot be is a finding. */
import { type Finding, type FindingSubject, finding } from '../../../../findings/finding.ts';
import { printable } from '../../../../files/names.ts';
import { type Rate, parseRate } from '../../../time/rate.ts';
import { endsItsLine, isWholeJson, type WholeText, wholeText } from '../../../../process/answer.ts';
import { DecoderFailed } from '../decoder.ts';
import { type Call, callProgram } from './call.ts';
import type { LoadedDecoder } from './programs.ts';

export interface ReportedClip {
  readonly frames: number | null;
  readonly rate: Rate | null;
  readonly width: number | null;
  readonly height: number | null;
  /** As the program wrote it, not yet checked against a rate. */
  readonly timecode: string | null;
  readonly reel: string | null;
}

const MOST_BYTES = 8 * 1024 * 1024;

/** The value at a JSON pointer (RFC 6901) as text; null when there is none, or it is no plain value. */
export function atPointer(document: unknown, pointer: string): string | null {
  let at = document;
  for (const part of pointer.split('/').slice(1)) {
    const name = part.replaceAll('~1', '/').replaceAll('~0', '~');
    if (typeof at !== 'object' || at === null || !Object.hasOwn(at, name)) return null;
    at = (at as Record<string, unknown>)[name];
  }
  return typeof at === 'string' || typeof at === 'number' ? String(at) : null;
}

function wholeNumber(text: string): number {
  const value = /^\s*(\d{1,9})\s*$/.exec(text)?.[1];
  if (value === undefined || Number(value) === 0) throw new RangeError('no number of things that are there');
  return Number(value);
}

/** All that the program prints of the clip. Throws DecoderFailed, and the signal's reason when stopped. */
async function described(decoder: LoadedDecoder, call: Call): Promise<string> {
  const chunks: Buffer[] = [];
  let bytes = 0;
  await callProgram(decoder, call, async (stream, touch) => {
    for await (const chunk of stream) {
      touch();
      bytes += (chunk as Buffer).length;
      if (bytes > MOST_BYTES)
        throw new DecoderFailed(decoder.declared.name, `more than ${MOST_BYTES} bytes about one clip`);
      chunks.push(chunk as Buffer);
    }
  });
  return Buffer.concat(chunks).toString('utf8');
}

/** `path`: absolute. Throws the signal's reason when stopped. */
export async function askDeclared(
  decoder: LoadedDecoder,
  path: string,
  options: { readonly subject?: FindingSubject; readonly signal?: AbortSignal } = {},
): Promise<{ reported: ReportedClip } | { findings: Finding[] }> {
  const { declared, probeProgram } = decoder;
  const nothing: ReportedClip = {
    frames: null,
    rate: null,
    width: null,
    height: null,
    timecode: null,
    reel: null,
  };
  const { probe } = declared;
  if (probe === null || probeProgram === null) return { reported: nothing };
  const subject = options.subject ?? {};
  const stop = options.signal === undefined ? {} : { signal: options.signal };
  const poor = (found: string, expected: string): Finding =>
    finding('decoder-metadata-incomplete', `${declared.name}: ${printable(found)}`, expected, subject);
  let answer: WholeText;
  try {
    answer = await wholeText(
      () => described(decoder, { program: probeProgram, command: probe.command, path, frame: 0, ...stop }),
      probe.format === 'json' ? isWholeJson : endsItsLine,
    );
  } catch (error) {
    if (!(error instanceof DecoderFailed)) throw error;
    return { findings: [poor(error.message, 'a program that describes the clip')] };
  }
  const { text, whole } = answer;
  if (text.trim() === '')
    return { findings: [poor('nothing on standard output, twice', 'a description of the clip')] };
  let document: unknown = null;
  if (probe.format === 'json') {
    try {
      document = JSON.parse(text);
    } catch (error) {
      return { findings: [poor(`${(error as Error).message}, twice`, 'JSON on standard output')] };
    }
  } else if (!whole)
    return {
      findings: [
        poor(
          `an answer that ends within a line, twice, each time another: ${JSON.stringify(text.slice(-40))}`,
          'a whole answer',
        ),
      ],
    };
  const findings: Finding[] = [];
  const read = <Value>(
    field: 'frames' | 'rate' | 'width' | 'height' | 'timecode' | 'reel',
    needed: boolean,
    parse: (text: string) => Value,
  ): Value | null => {
    const where = probe[field];
    if (where === null) return null;
    const value =
      probe.format === 'json' ? atPointer(document, where) : (new RegExp(where, 'm').exec(text)?.[1] ?? null);
    if (value === null || value.trim() === '') {
      if (needed) findings.push(poor(`no ${field} at ${where}`, `the ${field} of the clip`));
      return null;
    }
    try {
      return parse(value.trim());
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      findings.push(poor(`${field} ${JSON.stringify(value)}: ${error.message}`, `the ${field} of the clip`));
      return null;
    }
  };
  const reported: ReportedClip = {
    frames: read('frames', true, wholeNumber),
    rate: read('rate', true, parseRate),
    width: read('width', true, wholeNumber),
    height: read('height', true, wholeNumber),
    // A clip may have none.
    timecode: read('timecode', false, (value) => value),
    reel: read('reel', false, (value) => value),
  };
  return findings.length > 0 ? { findings } : { reported };
}
