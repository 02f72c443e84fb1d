/** The decoder of raw frames on this machine: there, and of the version that served when the clip was surveyed. */
import { type Finding, type FindingSubject, finding } from '../../../findings/finding.ts';
import type { RawFacts } from '../../raw-facts.ts';
import { declaredRawDecoder } from './declared/decode.ts';
import { decoderHere } from './declared/programs.ts';
import type { RawDecoder } from './decoder.ts';
import { locateLibRaw } from './libraw.ts';
import { OWN_DECODER } from './names.ts';
import { ownDecoder } from './own.ts';

export async function rawDecoderHere(
  { name, version, declaration }: RawFacts['decoder'],
  subject: FindingSubject = {},
): Promise<{ decoder: RawDecoder } | { findings: Finding[] }> {
  if (name === OWN_DECODER) return { decoder: ownDecoder };
  if (declaration !== undefined) {
    const here = await decoderHere(declaration, subject);
    return 'findings' in here ? here : { decoder: declaredRawDecoder(here.decoder) };
  }
  const libraw = await locateLibRaw();
  if (libraw === null)
    return {
      findings: [finding('raw-no-decoder', `no ${name} on this machine`, `${name} ${version}`, subject)],
    };
  return libraw.version === version
    ? { decoder: libraw }
    : { findings: [finding('decoder-differs', `${name} ${libraw.version}`, version, subject)] };
}
