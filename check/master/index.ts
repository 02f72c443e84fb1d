/**
 * The checker of masters: every frame of the folder measured from disk, and compared with the outcome and with the point
 * fingerprints of the source. Worker and audit use the same one.
 */
import { type Finding, type FindingSubject, finding, blocks } from '../../findings/finding.ts';
import type { CheckResult } from '../../ledger/report.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { FolderDigest } from '../../files/folder-digest.ts';
import { evenTimes, packetsOfFiles } from '../../media/sequence/numbered.ts';
import type { ValuesSeen } from '../../proof/value-range.ts';
import type { PixelSamples } from '../../proof/pixel-samples.ts';
import { bitsOf } from '../../profiles/master/form.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { masterChecks } from '../../profiles/check-names.ts';
import { faultsToFindings } from '../check.ts';
import { masterChecksBy, type Written } from './compare.ts';
import { limitsFindings } from './limits.ts';
import type { ToSceneLinear } from './scene-linear.ts';
import { measureMaster } from './measure.ts';
import type { MasterMeasured } from './measured.ts';

export interface MasterCheckRequest {
  /** The folder of the frames. */
  readonly path: string;
  /** <delivery>/<day>/<roll>, where what the ACES Metadata File names is kept. */
  readonly rollFolder: string;
  readonly outcome: MasterOutcome;
  /** Of the clip that it was made from; null: they are not at hand. */
  readonly sourceFacts: ClipFacts | null;
  readonly points: PixelSamples | null;
  readonly sceneLinear: ToSceneLinear | null;
  /** The frames as they left the encoder; null when nobody says. */
  readonly written: Written | null;
  /** What its maker counted of the values; absent: nobody says. */
  readonly seen?: ValuesSeen;
  readonly threads?: number;
  readonly signal?: AbortSignal;
  readonly onFrames?: (frames: number) => void;
  readonly subject?: FindingSubject;
}

/** As of other deliverables (check/index.ts). */
export interface MasterCheckReport {
  readonly facts: ClipFacts | null;
  readonly results: readonly CheckResult[];
  readonly findings: readonly Finding[];
  readonly digest: FolderDigest;
  readonly xxh128: string;
  readonly bytes: number;
  readonly passed: boolean;
}

const TOOL = 'own reader';

/** Throws what node:fs throws for a folder that cannot be read, and the signal's reason when stopped. */
export async function checkMaster(request: MasterCheckRequest): Promise<MasterCheckReport> {
  const { outcome, points, sceneLinear, written, subject = {} } = request;
  const measured = await measureMaster({
    path: request.path,
    rollFolder: request.rollFolder,
    outcome,
    spots: points?.spots ?? [],
    ...(request.threads === undefined ? {} : { threads: request.threads }),
    ...(request.signal === undefined ? {} : { signal: request.signal }),
    ...(request.onFrames === undefined ? {} : { onFrames: request.onFrames }),
  });
  const results: CheckResult[] = [];
  const findings: Finding[] = [];
  for (const check of masterChecks) {
    const verdict = masterChecksBy[check]({
      measured,
      outcome,
      source: request.sourceFacts,
      points,
      sceneLinear,
      written,
      seen: request.seen ?? null,
    });
    if (verdict === null) {
      findings.push(
        finding(
          'check-not-run',
          `\`${check}\` rests on the pixel samples of the source, its transform, or what left the encoder, and one of them is missing`,
          `a result of \`${check}\``,
          subject,
        ),
      );
      continue;
    }
    results.push({
      check,
      status: verdict.faults.length === 0 ? 'passed' : 'failed',
      measured: verdict.measured,
      expected: verdict.expected,
      tool: TOOL,
      ...(verdict.values === undefined ? {} : { values: verdict.values }),
    });
    for (const item of faultsToFindings(verdict, subject)) findings.push(item);
  }
  if (request.seen !== undefined) findings.push(...limitsFindings(outcome, outcome, request.seen, subject));
  const passed =
    results.length === masterChecks.length &&
    results.every(({ status: end }) => end === 'passed') &&
    !findings.some(blocks);
  return {
    facts: factsOf(measured, outcome),
    results,
    findings,
    digest: measured.digest,
    xxh128: measured.digest.xxh128,
    bytes: measured.digest.bytes,
    passed,
  };
}

/** What was measured, in the form of a clip's facts; null when no frame could be read. */
/** As ffmpeg has names for planes of so many bits. */
const dpxPixels = { 10: 'gbrp10be', 12: 'gbrp12be', 16: 'gbrp16be' } as const;

function factsOf({ frames }: MasterMeasured, outcome: MasterOutcome): ClipFacts | null {
  const { format, rate, timecode } = outcome;
  const first = frames.find(({ said }) => said !== null);
  const size = /^(\d+)x(\d+)$/.exec(first?.said?.size ?? '');
  if (first === undefined || size === null) return null;
  const dpx = format === 'dpx';
  return {
    kind: 'sequence',
    container: dpx ? 'dpx' : 'exr',
    video: {
      streamIndex: 0,
      codec: dpx ? 'dpx' : 'exr',
      codecTag: '',
      profile: first.said?.compression ?? null,
      level: null,
      width: Number(size[1]),
      height: Number(size[2]),
      pixelAspect: { num: 1, den: 1 },
      rotation: 0,
      pixelFormat: dpx ? dpxPixels[bitsOf(outcome)] : 'gbrpf16le',
      bitDepth: dpx ? bitsOf(outcome) : 16,
      fieldOrder: 'progressive',
      colour: { primaries: null, transfer: dpx ? null : 'linear', matrix: 'rgb', range: 'full' },
      claimedFrames: null,
      ...evenTimes(frames.length, rate),
      ...packetsOfFiles(frames.map((frame) => frame.bytes)),
    },
    audio: [],
    timecode: first.said?.timecode === null ? null : { ...timecode, frame: timecode.frame },
    timecodeFrom: first.said?.timecode === null ? null : 'header',
    reel: first.said?.reel ?? null,
    createdAt: null,
    metadata: {},
  };
}
