/** The decoder of a clip on this machine: there, and of the version that served when the clip was surveyed. */
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { declaredRawDecoder } from '../media/raw/decoders/declared/decode.ts';
import { decoderHere } from '../media/raw/decoders/declared/programs.ts';
import type { RawDecoder } from '../media/raw/decoders/decoder.ts';
import { locateLibRaw } from '../media/raw/decoders/libraw.ts';
import { OWN_DECODER } from '../media/raw/decoders/names.ts';
import { ownDecoder } from '../media/raw/decoders/own.ts';
import type { RawFacts } from '../media/raw-facts.ts';
import { subjectOf } from './claim.ts';

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

/** Empty: nothing speaks against it. ffmpeg is the toolchain's matter (claim.ts). */
export async function decoderFailures(job: Job): Promise<Finding[]> {
  const { raw, declared } = job.facts;
  if (raw === undefined && declared === undefined) return [];
  const here =
    declared === undefined
      ? await rawDecoderHere((raw as RawFacts).decoder, subjectOf(job))
      : await decoderHere(declared, subjectOf(job));
  return 'findings' in here ? here.findings : [];
}
