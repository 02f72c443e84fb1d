/** Measures a clip whose pictures a declared decoder gives: what its program reports, and one picture of it as the proof that it serves. */
import { append } from '../../findings/append.ts';
import { join, resolve } from 'node:path';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { printable } from '../../files/names.ts';
import { type Rate, ratio } from '../../media/time/rate.ts';
import type { PictureSize } from '../../media/raw/decoders/declared/cut.ts';
import { firstPicture } from '../../media/raw/decoders/declared/decode.ts';
import type { LoadedDecoder } from '../../media/raw/decoders/declared/programs.ts';
import { askDeclared, type ReportedClip } from '../../media/raw/decoders/declared/probe.ts';
import { DecoderFailed } from '../../media/raw/decoders/decoder.ts';
import { framePath } from '../../media/raw/sequence.ts';
import { decideRate } from '../../media/sequence/judge.ts';
import { evenTimes } from '../../media/sequence/numbered.ts';
import { parseTimecode, type Timecode } from '../../media/time/timecode.ts';

interface Judged {
  readonly frames: number;
  readonly rate: Rate;
  /** null: the head of each picture says it. */
  readonly size: PictureSize | null;
}

export interface DeclaredSurvey {
  readonly clip: Clip & { readonly place: Exclude<Clip['place'], { kind: 'spanned' }> };
  readonly rollFolder: string;
  readonly decoder: LoadedDecoder;
  /** Of a movie whose decoder does not report one; null: none was stated. */
  readonly statedRate: Rate | null;
  /** The clip. */
  readonly subject: FindingSubject;
}

function judge(
  { clip: { place }, decoder: { declared }, statedRate, subject }: DeclaredSurvey,
  reported: ReportedClip,
): Judged | Finding[] {
  const { name, gives } = declared;
  const findings: Finding[] = [];
  const poor = (found: string, expected: string): unknown =>
    findings.push(finding('decoder-metadata-incomplete', `${name}: ${found}`, expected, subject));
  const frames = place.kind === 'sequence' ? place.count : reported.frames;
  if (place.kind === 'sequence' && reported.frames !== null && reported.frames !== 1)
    poor(`${reported.frames} frames in one file`, 'one frame in each file');
  if (frames === null) poor('no frames', 'the frames of the clip');
  let { rate } = reported;
  if (place.kind === 'sequence') {
    const decided = decideRate([reported], place.statedRate, subject);
    rate = decided.rate;
    append(findings, decided.findings);
  } else {
    rate ??= statedRate;
    if (rate === null) poor('no rate', 'the rate of the clip: a place of `rate` under `probe`, or --rate');
  }
  for (const side of ['width', 'height'] as const)
    if (gives[side] !== null && reported[side] !== null && gives[side] !== reported[side])
      poor(`${side} ${reported[side]}`, `${gives[side]}, as declared`);
  const [width, height] = [gives.width ?? reported.width, gives.height ?? reported.height];
  if (frames === null || rate === null || findings.length > 0) return findings;
  return { frames, rate, size: width === null || height === null ? null : { width, height } };
}

/** Throws the signal's reason when stopped. */
export async function surveyDeclared(
  survey: DeclaredSurvey,
  signal: AbortSignal | undefined,
): Promise<{ facts: ClipFacts | null; findings: Finding[] }> {
  const { clip, rollFolder, decoder, subject } = survey;
  const { place } = clip;
  const { declared, origin, version } = decoder;
  const stop = signal === undefined ? {} : { signal };
  const path =
    place.kind === 'movie'
      ? join(resolve(rollFolder), place.file)
      : framePath(rollFolder, place, place.first);
  const asked = await askDeclared(decoder, path, { subject, ...stop });
  if ('findings' in asked) return { facts: null, findings: asked.findings };
  const { reported } = asked;
  const judged = judge(survey, reported);
  if (!('rate' in judged)) return { facts: null, findings: judged };
  const { frames, rate } = judged;
  let size: PictureSize;
  try {
    size = await firstPicture(decoder, {
      path,
      frame: place.kind === 'movie' ? 0 : place.first,
      frames: place.kind === 'movie' ? frames : 1,
      size: judged.size,
      ...stop,
    });
  } catch (error) {
    if (!(error instanceof DecoderFailed)) throw error;
    return {
      facts: null,
      findings: [
        finding('decoder-failed', printable(error.message), 'the first picture of the clip', subject),
      ],
    };
  }
  const findings: Finding[] = [];
  let timecode: Timecode | null = null;
  try {
    timecode = reported.timecode === null ? null : parseTimecode(reported.timecode, rate);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    findings.push(
      finding(
        'timecode-invalid',
        printable(error.message),
        'a label that exists at the rate of the clip',
        subject,
      ),
    );
  }
  const facts: ClipFacts = {
    kind: place.kind,
    container: declared.name,
    video: {
      streamIndex: 0,
      codec: declared.name,
      codecTag: '',
      profile: null,
      level: null,
      ...size,
      pixelAspect: ratio(1),
      rotation: 0,
      // The forms of samples have ffmpeg's names.
      pixelFormat: declared.gives.samples,
      bitDepth: declared.gives.samples.startsWith('rgbf32') ? 32 : 16,
      fieldOrder: 'progressive',
      colour: { primaries: null, transfer: null, matrix: null, range: null },
      claimedFrames: reported.frames,
      ...evenTimes(frames, rate),
      bytes: clip.bytes,
      // How a frame lies in its file is known to the decoder alone: nobody counts packets.
      smallestPacket: 0,
      largestPacket: 0,
    },
    audio: [],
    timecode,
    timecodeFrom: timecode === null ? null : 'decoder',
    reel: reported.reel,
    createdAt: null,
    metadata: {},
    ...(place.kind === 'sequence' ? { firstNumber: place.first } : {}),
    declared: { declared, origin, version },
  };
  return { facts, findings };
}
