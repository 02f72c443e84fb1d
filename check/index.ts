/**
 * The independent checker: measures what was made from the bytes on disk, and compares with what had to come out. It
 * believes neither the encoder nor the report; worker and audit use the same one.
 */
import { type Finding, type FindingSubject, finding, blocks } from '../findings/finding.ts';
import type { CheckResult } from '../ledger/report.ts';
import type { DeliverableDigest } from '../files/folder-digest.ts';
import type { ClipFacts } from '../media/facts.ts';
import type { Bitstream } from '../proof/bitstream.ts';
import type { ContentLight } from '../proof/light/form.ts';
import type { MediaTools } from '../process/locate.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { type CheckName, mandatoryChecks } from '../profiles/schema.ts';
import { type Evidence, faultsToFindings } from './check.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { compareFingerprints, compareSketches } from './compare.ts';
import { measureFile } from './measure.ts';
import type { SeenPictures } from './pictures.ts';
import { checks } from './registry.ts';

export interface CheckRequest {
  readonly path: string;
  readonly outcome: Outcome;
  /** The profile's own list; those that no profile can leave out run in any case. */
  readonly checks: readonly CheckName[];
  /** Of the clip that it was made from; null when not at hand. */
  readonly sourceFacts: ClipFacts | null;
  /** Of that clip; null when there is none: then what rests on it cannot pass. */
  readonly sourceFingerprints: SourceFingerprints | null;
  /** What left the encoders, as recorded when it was made; null: it was not. */
  readonly encoded: Bitstream | null;
  /** How much light was measured in what the encoder was given; null or absent: it was not, and what says it cannot pass. */
  readonly contentLight?: ContentLight | null;
  /** Of what the encoder was given; null: there is none, and what rests on it cannot pass. */
  readonly sketch: ErrorSketch | null;
  /** Its pictures, seen in the segments that it was joined from; null or absent: they are decoded. */
  readonly pictures?: SeenPictures | null;
  readonly tools: MediaTools;
  readonly threads?: number;
  readonly signal?: AbortSignal;
  /** Pictures decoded so far. */
  readonly onFrames?: (frames: number) => void;
  /** What the findings are about. */
  readonly subject?: FindingSubject;
}

export interface CheckReport {
  readonly facts: ClipFacts | null;
  /** One for each check that ran. */
  readonly results: readonly CheckResult[];
  readonly findings: readonly Finding[];
  readonly digest: DeliverableDigest;
  readonly xxh128: string;
  readonly bytes: number;
  /** Every check asked for ran and passed, and nothing else holds. */
  readonly passed: boolean;
}

/** Throws when the file cannot be opened, when a program cannot be started (FindingError), and the signal's reason when stopped. */
export async function checkDeliverable(request: CheckRequest): Promise<CheckReport> {
  const names = [...new Set<CheckName>([...mandatoryChecks, ...request.checks])];
  const { measured, findings: unmeasured } = await measureFile(request.path, {
    tools: request.tools,
    outcome: request.outcome,
    sourceFingerprints: request.sourceFingerprints,
    sketch: request.sketch,
    pictures: request.pictures ?? null,
    ...(request.threads === undefined ? {} : { threads: request.threads }),
    ...(request.signal === undefined ? {} : { signal: request.signal }),
    ...(request.onFrames === undefined ? {} : { onFrames: request.onFrames }),
  });
  const subject = request.subject ?? {};
  const compared = compareFingerprints(measured.witness, request.sourceFingerprints, request.outcome);
  const pictureError = compareSketches(measured.witness, request.sketch, request.outcome);
  const results: CheckResult[] = [];
  const findings: Finding[] = unmeasured.map((item) => ({ ...item, ...subject }));
  for (const name of names) {
    const check = checks[name];
    const verdict = check.run({
      measured,
      outcome: request.outcome,
      source: request.sourceFacts,
      compared,
      pictureError,
      encoded: request.encoded,
      contentLight: request.contentLight ?? null,
    });
    if (verdict === null) {
      findings.push(
        finding(
          'check-not-run',
          `\`${name}\` rests on ${check.rests.join(' and ')}, which could not be measured`,
          `a result of \`${name}\``,
          subject,
        ),
      );
      continue;
    }
    results.push({
      check: name,
      status: verdict.faults.length === 0 ? 'passed' : 'failed',
      measured: verdict.measured,
      expected: verdict.expected,
      tool: toolsOf(check.rests, request.tools),
      ...(verdict.pictureError === undefined ? {} : { pictureError: verdict.pictureError }),
      ...(verdict.unproven === undefined
        ? {}
        : { unproven: verdict.unproven.map(([from, to]) => [from, to]) }),
    });
    for (const item of faultsToFindings(verdict, subject)) findings.push(item);
  }
  const passed =
    results.length === names.length &&
    results.every((result) => result.status === 'passed') &&
    !findings.some(blocks);
  return {
    facts: measured.facts,
    results,
    findings,
    digest: measured.digest,
    xxh128: measured.digest.xxh128,
    bytes: measured.digest.bytes,
    passed,
  };
}

function toolsOf(rests: readonly Evidence[], tools: MediaTools): string {
  const names: Readonly<Record<Evidence, string>> = {
    packets: `ffprobe ${tools.ffprobe.version}`,
    decode: `ffmpeg ${tools.ffmpeg.version}`,
    index: 'own reader',
    fingerprints: 'own comparison',
    encoded: `ffmpeg ${tools.ffmpeg.version}`,
    sketch: 'own comparison',
  };
  return rests.map((one) => names[one]).join(' + ');
}
