/** The decoder of a job's clip on this machine. */
import type { Finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { decoderHere } from '../media/raw/decoders/declared/programs.ts';
import { rawDecoderHere } from '../media/raw/decoders/here.ts';
import type { RawFacts } from '../media/raw-facts.ts';
import { subjectOf } from './claim.ts';

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
